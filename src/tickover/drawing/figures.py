"""How a number is written: with its range, in as many digits as the range deserves; and honest ticks."""

from __future__ import annotations

import math


def decimals(half: float) -> int:
    """Decimals that a half width deserves: none from 1 up, one significant digit below."""
    if half <= 0 or half >= 1 or not math.isfinite(half):
        return 0
    return min(6, -math.floor(math.log10(half)))


def plain(value: float, places: int = 0) -> str:
    """A number with a true minus sign and no negative zero."""
    text = f"{value:.{places}f}"
    if float(text) == 0:
        text = text.lstrip("-")
    return text.replace("-", "−")


def short(value: float) -> str:
    """A number without needless zeros, six significant digits.

    Example: ``short(750.0)`` is ``750`` and ``short(0.5)`` is ``0.5``.
    """
    return f"{value:.6g}".replace("-", "−") if value else "0"


def interval(value: float, lo: float | None, hi: float | None) -> tuple[str, str]:
    """A value and its range in words.

    Args:
        value: best estimate.
        lo, hi: its interval, same unit; ``None`` where nothing bounds it.
    Returns: ``("842 ± 14", "")`` where both sides agree to within a fifth, the
        wider side told; else the figure and the range beside it,
        ``("842", "829 to 871")``, ``("842", "at least 829")`` or ``("842", "no range")``.
    """
    if lo is None and hi is None:
        return plain(value), "no range"
    if lo is None or hi is None:
        bound = hi if lo is None else lo
        places = decimals(abs(value - (bound if bound is not None else value)))
        words = "at most" if lo is None else "at least"
        return plain(value, places), f"{words} {plain(bound if bound is not None else value, places)}"
    half = (hi - lo) / 2
    if half < 1e-9 * max(1.0, abs(value)):  # every measurement the same: no width to state
        return short(value), ""
    places = decimals(half)
    if abs((hi - value) - (value - lo)) <= max(0.2 * half, 10.0**-places):
        return f"{plain(value, places)} ± {plain(max(hi - value, value - lo), places)}", ""
    return plain(value, places), f"{plain(lo, places)} to {plain(hi, places)}"


def in_words(value: float, lo: float | None, hi: float | None) -> str:
    """As ``interval``, in one phrase: ``842 ± 14`` or ``842 (829 to 871)``."""
    figure, range_ = interval(value, lo, hi)
    return f"{figure} ({range_})" if range_ else figure


def nice_step(span: float, about: int) -> float:
    """The step of 1, 2 or 5 times a power of ten that cuts ``span`` into about ``about`` parts, never many more.

    Raises: ValueError if the span is not positive and finite, or ``about`` is less than 1.
    """
    if not (math.isfinite(span) and span > 0 and about >= 1):
        raise ValueError(f"no ticks for a span of {span} in {about} parts")
    raw = span / about
    power: float = 10.0 ** math.floor(math.log10(raw))
    for times in (1.0, 2.0, 5.0):
        if raw <= times * power * (1 + 1e-9):
            return times * power
    return 10 * power


def ticks(lo: float, hi: float, about: int = 5) -> list[float]:
    """Nice numbers within ``lo..hi``, ends included.

    Args:
        lo, hi: the range, ``lo < hi``.
        about: how many steps would suit.
    Returns: rising multiples of one step; at least one, save where a narrow range far from zero holds none.
    Raises: ValueError as ``nice_step``.
    Example: ``ticks(612, 884, 5)`` is ``[700.0, 800.0]`` and ``ticks(0, 60, 6)`` is every ten.
    """
    step = nice_step(hi - lo, about)
    slack = 1e-9 * (hi - lo)
    first = math.ceil((lo - slack) / step)
    last = math.floor((hi + slack) / step)
    return [k * step for k in range(first, last + 1)]
