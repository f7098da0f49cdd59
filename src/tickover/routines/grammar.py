"""The grammar of a routine file as data: every key, what it takes, what it means.

The reader checks a file against these tables, and the reference page is written from them, so neither can go stale.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, get_args

from tickover.attempts import Kind
from tickover.routines.model import BasisKind, Family

Shape = Literal[
    "text", "texts", "name", "names", "flag", "whole", "number", "pair", "choice", "choices", "table", "tables", "while"
]

SHAPES: dict[Shape, str] = {
    "text": "text in quotes",
    "texts": "a list of texts",
    "name": "a name: small letters, digits and hyphens, a letter first",
    "names": "a list of names",
    "flag": "true or false",
    "whole": "a whole number",
    "number": "a number",
    "pair": "two numbers, [lowest, highest]",
    "choice": "one of the words below",
    "choices": "a list of the words below",
    "table": "a table { … }",
    "tables": "a list of tables [ { … }, { … } ]",
    "while": "a named condition, or { signal = …, with a bound in its unit }",
}


@dataclass(frozen=True, slots=True)
class Key:
    """One key of the grammar.

    Attributes:
        name: as written in the file.
        shape: what it takes.
        meaning: one sentence for the reference.
        needed: whether it must be there.
        among: the words it may take, for a choice.
    """

    name: str
    shape: Shape
    meaning: str
    needed: bool = False
    among: tuple[str, ...] = ()


FAMILIES: tuple[Family, ...] = get_args(Family)
THROTTLES = ("cable", "electronic")
BASES: tuple[BasisKind, ...] = get_args(BasisKind)

MIN_PRESS = 0.25
"""Shortest press that counts as one [s]. Own choice, from the plan of the house: a shorter one may fall between two
looks of the controller at its pedal."""

MOST_TIMES = 50
"""Most presses of a repeat, and most rounds of a cycle. Own choice: longer ones are typing errors."""

LONGEST = 86_400.0
"""Longest bound [s], a day. Own choice: a longer one was not meant in seconds."""

DO: dict[Kind, str] = {
    "ignition off": "ignition off",
    "ignition accessory": "ignition to accessory",
    "ignition on": "ignition on, engine not started",
    "crank": "start the engine",
    "press": "the pedal goes fully down (90 % of its travel or more); with `times`, that many presses and let-ups",
    "release": "the pedal comes fully up (10 % or less)",
    "brake press": "the foot goes on the brake",
    "brake release": "the foot leaves the brake",
    "gear drive": "a drive gear is selected, brake held",
    "gear neutral": "P or N is selected",
    "load on": "an electrical or compressor load goes on; `load` says which",
    "load off": "it goes off again",
    "hold speed": "the pedal holds the engine at a speed, in P or N; `speed` says which",
    "let idle": "the pedal is let go, the engine falls back to idle",
    "drive": "the car drives: moves off, pulls, or keeps its speed; `road_speed` may say which",
    "coast": "the pedal is let go in gear while the car rolls",
    "stand": "the car comes to a stand, engine idling",
}
"""What a person can do in a step."""

LAMP: dict[str, Kind] = {"flashing": "lamp flashing", "lit": "lamp lit", "off": "lamp off"}
"""What the engine lamp can answer."""

CAR: dict[str, Kind] = {"running": "running", "stopped": "stopped", "fan on": "fan on", "fan off": "fan off"}
"""What else the car can answer."""

CONDITIONS: dict[str, str] = {
    "fan off": "the radiator fan stands still",
    "fan on": "the radiator fan runs",
    "idling": "the engine runs, the car stands, the pedal is up",
    "pedal up": "the pedal is up",
    "loads off": "no lights, blower, rear heater or compressor",
    "moving": "the car moves",
}
"""Conditions under which time may be counted, as a person can see them."""

HEAD = (
    Key("id", "name", "The routine's short name, used in commands and records.", True),
    Key("title", "text", "Its name for people.", True),
    Key("kind", "choice", "What sort of routine it is.", True, FAMILIES),
    Key("throttle", "choices", "Throttle kinds it suits; left out, it suits both.", False, THROTTLES),
    Key("fits", "text", "Which cars it is for, in your own words."),
    Key(
        "disturbs", "whole", "What it disturbs: 0 nothing, 1 volatile memory, 2 the learned idle, 3 all learned.", True
    ),
    Key("may_erase", "flag", "Whether codes or readiness may be erased. Then codes are read and noted first.", True),
    Key("requires", "names", "Routines that must have been done before this one."),
    Key("needs", "tables", "What must be so before it begins, each with its reason."),
    Key("signs", "texts", "How success shows itself."),
    Key("after_miss", "text", "What to do after a missed attempt, before the next."),
    Key("cautions", "texts", "Cautions for the whole routine; those of a moment belong to its step."),
    Key("basis", "table", "What it rests on.", True),
    Key("steps", "tables", "The steps in their order; also written under [[steps]].", True),
)

NEED = (
    Key("need", "text", "What must be so.", True),
    Key("why", "text", "Why it matters.", True),
    Key("signal", "text", "Name of the quantity that shows it, from the list of signals, with a bound in its unit."),
    Key("at_least", "number", "Lowest value."),
    Key("at_most", "number", "Highest value."),
    Key("between", "pair", "Lowest and highest value."),
)

BASIS = (
    Key("kind", "choice", "What sort of basis.", True, BASES),
    Key(
        "source", "text", "Where it is written; needed where it is published. With common practice: where it was heard."
    ),
    Key("clause", "text", "Where in the source."),
)

BOUND = (
    Key("about", "number", "Seconds to aim at, always with `give`."),
    Key("give", "number", "How far off still does: `about = 3, give = 1` is 2 to 4 s."),
    Key("at_least", "number", "No sooner than this many seconds."),
    Key("aim_by", "number", "With `at_least`: how many seconds beyond it to aim."),
    Key("at_most", "number", "No later than this many seconds."),
    Key("between", "pair", "Earliest and latest, in seconds."),
)

INNER_BOUND = tuple(key for key in BOUND if key.name != "aim_by")
"""What `press`, `gap` and `span` take."""

COUNTED = Key("after", "name", "The earlier step whose last moment the bound is counted from; else the step before.")

PROSE = (
    Key("caution", "text", "A caution to be said before this step."),
    Key("why", "text", "Why the step is there."),
    Key("say", "text", "What the coach says instead of its own words."),
    Key("title", "text", "What the card says instead of its own words."),
)

STEP = (
    Key("id", "name", "The step's name; no two steps share one.", True),
    Key("do", "choice", "What a person does.", False, tuple(DO)),
    Key("lamp", "choice", "What the engine lamp answers; needs a finite `between` and `if_none`.", False, tuple(LAMP)),
    Key("car", "choice", "What else the car answers; needs a finite `between` and `if_none`.", False, tuple(CAR)),
    COUNTED,
    *BOUND,
    Key("times", "whole", f"Presses in a row, 2 to {MOST_TIMES}; needs `press`, `gap` and `span`."),
    Key("press", "table", f"With `times`: the bound on each press, at least {MIN_PRESS:g} s."),
    Key("gap", "table", "With `times`: the bound on each gap between two presses."),
    Key("span", "table", "With `times`: the bound from first press to last let-up."),
    Key("load", "text", "With `load on` and `load off`: which load."),
    Key("speed", "pair", "With `hold speed`: lowest and highest engine speed, in r/min."),
    Key("road_speed", "pair", "With `drive`: lowest and highest road speed to keep, in km/h."),
    Key("count_only_while", "while", "Time counts only while this holds; the bound is on counted time."),
    Key("forbidden_until", "name", "Doing it before that step is a harm, not only a miss."),
    Key("harm", "text", "With `forbidden_until`: what doing it early does."),
    Key("bus_silent", "flag", "Nothing may poll the car until this step: polling can keep a controller awake."),
    Key("if_none", "text", "With `lamp` and `car`: what to do where it does not come; `stop` ends the attempt."),
    *PROSE,
)

CYCLE = (
    Key("id", "name", "The cycle's name; `after` a cycle means after its last round.", True),
    Key("cycle", "tables", "Its steps, repeated in their order; also written under [[steps.cycle]].", True),
    Key("times", "whole", f"Rounds, 2 to {MOST_TIMES}.", True),
    COUNTED,
    *BOUND,
    Key("caution", "text", "A caution to be said before the first round."),
    Key("why", "text", "Why the cycle is there."),
)

WHILE = (
    Key("signal", "text", "Name of the quantity, from the list of signals.", True),
    Key("at_least", "number", "Lowest value, in the signal's unit."),
    Key("at_most", "number", "Highest value, in the signal's unit."),
    Key("between", "pair", "Lowest and highest value, in the signal's unit."),
)

INSTEAD: dict[str, str] = {
    "wait": "A wait is a bound, not a step of its own: put `about` and `give` on the step that ends it.",
    "pause": "A wait is a bound, not a step of its own: put `about` and `give` on the step that ends it.",
    "seconds": "Say how much it may be off: `about` with `give`, `at_least`, `at_most` or `between`.",
    "time": "Say how much it may be off: `about` with `give`, `at_least`, `at_most` or `between`.",
    "duration": "Say how much it may be off: `about` with `give`, `at_least`, `at_most` or `between`.",
    "hold": "A hold is a `press` step and a later `release` step with its own bound.",
    "tolerance": "It is called `give`.",
    "plus_minus": "It is called `give`.",
    "repeat": "It is called `times`; several steps repeat as a `cycle`.",
    "count": "It is called `times`.",
    "rounds": "It is called `times`.",
    "min": "It is called `at_least`.",
    "max": "It is called `at_most`.",
    "within": "It is called `at_most`.",
    "action": "It is called `do`.",
    "start": "It is called `crank`.",
    "start engine": "It is called `crank`.",
    "wait for lamp": "Write `lamp` with a `between` window.",
    "hold pedal": "A hold is a `press` step and a later `release` step with its own bound.",
    "key on": "It is called `ignition on`.",
    "key off": "It is called `ignition off`.",
    "lit steadily": "It is called `lit`.",
    "on": "The lamp is `lit` or `flashing`; the ignition is `ignition on`.",
    "name": "It is called `id`.",
    "description": "It is called `title`.",
    "source": "It belongs into `basis`.",
    "prerequisites": "They are called `needs`, each with its `why`.",
    "notes": "They are called `cautions`, or `why` at a step.",
}
"""Words people try, and what they are called here."""


def reference_markdown() -> str:
    """The reference page of the grammar, written from the tables above.

    Returns: Markdown without a heading note; the caller adds where it comes from.
    """
    parts = [
        "# Routine files\n",
        "A routine is one TOML file. Every timed step says its bound in exactly one way; a bare number is refused,",
        "because “wait 3 seconds” does not say whether 2.6 will do. All faults of a file are reported together by",
        "`tickover routine check FILE`, each with its line and the way out. Times are seconds.\n",
        _section("The head of the file", HEAD),
        _section("Each of `needs`", NEED),
        _section("`basis`", BASIS),
        "Common practice is what the trade does without a published source; service information is what the car's own",
        "maker says, and wins over anything else.\n",
        _section("A step", STEP),
        "A step has one of `do`, `lamp` and `car`. The first step has no bound: the clock starts with it. Every other",
        "step has one: `about` with `give`, `at_least` (and `aim_by`), `at_most`, or `between`. It is counted from the",
        "last moment of the step it is `after`: of a repeat, its last let-up. Steps happen in the order of the file.\n",
        "A single `press` is the pedal going down, and a later `release` is the pedal coming up; between them lie at",
        f"least {MIN_PRESS:g} s. `press`, `gap` and `span` take bounds of their own, as a table.\n",
        _words("`do`", DO),
        _words("`count_only_while`", CONDITIONS),
        _section("`count_only_while` by a signal", WHILE),
        _section("A cycle", CYCLE),
        "A cycle repeats its steps. The bound of its first step is counted from the end of the round before; when the",
        "first round begins is said by the cycle's own bound, or, where the cycle comes first, by nothing.\n",
        "## What is checked beside the words\n",
        *[f"- {rule}" for rule in RULES],
        "",
    ]
    return "\n".join(parts)


RULES = (
    "A press needs the pedal up before it, a release needs it down, and no routine ends with the pedal down.",
    "The pedal is up, and P or N selected, before the crank; the ignition is on, unless the crank is the first step.",
    "The ignition is on before presses are counted and before a lamp is looked for.",
    'The engine stands still before the pedal goes down. After it ran: a `car = "stopped"` step that confirms it.',
    f"A press lasts at least {MIN_PRESS:g} s.",
    "A drive gear needs the engine running and the brake held, and P or N comes before ignition off.",
    "A held engine speed needs the engine running in P or N, and `let idle` comes before anything else is done.",
    "The ignition is never switched while the car moves: `stand` comes before.",
    "The bounds can all be kept together; if not, the shortest contradiction is named.",
    "The routine can be done whatever moment the car's answers take within their windows.",
    "Cautions that always hold (engine stopped before the pedal, pedal up before the crank, running engines and closed"
    " spaces, a held brake in gear) are added to their steps by themselves.",
)


def _section(heading: str, keys: Sequence[Key]) -> str:
    rows = [f"## {heading}\n", "| key | takes | meaning |", "|---|---|---|"]
    for key in keys:
        takes = ", ".join(f"`{w}`" for w in key.among) if key.among else SHAPES[key.shape].replace("|", "\\|")
        if key.shape == "choices":
            takes = f"list of {takes}"
        rows.append(f"| `{key.name}`{' (needed)' if key.needed else ''} | {takes} | {key.meaning} |")
    return "\n".join([*rows, ""])


def _words(heading: str, words: Mapping[Kind, str] | Mapping[str, str]) -> str:
    rows = [f"## {heading}\n", "| word | meaning |", "|---|---|"]
    return "\n".join([*rows, *[f"| `{word}` | {meaning} |" for word, meaning in words.items()], ""])
