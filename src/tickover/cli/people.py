"""Persons on the command line: given as figures, as a file of practice taps, or by the name they were kept under."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any, Literal, TypeVar

import click
import numpy as np
import platformdirs
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from tickover.cli.cells import number_in, rows_of, text_of
from tickover.errors import InputError, TimingError
from tickover.timing import Person
from tickover.timing.learn import Learned, Model, Tap, learn

_F = TypeVar("_F", bound=Callable[..., Any])

FIGURES = frozenset({"cv", "event_sd", "bias", "scale", "motor_sd", "lapse", "count_sd"})
MOST = 2000
"""More taps than this are not read [taps]; nobody practises so long. Own choice."""
DRAWN = 60
"""So many persons stand for somebody who was learned, in odds. Own choice."""
PERSON_WAY = "cv is a share such as 0.1, so are scale and lapse; the rest are seconds."
KEPT_OFF = 0.0
"""Standard uncertainty of an interval in a file that does not say [s]."""


class KeptTap(BaseModel):
    """A tap in a file."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    aimed: float
    made: float
    cued: bool = False
    off: Annotated[float, Field(ge=0)] = KEPT_OFF


class Kept(BaseModel):
    """A technician's practice in a file: the taps themselves, from which all else is worked out.

    Attributes:
        name: whose.
        model: counted where they counted aloud, timed where not, None where nobody said.
        simulated: whether nobody tapped.
        taps: every tap kept so far.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    v: Literal[1] = 1
    record: Literal["practice"] = "practice"
    name: str
    model: Literal["timed", "counted"] | None = None
    simulated: bool = False
    taps: Annotated[tuple[KeptTap, ...], Field(max_length=MOST)] = ()

    def as_taps(self) -> list[Tap]:
        """For ``learn``."""
        return [Tap(t.aimed, t.made, t.cued, t.off) for t in self.taps]


def people_folder(folder: Path | None) -> Path:
    """Where persons are kept: the folder given, else the user's data folder."""
    return folder if folder is not None else Path(platformdirs.user_data_path("tickover", appauthor=False)) / "people"


def kept_file(name: str, folder: Path | None) -> Path:
    """The file of a name.

    Raises: InputError for a name that cannot be a file's.
    """
    if not re.fullmatch(r"[\w][\w .\-]{0,60}", name) or name.endswith("."):
        raise InputError(f"“{name}” cannot be a file's name", way_out="Use letters, digits, spaces, - and _.")
    return people_folder(folder) / f"{name}.json"


def kept_names(folder: Path | None) -> list[str]:
    """Who is kept, in the alphabet's order."""
    return sorted(p.stem for p in people_folder(folder).glob("*.json"))


def read_kept(path: Path) -> Kept:
    """A kept person.

    Raises: InputError naming the file, if it cannot be read or is not one.
    """
    try:
        return Kept.model_validate_json(_text(path))
    except ValidationError as why:
        first = why.errors()[0]
        where = ".".join(str(p) for p in first["loc"])
        raise InputError(
            f"is not a file of practice: {where} {first['msg']}".replace("  ", " "),
            file=str(path),
            way_out="Keep a new one with `tickover practice --by NAME`.",
        ) from None


def write_kept(path: Path, kept: Kept) -> None:
    """Keep a person; the file is replaced as a whole."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        new = path.with_suffix(".new")
        new.write_text(kept.model_dump_json(indent=1) + "\n", encoding="utf-8")
        new.replace(path)
    except OSError as why:
        way = "Name another --folder."
        raise InputError(f"cannot be written: {why.strerror}", file=str(path), way_out=way) from None


def read_taps(path: Path) -> Kept:
    """Taps from a file: kept by us, or lines of ``aimed,made[,cued[,off]]`` as the phone writes them.

    Args:
        path: JSON as kept, or text, parted by commas, semicolons or tabs, with points or commas for decimals; lines
            that begin with ``#`` and a line of column names are passed over.
    Returns: the taps; of lines without a name, under the file's.
    Raises: InputError naming file and line.
    """
    text = _text(path)
    if text.lstrip().startswith("{"):
        return read_kept(path)
    taps = []
    for number, cells in rows_of(text):
        if [c.lower() for c in cells[:2]] == ["aimed", "made"]:
            continue
        taps.append(_tap(cells, path, number))
        if len(taps) > MOST:
            raise InputError(f"holds more than {MOST} taps", file=str(path), way_out="Cut it shorter.")
    if not taps:
        raise InputError("holds no taps", file=str(path), way_out=_TAPS)
    return Kept(name=path.stem, taps=tuple(taps))


_CUED = {"": False, "0": False, "no": False, "false": False, "1": True, "yes": True, "true": True, "cued": True}


_TAPS = (
    "Write one tap a line, in seconds: aimed,made like 2,2.1; a third column cued is 1 for a tap to a beat, else 0. "
    "`tickover practice` without --taps makes such taps, and so does the phone."
)
_COLUMNS = ("aimed", "made", "cued", "off")


def _tap(cells: list[str], path: Path, number: int) -> KeptTap:
    try:
        if not 2 <= len(cells) <= len(_COLUMNS):
            one = f"1 column, “{cells[0]}”" if len(cells) == 1 else f"{len(cells)} columns"
            raise InputError(f"holds {one}, not aimed and made", file=str(path), line=number, way_out=_TAPS)
        aimed, made = _seconds(cells, 0, path, number), _seconds(cells, 1, path, number)
        cued = _CUED[cells[2].lower()] if len(cells) > 2 else False
        off = _seconds(cells, 3, path, number) if len(cells) > 3 else KEPT_OFF
        Tap(aimed, made, cued, off)
        return KeptTap(aimed=aimed, made=made, cued=cued, off=off)
    except KeyError:
        what = f"“{cells[2]}” says neither cued nor not"
    except TimingError as why:
        what = why.what
    except ValueError as why:
        what = f"is not a tap: {str(why).splitlines()[0]}"
    raise InputError(what, file=str(path), line=number, way_out=_TAPS)


def _seconds(cells: list[str], column: int, path: Path, number: int) -> float:
    try:
        return number_in(cells[column])
    except ValueError:
        what = f"{_COLUMNS[column]} is no number: “{cells[column]}”"
        raise InputError(what, file=str(path), line=number, way_out=_TAPS) from None


def _text(path: Path) -> str:
    return text_of(path, "Name a file of taps.")


def parse_person(text: str) -> Person:
    """``cv=0.08,event_sd=0.035`` as a person.

    Raises: InputError that says which names there are.
    """
    given: dict[str, float] = {}
    for pair in text.split(","):
        name, _, number = pair.partition("=")
        try:
            if name.strip() not in FIGURES:
                raise ValueError
            given[name.strip()] = float(number)
        except ValueError:
            names = ", ".join(sorted(FIGURES))
            raise InputError(f"“{pair}” is no figure of a person", way_out=f"Write name=number, of {names}.") from None
    try:
        return Person(**given)
    except TimingError as why:
        raise InputError(why.what, way_out=PERSON_WAY) from None


def learned_of(kept: Kept, model: Model | None = None) -> Learned:
    """What kept taps say; the same taps say the same."""
    return learn(kept.as_taps(), np.random.default_rng(0), model if model is not None else kept.model)


def load_person(text: str, folder: Path | None = None) -> Person | Learned:
    """A person from the command line.

    Args:
        text: figures such as ``cv=0.08``; or a file of practice taps; or the name somebody is kept under.
        folder: where persons are kept; by default the user's data folder.
    Returns: a person where figures were given, else what was learned.
    Raises: InputError that says what there is.
    """
    if "=" in text:
        return parse_person(text)
    path = Path(text)
    if path.is_file():
        return learned_of(read_taps(path))
    if re.search(r"[/\\]", text) is None and (kept := kept_file(text, folder)).is_file():
        return learned_of(read_kept(kept))
    names = ", ".join(kept_names(folder)) or "nobody yet"
    raise InputError(
        f"nobody is kept as “{text}”, and no such file is there",
        way_out=f"Kept are: {names}. Begin with `tickover practice --by NAME`, or give figures such as cv=0.08.",
    )


def one_of(person: Person | Learned) -> Person:
    """The person, or the middle of what was learned."""
    return person if isinstance(person, Person) else person.person()


def people_of(person: Person | Learned) -> list[Person]:
    """Persons that carry what is not known of somebody learned; empty where figures were given."""
    return [] if isinstance(person, Person) else person.draws(np.random.default_rng(1), DRAWN)


class PersonType(click.ParamType[Any]):
    """Figures, file or name to a ``Person`` or what was ``Learned``."""

    name = "person"

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> Person | Learned:
        """Load it; says what is wrong as a usage error."""
        if isinstance(value, Person | Learned):
            return value
        try:
            return load_person(str(value))
        except InputError as why:
            self.fail(str(why), param, ctx)


def person_option(command: _F) -> _F:
    """``--person``, for commands that tell odds."""
    return click.option(
        "--person",
        type=PersonType(),
        metavar="NAME|FILE|cv=…",
        help="Who does it: a name or file from `tickover practice`, or figures such as cv=0.08,event_sd=0.035.",
    )(command)
