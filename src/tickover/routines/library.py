"""The library of routines: those that come with the program, and the user's own folder laid over them."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from pathlib import Path

from tickover.errors import Fault, InputError, RoutineFileError
from tickover.routines.model import Routine
from tickover.routines.schema import read_routine

BUILT_IN = Path(__file__).parent / "library"
"""The folder of built-in routines."""


def load_library(user_folder: Path | None = None) -> dict[str, Routine]:
    """Every routine by its id.

    Args:
        user_folder: folder of ``*.toml``; a routine of the same id takes the built-in one's place. ``None``: none.
    Returns: routines, the built-in ones first, each folder by file name.
    Raises: RoutineFileError for a faulty file, two files of one folder with the same id, or a required routine that
        is not there; InputError if the folder is none.
    """
    found = _folder(BUILT_IN)
    if user_folder is not None:
        if not user_folder.is_dir():
            raise InputError("is not a folder", file=str(user_folder), way_out="Name a folder of routine files.")
        found |= _folder(user_folder)
    for routine in found.values():
        _check_requires(routine, found)
    return found


def load_routine(path_or_id: str | Path, user_folder: Path | None = None) -> Routine:
    """One routine, by file or by id.

    Args:
        path_or_id: a file name ending in ``.toml``, a path, or an id of the library.
        user_folder: as in ``load_library``.
    Returns: the routine.
    Raises: RoutineFileError as above; InputError for an id that is not in the library, with near ones.
    """
    words = str(path_or_id)
    if isinstance(path_or_id, Path) or words.endswith(".toml") or "/" in words or "\\" in words:
        return read_routine(Path(path_or_id))
    library = load_library(user_folder)
    if words not in library:
        close = difflib.get_close_matches(words, library, n=2)
        hint = f"Did you mean {' or '.join(close)}?" if close else f"There are: {', '.join(library)}."
        raise InputError(f"no routine is called “{words}”", way_out=f"{hint} A file is named with its .toml.")
    return library[words]


def _folder(folder: Path) -> dict[str, Routine]:
    found: dict[str, Routine] = {}
    for path in sorted(folder.glob("*.toml")):
        routine = read_routine(path)
        if routine.id in found:
            what = f"“{routine.id}” is the id of two files, the other is {Path(found[routine.id].file).name}"
            raise RoutineFileError(str(path), [Fault(routine.lines["id"], what, "Rename one.")])
        found[routine.id] = routine
    return found


def _check_requires(routine: Routine, library: Mapping[str, Routine]) -> None:
    line = routine.lines.get("requires")
    missing = [name for name in routine.requires if name not in library]
    if missing:
        close = difflib.get_close_matches(missing[0], library, n=1)
        hint = f"Did you mean `{close[0]}`?" if close else "Add its file to the folder."
        raise RoutineFileError(routine.file, [Fault(line, f"“{missing[0]}” is no routine of the library", hint)])
    seen: set[str] = set()
    waiting = list(routine.requires)
    while waiting:
        name = waiting.pop()
        if name == routine.id:
            what = "the routine requires itself by way of others"
            raise RoutineFileError(routine.file, [Fault(line, what, "Leave one of them out.")])
        if name not in seen:
            seen.add(name)
            waiting += library[name].requires
