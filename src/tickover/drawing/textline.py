"""The ruled line for a terminal: jaws, mark and now stroke in one row of characters; and the emptying bar."""

from __future__ import annotations


def text_line(
    span: tuple[float, float],
    width: int,
    *,
    jaws: tuple[float, float | None] | None = None,
    mark: float | None = None,
    now: float | None = None,
    filled: bool = True,
) -> str:
    """One row of a ruled line.

    Args:
        span: values at the left and the right end.
        width: characters, 8 or more.
        jaws: what is allowed; a side outside the span is left out, None is open.
        mark: what was found, or the aim.
        now: where the now stroke stands.
        filled: ◆ where true, ◇ where the mark is only so far.
    Returns: exactly ``width`` characters.
    Example: ``text_line((0, 10), 11, jaws=(2, 8), mark=5)`` is ``"──[──◆──]──"``.
    """
    row = ["─"] * width
    lo, hi = span

    def put(value: float | None, char: str) -> None:
        if value is not None and lo <= value <= hi:
            row[round((value - lo) / (hi - lo) * (width - 1))] = char

    if jaws is not None:
        put(jaws[0], "[")
        put(jaws[1], "]")
    put(now, "┃")
    if mark is not None and lo <= mark <= hi:
        row[_beside_jaws(row, round((mark - lo) / (hi - lo) * (width - 1)), jaws, mark)] = "◆" if filled else "◇"
    return "".join(row)


def _beside_jaws(row: list[str], at: int, jaws: tuple[float, float | None] | None, mark: float) -> int:
    """Where a mark goes that would cover a jaw: beside it, on the side where it was found."""
    if jaws is None or row[at] not in "[]":
        return at
    left = mark < jaws[0] if row[at] == "[" else jaws[1] is None or mark <= jaws[1]
    return min(max(at + (-1 if left else 1), 0), len(row) - 1)


def emptying_bar(left: float, length: float, width: int) -> str:
    """A bar that empties from the left; what is left of a wait.

    Args:
        left: time left [s].
        length: the whole wait [s].
        width: characters.
    Returns: exactly ``width`` characters.
    Example: ``emptying_bar(5, 10, 8)`` is ``"    ████"``.
    """
    share = 0.0 if length <= 0 else min(max(left / length, 0.0), 1.0)
    full = round(share * width)
    return " " * (width - full) + "█" * full
