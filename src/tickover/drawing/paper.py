"""Pages on paper. The only file that knows the typesetter.

Nothing is fetched and no clock is read: the same source and files give the same bytes. Type comes from the two font
packages that the project depends on, and from the typesetter's own fonts where a package is missing; the fonts of the
machine are asked only for scripts that neither holds.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path
from typing import Literal, cast

import typst

from tickover.drawing.tokens import Role
from tickover.errors import PaperError

FACES: dict[Role, tuple[str, ...]] = {
    "slab": ("Roboto Slab", "Libertinus Serif"),
    "text": ("Roboto", "Libertinus Serif"),
    "form": ("Roboto", "Libertinus Serif"),
}
"""Type on paper. ``form`` is set at 75 % width where the face can be condensed."""

FONT_PACKAGES = ("fontpkg_roboto_slab", "fontpkg_roboto")

_MAIN = "main.typ"
_EPOCH = 0
_WORDED = (".typ", ".json", ".svg")
_HELD = (("\0", "\u052f"), ("\u1e00", "\u23ff"), ("\u25a0", "\u25ff"), ("\ufffd", "\ufffd"))


def font_folders() -> list[str]:
    """Folders of the font packages that are installed; a package is found, never run."""
    found = []
    for name in FONT_PACKAGES:
        spec = find_spec(name)
        for place in (spec.submodule_search_locations or []) if spec is not None else []:
            folder = Path(place) / "files"
            if folder.is_dir():
                found.append(str(folder))
    return found


def pdf(source: str, files: Mapping[str, bytes] | None = None) -> bytes:
    """Set a document as PDF.

    Args:
        source: the document, in the typesetter's language; words from outside belong into ``files``.
        files: what the source reads, by name.
    Returns: the PDF; the same bytes for the same input and fonts.
    Raises: PaperError if it cannot be set, with the typesetter's own words.
    """
    return b"".join(_set(source, files, "pdf", None))


def png(source: str, files: Mapping[str, bytes] | None = None, ppi: float = 110) -> list[bytes]:
    """Set a document as one PNG a page.

    Args:
        source, files: as ``pdf``.
        ppi: pixels to the inch.
    Raises: PaperError as ``pdf``.
    """
    return _set(source, files, "png", ppi)


def ask(source: str, files: Mapping[str, bytes] | None, selector: str) -> object:
    """The value of the one piece of metadata that a selector finds in a set document.

    Args:
        source, files: as ``pdf``.
        selector: such as ``<pages>``.
    Returns: a plain JSON value.
    Raises: PaperError as ``pdf``, or if there is not exactly one.
    """
    try:
        told: object = json.loads(_compiler(source, files).query(selector, field="value", one=True))
    except (typst.TypstError, RuntimeError) as why:
        raise _wrapped(why) from None
    return told


def _compiler(source: str, files: Mapping[str, bytes] | None) -> typst.Compiler:
    everything = {_MAIN: source.encode("utf-8"), **(files or {})}
    # The library takes named files in memory too; its stubs do not say so.
    given = cast(bytes, everything)
    return typst.Compiler(given, font_paths=_fonts(tuple(font_folders()), _needs_foreign_fonts(everything)))


@lru_cache(maxsize=4)
def _fonts(folders: tuple[str, ...], machine: bool) -> typst.Fonts:
    return typst.Fonts(include_system_fonts=machine, font_paths=[Path(folder) for folder in folders])


def _set(source: str, files: Mapping[str, bytes] | None, form: Literal["pdf", "png"], ppi: float | None) -> list[bytes]:
    try:
        made = _compiler(source, files).compile(format=form, ppi=ppi, timestamp=_EPOCH)
    except (typst.TypstError, RuntimeError) as why:
        raise _wrapped(why) from None
    return [made] if isinstance(made, bytes) else list(made or [])


def _wrapped(why: Exception) -> PaperError:
    return PaperError(str(getattr(why, "message", why)), hints=tuple(getattr(why, "hints", ())))


def _needs_foreign_fonts(files: Mapping[str, bytes]) -> bool:
    """Whether any word is in a script that the project's own faces do not hold."""
    texts = (content.decode("utf-8", errors="replace") for name, content in files.items() if name.endswith(_WORDED))
    return any(not _held(character) for text in texts for character in set(text))


def _held(character: str) -> bool:
    """Latin, Greek, Cyrillic, punctuation, and the shapes that the look uses."""
    return any(lo <= character <= hi for lo, hi in _HELD)
