"""Groups of commands that import a command's module only when that command runs, so that ``--help`` stays fast.

What is typed wrongly, in any command below such a group, is answered in one line with a way out.
"""

from __future__ import annotations

import importlib
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from difflib import get_close_matches
from typing import IO, Any

import click

from tickover.errors import TickoverError

PROGRAM = "tickover"
Later = Mapping[str, tuple[str, str]]
"""Command name to where it lives (``module:name``) and its one line in the help."""


class Misused(click.UsageError):
    """A command that was typed wrongly: what is wrong and the way out, on one line instead of three.

    Args:
        message: what is wrong.
        ctx: where.
        command: the words up to the command it is about, where the context does not know them.
    """

    def __init__(self, message: str, ctx: click.Context | None = None, *, command: str = "") -> None:
        super().__init__(message, ctx)
        self.command = command

    def format_message(self) -> str:
        """The message, the command it is about before it, the way out behind it."""
        path = self.command or (_path(self.ctx) if self.ctx is not None else PROGRAM)
        told = " ".join(self.message.split())
        stop = "" if told.endswith((".", "?", "!", ")")) else "."
        return f"{path}: {told}{stop} `{path} --help` shows how it is used."

    def show(self, file: IO[Any] | None = None) -> None:
        """Print it, to standard error if no file is given."""
        click.echo(self.format_message(), file=file, err=file is None)


def _path(ctx: click.Context) -> str:
    """Words up to the command, under the program's own name however it was started."""
    return PROGRAM + ctx.command_path.removeprefix(ctx.find_root().info_name or "")


@contextmanager
def _one_line(ctx: click.Context | None = None) -> Iterator[None]:
    try:
        yield
    except (Misused, click.exceptions.NoArgsIsHelpError):
        raise
    except click.UsageError as wrong:
        command = ""
        if wrong.ctx is None and ctx is not None:  # an option without its value is noticed before there is a context
            command = " ".join(p for p in (_path(ctx), ctx.invoked_subcommand) if p)
        told = _bad_value(wrong) if isinstance(wrong, click.BadParameter) else wrong.format_message()
        raise Misused(told, wrong.ctx, command=command) from None
    except MemoryError:
        raise TickoverError(
            "there is not enough memory for this", way_out="Close other programs, or raise the limit it runs under."
        ) from None


_OUT_OF_RANGE = re.compile(r"(?P<value>\S+) is not in the range (?P<range>.+?)\.?")
_NO_NUMBER = re.compile(r"['\"](?P<value>.*)['\"] is not a valid (?P<kind>integer|float)(?: range)?\.?")
_NOT_THERE = re.compile(r"['\"](?P<value>.*)['\"] is not (?:one of )?(?P<choices>'.+?)\.?")


def _bad_value(wrong: click.BadParameter) -> str:
    """What is wrong with a value: the option or argument, then what was typed, then what it may be, with its unit."""
    hint = wrong.param_hint
    if hint is None and wrong.param is not None and wrong.ctx is not None:
        hint = wrong.param.get_error_hint(wrong.ctx)
    if not hint or isinstance(wrong, click.MissingParameter):
        return wrong.format_message()
    name = (hint if isinstance(hint, str) else " / ".join(hint)).replace("'", "")
    return f"{name}: {_reason(wrong.message, wrong.param)}"


def _reason(message: str, param: click.Parameter | None) -> str:
    if found := _OUT_OF_RANGE.fullmatch(message):
        unit, told = _unit_of(param), _range(param, found["range"])
        verb = "lies outside" if " to " in told else "is not"
        return f"{_short(found['value'])} {verb} {told}{f' {unit}' if unit else ''}"
    if found := _NO_NUMBER.fullmatch(message):
        kind = "whole number" if found["kind"] == "integer" else "number"
        return f"“{found['value']}” is no {kind}"
    if found := _NOT_THERE.fullmatch(message):
        return f"“{found['value']}” is none of {found['choices'].replace(chr(39), '')}"
    return message


def _range(param: click.Parameter | None, told: str) -> str:
    """A range as people say it: ``0.6 to 6``, ``above 0 and below 0.5``, ``1 or more``."""
    of = param.type if param is not None else None
    if not isinstance(of, click.IntRange | click.FloatRange):
        return told
    lo, hi = (None if end is None else _short(str(end)) for end in (of.min, of.max))
    if lo is not None and hi is not None and not (of.min_open or of.max_open):
        return f"{lo} to {hi}"
    low = None if lo is None else f"above {lo}" if of.min_open else f"{lo} or more"
    high = None if hi is None else f"below {hi}" if of.max_open else f"{hi} or less"
    return " and ".join(end for end in (low, high) if end)


def _short(number: str) -> str:
    return number.removesuffix(".0")


def _unit_of(param: click.Parameter | None) -> str:
    """The unit that the option's help gives in square brackets; empty where it gives none."""
    found = re.search(r"\[([^\]]+)\]", getattr(param, "help", None) or "")
    return found[1] if found else ""


_GROUP = "_group"
"""How the name of a group ends; only these are imported to look into them for what was meant."""
_MOST_NEAR = 2


def _nearest(name: str, ctx: click.Context) -> list[str]:
    """Whole commands that may be meant: of the very name elsewhere, else alike here, else alike elsewhere."""
    here, root = _path(ctx), ctx.find_root()
    own = {f"{here} {c}": c for c in ctx.command.list_commands(ctx)} if isinstance(ctx.command, click.Group) else {}
    every = dict(_tree(root.command, root, PROGRAM))
    same = [path for path, leaf in every.items() if leaf == name]
    if same:
        return same[:_MOST_NEAR]
    for paths in (own, every):
        close = get_close_matches(name.lower(), sorted(set(paths.values())), n=1, cutoff=0.6)
        if close:
            return [path for path, leaf in paths.items() if leaf == close[0]][:_MOST_NEAR]
    return []


def _tree(command: click.Command, ctx: click.Context, path: str) -> Iterator[tuple[str, str]]:
    """Every command below this one: its whole name, and its last word."""
    if not isinstance(command, click.Group):
        return
    for name in command.list_commands(ctx):
        yield f"{path} {name}", name
        later = command.later.get(name) if isinstance(command, LazyGroup) else None
        if later is None or later[0].endswith(_GROUP):
            below = command.get_command(ctx, name)
            if below is not None:
                yield from _tree(below, ctx, f"{path} {name}")


class LazyGroup(click.Group):
    """A click group; ``later`` names commands that are imported when they are called."""

    def __init__(self, *args: Any, later: Later | None = None, **options: Any) -> None:
        super().__init__(*args, **options)
        self.later = dict(later or {})

    def make_context(
        self, info_name: str | None, args: list[str], parent: click.Context | None = None, **extra: Any
    ) -> click.Context:
        """As click's own, with errors of one line."""
        with _one_line():
            return super().make_context(info_name, args, parent, **extra)

    def invoke(self, ctx: click.Context) -> Any:
        """As click's own, with errors of one line."""
        with _one_line(ctx):
            return super().invoke(ctx)

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order of the job, not of the alphabet."""
        return [*self.commands, *self.later]

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """As click's own; a command that is not here is answered with the nearest that is, in any group."""
        name = args[0]
        if name[:1].isalnum() and not ctx.resilient_parsing and self.get_command(ctx, name) is None:
            near = _nearest(name, ctx)
            hint = f" Did you mean {' or '.join(f'`{path}`' for path in near)}?" if near else ""
            raise click.UsageError(f"No such command “{name}”.{hint}", ctx)
        return super().resolve_command(ctx, args)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import and return one command."""
        if cmd_name not in self.later:
            return self.commands.get(cmd_name)
        module, _, name = self.later[cmd_name][0].partition(":")
        command = getattr(importlib.import_module(module), name)
        assert isinstance(command, click.Command)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list of commands without importing any of them."""
        rows = [(name, command.get_short_help_str(100)) for name, command in self.commands.items()]
        with formatter.section("Commands"):
            formatter.write_dl([*rows, *((name, line) for name, (_, line) in self.later.items())])
