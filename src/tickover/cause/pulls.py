"""Pieces of evidence that pull against each other, and the one to do again before any other test.

Two pieces pull where every cause on the list explains them together at least 3 bits (eight times) worse than each is
explained by its own best cause. Words count here with their whole tables: it is the pieces that are doubted, not the
causes. Something else is left out, for it would make anything.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from tickover.cause.acts import CODES, MEASURES, TESTS, Act, Measure
from tickover.cause.channels import CHANNELS
from tickover.cause.evidence import Evidence
from tickover.cause.hypotheses import ELSE, HYPOTHESES
from tickover.cause.results import Pull
from tickover.cause.tables import CODE_GROUPS, Word, chances
from tickover.cause.weighing import WIDTHS, Weighed

Floats = NDArray[np.float64]

LEAST_BITS = 3.0
"""Pieces that pull less are not spoken of [bit]; docs/why/cause.md says how often that is a false alarm."""
FEW = 6
"""Of more pieces than this one is wrong by chance the more often: 1 bit more for twice as many [1]. Own choice."""
EVEN_BITS = 1.0
"""Where the rest speaks against both alike, within so much, the quicker one is done again [bit]. Own choice."""
BANKS_APART = 8.0
"""Two banks that are off by so much, each its own way, pull against each other [%]. Own choice."""

_STORIES = ("history", "complaint")
"""What happened before and what was complained of may go with anything."""
_AGAIN: dict[str, Act | Measure] = {
    "codes": CODES,
    "relearn": Act("verdict", "Record the idle again, warm, and compare it with before", {}, {}, 5.0),
    "memory": Act("long trim", "Read the long trim again, engine warm", {}, {}, 2.0, "a reader"),
    "coolant": Act("coolant behaviour", "Watch the coolant reading again from cold", {}, {}, 15.0, "a reader"),
}


@dataclass(frozen=True)
class Piece:
    """One piece of evidence.

    Attributes:
        key: for scripts: a channel, or the key of a word.
        source: pieces of one source are not set against each other.
        says: in words.
        told: log likelihood by cause, its sizes averaged, shape (causes,).
    """

    key: str
    source: str
    says: str
    told: Floats

    @property
    def best(self) -> int:
        """The cause on the list that explains it best."""
        return max(_LISTED, key=lambda k: float(self.told[k]))

    @property
    def again(self) -> Act | Measure | None:
        """How to do it again."""
        return next((m for m in MEASURES if m.channel == self.key), None) or TESTS.get(
            self.key.removeprefix("test "), _AGAIN.get(self.source)
        )


@dataclass(frozen=True)
class Doubt:
    """Two pieces that pull against each other.

    Attributes:
        weaker_first: the two pieces; once where both are one reading.
        bits: how hard they pull; None for two banks.
        names: the two in words.
        faults: what each speaks of by itself, where neither speaks against the other's; else empty.
    """

    weaker_first: tuple[Piece, ...]
    bits: float | None
    names: tuple[str, str]
    faults: tuple[str, ...] = ()

    def pull(self, again: Piece | None) -> Pull:
        """What is said of it.

        Args:
            again: the piece to do again; None where neither done again would change the answer.
        """
        one, other = self.names
        if self.faults and self.bits is not None:
            says = (
                f"“{one}” speaks of {self.faults[0]}, “{other}” of {self.faults[1]}. No one cause on the list makes "
                "both, so look for both: put one right, then read again."
            )
            return Pull(sort="two faults", one=one, other=other, bits=round(self.bits, 1), again="", says=says)
        told = f"“{one}” and “{other}” pull against each other: no one cause on the list makes both."
        if self.bits is None:
            told += " The λ sensors may be plugged crosswise."
            return Pull(one=one, other=other, bits=None, again=f"{one}, {other}", says=told)
        old = " A stored code may be an old one." if any(p.source == "codes" for p in self.weaker_first) else ""
        if again is None:
            told += f"{old} Doing either again would not change the answer."
        else:
            told += f" Do “{again.says}” again before anything else.{old} If both stand, look for two faults."
        says = again.says if again is not None else ""
        return Pull(one=one, other=other, bits=round(self.bits, 1), again=says, says=told)


def doubt_of(w: Weighed, evidence: Evidence) -> Doubt | None:
    """The two pieces that pull hardest against each other; None where none do.

    Args:
        w: what was weighed.
        evidence: what was seen.
    """
    numbers = _numbers(w)
    words = [p for p in (word_piece(one, evidence) for one in w.words) if p.source not in _STORIES]
    if (banks := _banks(evidence, numbers)) is not None:
        return banks
    least = LEAST_BITS + float(np.log2(max((len(numbers) + len(words)) / FEW, 1.0)))
    pulls = [found for found in _pairs(w, numbers, words) if found[0] >= least]
    pulls = pulls or [found for found in _against_all(w, words) if found[0] >= least]
    if not pulls:
        return None
    bits, one, other = max(pulls, key=lambda found: found[0])
    return Doubt(_weaker_first(w, one, other), bits, (one.says, other.says), _two_faults(one, other))


def _two_faults(one: Piece, other: Piece) -> tuple[str, ...]:
    """What each piece speaks of by itself; empty where one speaks for a sound car, or against the other's cause."""
    mine, theirs = one.best, other.best
    if HYPOTHESES[mine].family == "sound" or HYPOTHESES[theirs].family == "sound" or not one.key:
        return ()
    for piece, cause in ((one, theirs), (other, mine)):
        if piece.told[cause] - piece.told[_SOUND] < -np.log(2):
            return ()
    return tuple(HYPOTHESES[k].says.partition(",")[0] for k in (mine, theirs))


def _pairs(w: Weighed, numbers: list[Piece], words: list[Piece]) -> Iterator[tuple[float, Piece, Piece]]:
    for one, other in combinations([*numbers, *words], 2):
        if one.source != other.source and not (one.source == "number" and other in numbers):
            yield _pull(one.told, other.told, one.told + other.told), one, other
    for i, k in _suspects(w, numbers):
        yield _pull(numbers[i].told, numbers[k].told, _by_cause(w, _both(w, i, k))), numbers[i], numbers[k]


def _against_all(w: Weighed, words: list[Piece]) -> Iterator[tuple[float, Piece, Piece]]:
    """Each word against all numbers together: each alone may fit it, and all of them not."""
    if len(w.numbers.index) < 2:
        return
    told = w.numbers.says
    says = " and ".join(told) if len(told) == 2 else f"{', '.join(told[:2])} and the other readings"
    block = Piece("", "number", says, _by_cause(w, w.fit))
    yield from ((_pull(one.told, block.told, one.told + block.told), block, one) for one in words)


def _pull(one: Floats, other: Floats, both: Floats) -> float:
    """How much worse the best cause explains both than each is explained by its own best [bit]."""
    return float((one[_LISTED].max() + other[_LISTED].max() - both[_LISTED].max()) / np.log(2))


def _suspects(w: Weighed, numbers: list[Piece]) -> Iterator[tuple[int, int]]:
    """Pairs of numbers that are worth a closer look: one of them pulls against all other numbers together."""
    if len(numbers) < 2:
        return
    whole = _by_cause(w, w.fit)
    odd = [_pull(p.told, _by_cause(w, w.without[k]), whole) >= LEAST_BITS for k, p in enumerate(numbers)]
    yield from ((i, k) for i, k in combinations(range(len(numbers)), 2) if odd[i] or odd[k])


def _by_cause(w: Weighed, told: Floats) -> Floats:
    """A log likelihood by cell, averaged over each cause's sizes, shape (causes,)."""
    ways = w.ways
    own = ways.mimics < 0
    joint = np.where(own, ways.prior + told[ways.cell], -np.inf)
    prior = np.where(own, ways.prior, -np.inf)
    with np.errstate(invalid="ignore"):
        return np.asarray(np.nan_to_num(w.by_cause(joint) - w.by_cause(prior), nan=-np.inf, neginf=-np.inf))


def _variance(w: Weighed, i: int, k: int) -> Floats:
    """Of two numbers together, as made, without reading them, shape (cells,)."""
    one, two = w.numbers.index[i], w.numbers.index[k]
    shared = (w.cells.factors[:, :, one] * w.cells.factors[:, :, two]).sum(axis=1)[w.cells.stratum]
    return np.asarray(shared + (w.cells.alone[:, one] if i == k else 0.0))


def _numbers(w: Weighed) -> list[Piece]:
    found = []
    for k, says in enumerate(w.numbers.says):
        made, read = _variance(w, k, k), w.numbers.spreads[k] ** 2
        parts = []
        for share, width in WIDTHS:
            variance = made * width**2 + read
            parts.append(np.log(share) - (w.residual[:, k] ** 2 / variance + np.log(2 * np.pi * variance)) / 2)
        name = CHANNELS[w.numbers.index[k]].name
        found.append(Piece(name, "number", says, _by_cause(w, np.logaddexp.reduce(parts))))
    return found


def _both(w: Weighed, i: int, k: int) -> Floats:
    """Log likelihood of two numbers together, shape (cells,)."""
    a, b, c = _variance(w, i, i), _variance(w, k, k), _variance(w, i, k)
    x, y = w.residual[:, i], w.residual[:, k]
    parts = []
    for share, width in WIDTHS:
        va, vb = (v * width**2 + w.numbers.spreads[n] ** 2 for v, n in ((a, i), (b, k)))
        vc = c * width**2
        size = va * vb - vc**2
        square = (vb * x**2 - 2 * vc * x * y + va * y**2) / size
        parts.append(np.log(share) - (square + np.log(size)) / 2 - np.log(2 * np.pi))
    return np.asarray(np.logaddexp.reduce(parts))


def word_piece(one: Word, evidence: Evidence) -> Piece:
    """A word with its whole table."""
    kind, _, group = one.key.partition(" ")
    source = {"code": "codes", "attempts": "relearn", "verdict": "relearn", "long": "memory", "since": "memory"}.get(
        kind, one.key if kind == "test" else kind
    )
    told = np.log(chances(CODE_GROUPS[group][2])) if kind == "code" else one.log_likelihood
    return Piece(one.key, source, _short(one, evidence), told)


def _short(one: Word, evidence: Evidence) -> str:
    """A word as few words; a test by its name and outcome."""
    kind, _, name = one.key.partition(" ")
    return f"{name}: {evidence.tests[name]}" if kind == "test" else one.says


def _weaker_first(w: Weighed, one: Piece, other: Piece) -> tuple[Piece, ...]:
    """The piece that the likeliest cause leaves unexplained goes first; of two alike, the quicker."""
    if not one.key:
        return (other,)
    lead = max(_LISTED, key=lambda k: w.causes[k])
    off = [(p.told[_LISTED].max() - p.told[lead]) / np.log(2) for p in (one, other)]
    if abs(off[0] - off[1]) > EVEN_BITS:
        return (one, other) if off[0] > off[1] else (other, one)
    quick, slow = sorted((one, other), key=lambda p: p.again.minutes if p.again is not None else np.inf)
    return quick, slow


def _banks(evidence: Evidence, numbers: list[Piece]) -> Doubt | None:
    """Two banks that are off each its own way."""
    for point, one in evidence.trims.items():
        two = evidence.trims_bank2.get(point)
        if two is None or one.value * two.value >= 0 or min(abs(one.value), abs(two.value)) < BANKS_APART:
            continue
        names = f"bank 1 at {point} {one.value:+.0f} %", f"bank 2 at {point} {two.value:+.0f} %"
        return Doubt(tuple(p for p in numbers if p.key == f"trim {point}"), None, names)
    return None


def without(evidence: Evidence, piece: Piece) -> Evidence:
    """The evidence as if that piece had not been seen."""
    kind, _, name = piece.key.partition(" ")
    tables = {"trim": ("trims", "trims_bank2"), "flow": ("air_flow",), "map": ("manifold",), "volts": ("volts",),
              "test": ("tests",)}  # fmt: skip
    if kind in tables:
        cut = {f: {k: v for k, v in getattr(evidence, f).items() if k != name} for f in tables[kind]}
        return evidence.model_copy(update=cut)
    field = {"speed": "idle_speed", "idle air": "idle_air", "coolant behaviour": "coolant_behaviour"}.get(piece.key)
    field = field or (piece.source if piece.source == "codes" else piece.key)
    optional = type(evidence).model_fields.get(field)
    return evidence if optional is None or optional.default is not None else evidence.model_copy(update={field: None})


_SOUND = next(k for k, h in enumerate(HYPOTHESES) if h.family == "sound")
_LISTED = [k for k, h in enumerate(HYPOTHESES) if h.name != ELSE]
