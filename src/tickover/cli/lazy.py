"""Groups of commands that import a command's module only when that command runs, so that ``--help`` stays fast."""

from __future__ import annotations

import importlib
from collections.abc import Mapping
from typing import Any

import click

Later = Mapping[str, tuple[str, str]]
"""Command name to where it lives (``module:name``) and its one line in the help."""


class LazyGroup(click.Group):
    """A click group; ``later`` names commands that are imported when they are called."""

    def __init__(self, *args: Any, later: Later | None = None, **options: Any) -> None:
        super().__init__(*args, **options)
        self.later = dict(later or {})

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order of the job, not of the alphabet."""
        return [*self.commands, *self.later]

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
