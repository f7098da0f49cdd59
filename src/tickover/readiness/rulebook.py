"""Rules of inspections, as dated data files; a user's own folder is laid over those that come with the program."""

from __future__ import annotations

import datetime
import difflib
import tomllib
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from tickover.errors import InputError
from tickover.readiness.names import monitor_called
from tickover.readiness.results import Fuel

BUILT_IN = Path(__file__).parent / "rules"
"""The folder of rules that come with the program."""

Kind = Literal["none", "lamp only", "lamp and tailpipe", "count", "all complete"]
_Year = Annotated[int, Field(ge=1980, le=2100)]
_Text = Annotated[str, Field(min_length=1)]
_Share = Annotated[float, Field(ge=0, le=20)]


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Lamp(_Part):
    """What the engine lamp decides.

    Attributes:
        asked_for: what a lamp that is asked for means.
        must_light: whether it has to light with the ignition on and the engine off.
        stored_code: what a stored code means while the lamp is not asked for.
    """

    asked_for: Literal["turned away", "does not matter"] = "turned away"
    must_light: bool = True
    stored_code: Literal["turned away", "with the lamp only"] = "with the lamp only"


class Limit(_Part):
    """How many monitors may be open, for some model years and fuels.

    Attributes:
        model_years: the first, or first and last.
        fuels: which; empty for all.
        open_at_most: how many.
        only: which; empty for any.
        source: of the numbers.
    """

    model_years: tuple[_Year] | tuple[_Year, _Year]
    fuels: tuple[Fuel, ...] = ()
    open_at_most: Annotated[int, Field(ge=0, le=11)]
    only: tuple[str, ...] = ()
    source: _Text

    @model_validator(mode="after")
    def _sound(self) -> Limit:
        if len(self.model_years) == 2 and self.model_years[0] > self.model_years[1]:
            raise ValueError("model years run backwards; write the first year first")
        for name in self.only:
            if monitor_called(name) != name:
                raise ValueError(f"write “{name}” as “{monitor_called(name)}”")
        return self

    def covers(self, year: int, fuel: Fuel | None) -> bool:
        """Whether it speaks of this model year and fuel."""
        last = self.model_years[1] if len(self.model_years) == 2 else 9999
        return self.model_years[0] <= year <= last and (not self.fuels or fuel in self.fuels)

    @property
    def words(self) -> str:
        """What may be open, in words."""
        if self.open_at_most == 0:
            return "none may be open"
        if self.only:
            joined = " and ".join(self.only)
            return f"only the {joined} may be open"
        return f"at most {self.open_at_most} may be open"


class Permanent(_Part):
    """What a permanent code means.

    Attributes:
        in_force_from: since when.
        first_model_year: from which model year on.
        unless_warm_ups, unless_miles: the code is disregarded once both are reached since the last clear.
        source, tag: of it.
    """

    in_force_from: datetime.date
    first_model_year: _Year
    unless_warm_ups: Annotated[int, Field(ge=0, le=255)]
    unless_miles: Annotated[float, Field(ge=0)]
    source: _Text
    tag: str = ""


class Tailpipe(_Part):
    """Limits at the tailpipe; those that are left out are not known."""

    lambda_fast_idle: tuple[float, float] | None = None
    co_natural_idle: _Share | None = None
    co_fast_idle: _Share | None = None
    source: _Text
    tag: str = ""


class Change(_Part):
    """A change that is said to be in force, or to come, and is not certain.

    Attributes:
        from_: since when.
        open_at_most: how many would be allowed then.
        says: what is said.
        basis: by whom.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)

    from_: Annotated[datetime.date, Field(alias="from")]
    open_at_most: Annotated[int, Field(ge=0, le=11)]
    says: _Text
    basis: _Text


class Note(_Part):
    """Something else the rule says."""

    says: _Text
    source: str = ""
    tag: str = ""


class Rule(_Part):
    """One rule of inspection. What a file may hold is what stands here.

    Attributes:
        id, title: its name for commands, and in words.
        kind: what it looks at.
        source, tag: legal source and how well we know it: V read, M from memory, TP trade practice, D own choice.
        check_with: what to ask the programme.
        in_force_from, in_force_until: when; None where not known or still.
        first_model_year: the first it covers.
        counts_continuous: whether misfire, fuel system and components count among the open ones.
        lamp, limits, permanent_codes, tailpipe, changes, notes: its parts.
        file: where it was read.
    """

    id: Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9-]*$")]
    title: _Text
    kind: Kind
    source: _Text
    tag: _Text
    check_with: _Text
    in_force_from: datetime.date | None = None
    in_force_until: datetime.date | None = None
    first_model_year: _Year | None = None
    counts_continuous: bool = True
    lamp: Lamp = Lamp()
    limits: tuple[Limit, ...] = ()
    permanent_codes: Permanent | None = None
    tailpipe: Tailpipe | None = None
    changes: tuple[Change, ...] = ()
    notes: tuple[Note, ...] = ()
    file: str = ""

    @model_validator(mode="after")
    def _whole(self) -> Rule:
        if (self.kind == "count") != bool(self.limits):
            raise ValueError("[[limits]] belong to kind “count”, and it needs one")
        if (self.kind == "lamp and tailpipe") != (self.tailpipe is not None):
            raise ValueError("[tailpipe] belongs to kind “lamp and tailpipe”, and it needs it")
        return self

    def limit_for(self, year: int, fuel: Fuel | None) -> Limit | None:
        """The limit for a model year and fuel; None where the rule has none."""
        return next((limit for limit in self.limits if limit.covers(year, fuel)), None)


def load_rules(user_folder: Path | None = None) -> dict[str, Rule]:
    """Every rule by its id.

    Args:
        user_folder: folder of ``*.toml``; a rule of the same id takes the built-in one's place.
    Raises: InputError for a folder that is none or a faulty file, with all its faults.
    """
    found = _folder(BUILT_IN)
    if user_folder is not None:
        if not user_folder.is_dir():
            raise InputError("is not a folder", file=str(user_folder), way_out="Name a folder of rule files.")
        found |= _folder(user_folder)
    return found


def load_rule(name: str, user_folder: Path | None = None) -> Rule:
    """One rule, by id or by file.

    Raises: InputError as ``load_rules``, or for an id that there is not, with near ones.
    """
    if name.endswith(".toml"):
        return read_rule(Path(name))
    rules = load_rules(user_folder)
    if name not in rules:
        close = difflib.get_close_matches(name, rules, n=2)
        hint = f"Did you mean {' or '.join(close)}?" if close else f"There are: {', '.join(rules)}."
        raise InputError(f"no rule is called “{name}”", way_out=f"{hint} A file is named with its .toml.")
    return rules[name]


def read_rule(path: Path) -> Rule:
    """One rule file.

    Raises: InputError, with all the file's faults together.
    """
    try:
        shape = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as why:
        way_out = "Name a rule file, or one of `tickover ready rules`."
        raise InputError(f"cannot be read: {why.strerror or why}", file=str(path), way_out=way_out) from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as why:
        raise InputError(f"is not TOML: {why}", file=str(path), way_out="Compare it with a built-in rule.") from None
    if "file" in shape:
        raise InputError("“file” is not for you to set", file=str(path), way_out="Leave it out.")
    try:
        return Rule.model_validate(shape | {"file": str(path)})
    except InputError as why:
        raise InputError(why.what, file=str(path), way_out=why.way_out) from None
    except ValidationError as why:
        faults = "; ".join(f"{'.'.join(map(str, e['loc'])) or 'the rule'}: {e['msg']}" for e in why.errors())
        raise InputError(faults, file=str(path), way_out="Compare it with a built-in rule.") from None


def _folder(folder: Path) -> dict[str, Rule]:
    found: dict[str, Rule] = {}
    for path in sorted(folder.glob("*.toml")):
        rule = read_rule(path)
        if rule.id in found:
            what = f"“{rule.id}” is the id of two files, the other is {Path(found[rule.id].file).name}"
            raise InputError(what, file=str(path), way_out="Rename one.")
        found[rule.id] = rule
    return found
