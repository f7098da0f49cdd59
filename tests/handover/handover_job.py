"""An invented job, entry by entry, as its stages write them."""

import math
import random

from tickover.jobs.entries import Entry

CAR = {
    "shop": "Larkholm Garage",
    "job": "0147",
    "year": 2007,
    "fuel": "petrol",
    "displacement_l": 2.4,
    "cylinders": 4,
    "throttle": "electronic",
    "metering": "air meter",
    "complaint": "hunts at idle since the battery went flat",
    "history": ["battery flat"],
}
STORY = {"story": "lost memory", "sentence": "The engine lost its idle memory with the flat battery"}
NEEDS = {
    "needs": [
        {"need": "coolant", "value": "88 °C", "met": True},
        {"need": "loads off", "value": "by hand", "met": True},
        {"need": "key-on volts", "value": "12.2 V", "met": False},
    ]
}


def quantity(value, half, unit="r/min"):
    shape = {"kind": "quantity", "value": value, "lo": value - half, "hi": value + half, "level": 0.95}
    return {**shape, "unit": unit, "n_eff": 30.0}


def cannot(reason="the fan ran for 48 s of the minute"):
    return {"kind": "cannot tell", "reason": reason, "way_out": "Record again with the fan off"}


def reading(value=842.0, half=14.0, swing=38.0, *, speed=None, refusals=(), name="loads off"):
    rng = random.Random(round(value))
    t = [5 + 0.2 * i for i in range(301)]
    return {
        "states": [
            {"name": name, "seconds": 60.0, "speed": speed or quantity(value, half), "spread": swing / 1.4},
            {"name": "loads on", "seconds": 9.0, "speed": quantity(600, 50), "spread": None, "extra": 1},
        ],
        "swing": quantity(swing, 3),
        "trace": {"t": t, "speed": [value + swing * math.sin(2 * x) + rng.gauss(0, 4) for x in t]},
        "refusals": list(refusals),
        "rests_on": ["one warm minute, loads off"],
        "hunting": None,
    }


def attempt(number=1, verdict="hit", *, late=0.0, blur=0.0, may_erase=False):
    acts = [act("on", "Key on", "ignition on", 0.0, None)]
    t = 3.1
    for k in range(5):
        off = late if k == 3 else 0.0
        wide = blur if k == 3 else 0.0
        judged = verdict if (k == 3 and verdict != "hit") else "hit"
        hi = t + 0.3
        acts.append(act("presses", f"Press {k + 1}", "press", t + off, [t - 0.3, hi], judged, wide))
        t += off + 0.38
        acts.append(act("presses", f"Let-up {k + 1}", "release", t, [t - 0.13, t + 0.5]))
        t += 0.41
    down = t + 6.8
    acts.append(act("down", "Press and hold", "press", down, [t + 5.6, t + 7.6]))
    up = down + 21.6
    acts.append(act("up", "Let up", "release", up, [down + 20, down + 23]))
    acts.append(act("start", "Start", "crank", up + 1.4, [up + 0.3, up + 3]))
    return {
        "routine": "pedal-count",
        "title": "Idle-air relearn by pedal count",
        "may_erase": may_erase,
        "basis": "common practice without a published source; the car’s own service information wins",
        "try": number,
        "verdict": verdict,
        "sentence": "Press 4 came 0.4 s late." if verdict == "missed" else "",
        "acts": acts,
        "answers": [{"kind": "lamp flashing", "t": down + 10}, {"kind": "lamp lit", "t": down + 20}],
        "duration": up + 5,
        "changed": "",
    }


def act(step, label, kind, t, window, verdict="hit", blur=0.0):
    return {
        "step": step,
        "label": label,
        "kind": kind,
        "t_lo": t - blur,
        "t_hi": t + blur,
        "window": window,
        "verdict": verdict,
    }


def comparison(verdict="settled", sentence="", normal=(650, 750)):
    return {"verdict": verdict, "sentence": sentence, "difference": quantity(-138, 16), "normal": list(normal)}


def entries(*rows, simulated=True):
    """Entries with rising numbers and times of day."""
    return [
        Entry(
            seq=i + 1,
            stage=stage,
            kind=kind,
            at=f"2025-10-14T{8 + (10 * i) // 60:02d}:{(10 * i) % 60:02d}:00+01:00",
            by="R. H.",
            data=data,
            simulated=simulated,
        )
        for i, (stage, kind, data) in enumerate(rows)
    ]


BEGIN = (
    ("arrive", "car", CAR),
    ("arrive", "story", STORY),
    ("before", "reading", reading()),
    ("set up", "needs", NEEDS),
)


def finished(verdict="settled", *, after=None, tries=None, extra=()):
    """A whole job that ended in a verdict."""
    return entries(
        *BEGIN,
        *(("relearn", "attempt", t) for t in (tries or (attempt(),))),
        *extra,
        ("after", "reading", after or reading(704.0, 8.0, 5.0)),
        ("after", "comparison", comparison(verdict)),
    )


POOL_FOR_PAGE = [
    *((e.stage, e.kind, e.data) for e in finished(tries=(attempt(1, "missed", late=0.7), attempt(2, may_erase=True)))),
    ("before", "reading", reading(speed=cannot(), refusals=[{"reason": "too short", "way_out": ""}])),
    ("after", "comparison", comparison("cannot tell", "The fan ran too long.")),
    ("relearn", "attempt", attempt(3, "undecided", blur=0.3)),
    ("ready", "readiness", {"before": [1], "after": [1]}),
    (
        "ready",
        "verdict",
        {"sentence": "It would be ready.", "between": [{"what": "the lamp"}, 7], "check": "Ask there."},
    ),
    ("drive", "plan", {"minutes": 34.0, "legs": [{"words": "Three minutes at 85 km/h"}, None], "cautions": "Mind it."}),
    ("drive", "check", {"monitors": [{"words": "catalyst: held"}]}),
    ("cause", "causes", {"sentence": "A leak behind the air meter is likely", "groups": 7}),
    ("cause", "repair", {"text": "Brake hose replaced"}),
    ("arrive", "answers", {"lamp": "lit", "codes": ["P0505"]}),
    ("drive", "skipped", {"reason": "customer drives it"}),
]
