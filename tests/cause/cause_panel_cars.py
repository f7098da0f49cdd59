"""Cars of the second model: what they are, what is wrong with them, and what a technician reads of them.

Imports nothing of the project: evidence and car come out as plain values for its entrance. Rates, sizes and outcomes of
tests are this model's own.
"""

from dataclasses import dataclass

import numpy as np
from cause_panel_model import POINTS, Cars, run

LISTED = (
    "healthy", "old memory", "lost memory", "memory cleared", "misfire counters", "leak", "air meter", "fuel error",
    "weak pump", "injector dead time", "dead coil", "tired battery", "stuck thermostat", "coolant sensor",
)  # fmt: skip
OUTSIDE = (
    "retarded cam", "blocked exhaust", "EGR open", "dripping injector", "oxygen sensor bias", "exhaust leak",
    "low compression", "purge valve open", "high friction",
)  # fmt: skip
DOUBLES = (
    ("leak", "old memory"), ("weak pump", "leak"), ("stuck thermostat", "fuel error"), ("air meter", "tired battery"),
    ("lost memory", "tired battery"), ("dead coil", "injector dead time"),
)  # fmt: skip
RATES = {
    "stale common": dict(zip(LISTED, (12, 23, 15, 4, 3, 8, 4, 4, 2, 2, 4, 3, 2, 2), strict=True)),
    "stale rare": dict(zip(LISTED, (13, 4, 3, 2, 2, 17, 9, 7, 5, 4, 7, 4, 3, 3), strict=True)),
}
"""Two shops: one that sees flat batteries and cleaned throttles, one that gets what others could not mend."""
OUTSIDE_SHARE, DOUBLE_SHARE = 0.16, 0.04


@dataclass(frozen=True)
class Case:
    """One car: what is wrong, what the papers say, and all that could be read.

    truth: causes that act; "something else" stands among them for what the reasoning does not list.
    hole_mm: of a leak, as a round hole with discharge coefficient 0.8.
    paper: what is known of the car. read: every reading, by evidence name. acts: outcome of every test.
    """

    truth: frozenset
    what: str
    population: str
    hole_mm: float | None
    paper: dict
    read: dict
    acts: dict


def _draw_sound(rng, n):
    u = rng.uniform
    vd = u(1.0, 3.0, n)
    cyl = np.where(vd < 1.25, 3, np.where(vd < 2.4, 4, 6)).astype(float)
    size = vd / 2.0
    zeros = np.zeros(n)
    limit = rng.choice([0.2, 0.25, 0.3, 0.35], n)
    no = np.zeros(n, dtype=bool)
    mm2 = 1e-6
    drawn = dict(
        meter=rng.random(n) < 0.5, vd=vd * 1e-3, cyl=cyl, rc=u(9.2, 11.8, n), k_gas=u(1.27, 1.36, n),
        ve0=u(0.86, 1.0, n), ve_peak=u(2800, 4200, n), p_air=u(92e3, 102.5e3, n), t_air=u(276, 308, n),
        t_man=u(300, 335, n), eta_i=u(0.335, 0.385, n), spark=u(0.74, 0.9, n), spark_room=u(0.03, 0.1, n),
        drag=u(0.85, 1.2, n), watts=u(180, 420, n), load_watts=u(150, 450, n), load_nm=u(4, 11, n) * size**0.5,
        target=rng.choice([650.0, 680.0, 700.0, 720.0, 750.0, 800.0], n), cruise_rpm=u(1900, 2700, n),
        cruise_w=u(7.5e3, 11e3, n) * size**0.3, hard_rpm=u(2600, 3600, n), hard_share=u(0.82, 0.93, n),
        full_pulse=u(9.5, 14, n), fuel_room=u(1.6, 2.5, n),
        cal_slope=rng.normal(0, 0.018, (n, 1)) + rng.normal(0, 0.012, (n, 5)),
        cal_ethanol=rng.choice([0.0, 0.05, 0.1], n), ethanol=rng.choice([0.0, 0.05, 0.05, 0.1], n),
        trim_limit=limit, long_limit=limit * u(0.5, 1.0, n), short_limit=u(0.15, 0.3, n), learned=u(0.4, 1.0, (n, 5)),
        dither=u(-1, 1, (n, 5)), up_room=u(1.8, 4.5, n) * size * mm2, down_room=u(1.8, 4.5, n) * size * mm2,
        area_per_pct=u(0.3, 0.9, n) * size * mm2, pct_closed=u(0, 4, n), closed_area=u(1.0, 4.0, n) * size * mm2,
        bore=zeros, leak_area=zeros, purge_rich=zeros, meter_low=zeros, meter_bend=zeros, fuel_scale=zeros + 1,
        dead_ms=zeros, drip=zeros, sensor_bias=zeros, pipe_leak=zeros, miss=zeros, miss_guard=no, frozen=no,
        raised=zeros, enrich=zeros, cold=zeros, cam=zeros + 1, torque=zeros + 1, back=u(2e5, 9e5, n) / size**2,
        egr_area=zeros,
    )  # fmt: skip
    return Cars(**{name: values.copy() for name, values in drawn.items()})


def _hole(c, i, rng, notes, least, most):
    d = np.exp(rng.uniform(np.log(least), np.log(most)))
    c.leak_area[i] = 0.8 * np.pi / 4 * d**2 * 1e-6
    notes["hole"], notes["at hose"] = d, rng.random() < 0.6
    notes["at crankcase"] = not notes["at hose"] and rng.random() < 0.4


EVEN = {
    "memory cleared": {"learned": (0.0, 0.0, "is"), "bore": (-0.5, 0.5, "mm2")},
    "misfire counters": {"frozen": (1, 1, "is"), "raised": (50, 170, "is")},
    "air meter": {"meter_low": (0.05, 0.30, "is"), "meter_bend": (0.0, 0.08, "is")},
    "weak pump": {"fuel_room": (0.3, 0.8, "is")},
    "injector dead time": {"dead_ms": (0.15, 0.6, "is")},
    "dead coil": {"miss": (0.25, 1.0, "is")},
    "tired battery": {"watts": (150, 500, "plus")},
    "stuck thermostat": {"cold": (12, 32, "is"), "enrich": (0.0, 0.04, "is"), "raised": (0, 50, "is")},
    "coolant sensor": {"enrich": (0.05, 0.22, "is"), "raised": (10, 160, "is")},
    "retarded cam": {"cam": (0.78, 0.9, "is"), "torque": (0.88, 0.97, "is")},
    "EGR open": {"egr_area": (2.0, 9.0, "mm2")},
    "dripping injector": {"drip": (0.06, 0.22, "is")},
    "exhaust leak": {"pipe_leak": (0.06, 0.22, "is")},
    "low compression": {"miss": (0.0, 0.12, "is")},
    "purge valve open": {"purge_rich": (0.2, 2.5, "is")},
    "high friction": {"drag": (1.35, 1.8, "times")},
}
"""What a cause sets, evenly between two bounds: as it is, in mm² for each 2 l, added to, or times what the car has."""


def _raise_fault(c, i, what, rng, notes):
    """Put one fault in one car; ``notes`` takes what the readings beside the engine need."""
    u, size = rng.uniform, c.vd[i] / 2e-3
    for name, (lo, hi, how) in EVEN.get(what, {}).items():
        had, drawn = getattr(c, name)[i], u(lo, hi)
        getattr(c, name)[i] = {"is": drawn, "mm2": drawn * size * 1e-6, "plus": had + drawn, "times": had * drawn}[how]
    if what == "old memory":
        c.bore[i] = c.down_room[i] + u(0.6, 6.0) * size * 1e-6
    elif what == "lost memory":
        c.bore[i] = -(c.up_room[i] + u(0.4, 3.5) * size * 1e-6)
    elif what in ("leak", "purge valve open"):
        _hole(c, i, rng, *((notes, 0.8, 5.0) if what == "leak" else ({}, 1.2, 3.2)))
    elif what == "fuel error":
        c.fuel_scale[i] = 1 - (u(0.06, 0.28) if u() < 0.65 else u(-0.22, -0.06))
    elif what == "dead coil":
        c.miss_guard[i] = u() < 0.4
    elif what == "blocked exhaust":
        c.back[i] += 10 ** u(7.0, 8.2) / size**2
    elif what == "oxygen sensor bias":
        c.sensor_bias[i] = u(0.06, 0.14) * rng.choice([-1, 1])
    elif what == "low compression":
        c.torque[i] = 1 - u(0.3, 0.8) / c.cyl[i]
    elif what not in EVEN and what != "healthy":
        raise ValueError(what)


def _choose(rng, n, population, c):
    """What is wrong with each car: a list of tuples of causes."""
    rates = np.array(list(RATES[population].values()), dtype=float)
    names, chosen = list(RATES[population]), []
    for i in range(n):
        roll = rng.random()
        if roll < OUTSIDE_SHARE:
            chosen.append((str(rng.choice(OUTSIDE)),))
            continue
        two = roll < OUTSIDE_SHARE + DOUBLE_SHARE
        while True:
            pick = DOUBLES[rng.integers(len(DOUBLES))] if two else (str(rng.choice(names, p=rates / rates.sum())),)
            if c.meter[i] or "air meter" not in pick:
                break
        chosen.append(pick)
    return chosen


def _odds(rng, *pairs):
    """One outcome by its weight."""
    weights = np.array([w for _, w in pairs], dtype=float)
    return pairs[int(rng.choice(len(pairs), p=weights / weights.sum()))][0]


def _acts(rng, causes, notes, miss, lam):
    """Outcome of every test, by this model's own chances."""
    hole = notes.get("hole", 0.0)
    leaks = hole > 1.0
    rough = miss > 0.35 or lam > 1.25
    wet = "low compression" in causes
    out = {}
    out["pinch"] = _odds(
        rng,
        ("falls", 0.9 if leaks and notes["at hose"] else 0.35 if "purge valve open" in causes else 0.03),
        ("nothing", 0.1 if leaks and notes["at hose"] else 0.97),
    )
    sucks = 0.5 if notes.get("at crankcase") else 0.01
    still = 0.3 if hole > 2.5 else 0.12
    out["oil cap"] = _odds(rng, ("changes", 1 - sucks - still), ("no change", still), ("sucks", sucks))
    beat = 0.93 if miss > 0.35 else 0.6 if wet else 0.3 if rough else 0.04
    out["hand at exhaust"] = _odds(rng, ("missing", beat), ("even", 1 - beat))
    hiss = 0.65 if hole > 1.6 else 0.25 if hole > 0 else 0.2 if causes & {"purge valve open", "exhaust leak"} else 0.04
    out["listen"] = _odds(rng, ("hiss", hiss), ("quiet", 1 - hiss))
    clean = 0.95 if "old memory" in causes else 0.04 if "lost memory" in causes else 0.7 if notes["cleaned"] else 0.45
    out["bore"] = _odds(rng, ("clean", clean), ("dirty", 1 - clean))
    if miss > 0.2 or wet:
        needle = (0.12, 0.18, 0.6, 0.1)
    elif causes & {"leak", "retarded cam", "EGR open", "purge valve open"} and hole != 0.0:
        needle = (0.5, 0.33, 0.03, 0.14)
    elif causes & {"retarded cam", "EGR open", "blocked exhaust"}:
        needle = (0.4, 0.4, 0.04, 0.16)
    else:
        needle = (0.87, 0.04, 0.03, 0.06)
    out["needle"] = _odds(rng, *zip(("steady", "low", "flicks", "floats"), needle, strict=True))
    late = 0.12 if "stuck thermostat" in causes else 0.93
    out["hose heat"] = _odds(rng, ("late", late), ("at once", 1 - late))
    jumps = 0.75 if "coolant sensor" in causes else 0.02
    out["sensor plug"] = _odds(rng, ("jumps", jumps), ("steady", 1 - jumps))
    coil = (0.78, 0.17, 0.05) if "dead coil" in causes else (0.02, 0.7, 0.28) if wet else (0.01, 0.06, 0.93)
    out["swap coil"] = _odds(rng, *zip(("moves", "stays", "none"), coil, strict=True))
    rail = (0.95, 0.03, 0.02)
    if "weak pump" in causes:
        rail = (0.12, 0.12, 0.76)
    elif "fuel error" in causes:
        rail = (0.45, 0.52, 0.03)
    out["rail pressure"] = _odds(rng, *zip(("normal", "low", "falls"), rail, strict=True))
    smoke = 0.93 if leaks else 0.6 if hole else 0.1
    out["smoke"] = _odds(rng, ("found", smoke), ("none", 1 - smoke))
    return out


def _history(rng, causes):
    told = set()
    for word, by, usual in (
        ("cleaned", {"old memory": 0.8}, 0.14),
        ("battery", {"lost memory": 0.85, "memory cleared": 0.7, "tired battery": 0.6}, 0.14),
        ("misfire", {"misfire counters": 0.9, "dead coil": 0.25, "low compression": 0.2}, 0.06),
        ("unplugged", {"memory cleared": 0.25, "old memory": 0.15}, 0.06),
    ):
        if rng.random() < max([by.get(x, usual) for x in causes]):
            told.add(word)
    return told


def _complaint(rng, rpm, target, rough, hunts, healthy):
    told = set()
    if rpm > target + 90 and rng.random() < 0.85:
        told.add("high")
        if rng.random() < 0.4:
            told.add("hangs")
    if rpm < target - 80:
        told |= {"low"} if rng.random() < 0.7 else set()
        told |= {"stalls"} if rpm < 560 and rng.random() < 0.7 else set()
    if rough > 28 and rng.random() < 0.8:
        told.add("rough")
    if hunts:
        told.add("hunts")
    if not told:
        told.add("none" if healthy or rng.random() < 0.5 else str(rng.choice(["rough", "hunts", "high"])))
    return tuple(sorted(told))


def _codes(rng, causes, points, rpm, target, miss):
    got = set()

    def set_by(chance, code):
        if rng.random() < chance:
            got.add(code)

    trim = points["idle"][0], points["cruise"][0], points["hard load"][0]
    set_by(0.75 if max(trim[:2]) > 0.19 else 0.25 if max(trim) > 0.14 else 0.0, "P0171")
    set_by(0.7 if min(trim[:2]) < -0.17 else 0.0, "P0172")
    set_by(0.85 if miss > 0.25 else 0.3 if miss > 0.03 else 0.01, "P0301" if rng.random() < 0.6 else "P0300")
    set_by(0.5 if rpm > target + 220 else 0.01, "P0507")
    set_by(0.5 if rpm < target - 110 else 0.01, "P0506")
    set_by(0.55 if "stuck thermostat" in causes else 0.01, "P0128")
    set_by(0.55 if "coolant sensor" in causes else 0.005, "P0118")
    set_by(0.25 if "air meter" in causes else 0.01, "P0101")
    set_by(0.35 if "EGR open" in causes else 0.005, "P0402")
    set_by(0.5 if "retarded cam" in causes else 0.005, "P0016")
    set_by(0.3 if "purge valve open" in causes else 0.005, "P0496")
    set_by(0.25 if "tired battery" in causes else 0.01, "P0562")
    return tuple(sorted(got))


def _volts(rng, causes):
    tired = "tired battery" in causes
    flat = tired or ("lost memory" in causes and rng.random() < 0.2)
    rest = rng.uniform(11.7, 12.25) if flat else rng.uniform(12.38, 12.75)
    crank = rng.uniform(6.8, 9.4) if tired else rng.uniform(9.6, 11.0)
    keyed = rest - (rng.uniform(0.4, 1.0) if tired else rng.uniform(0.15, 0.4))
    return {"rest": rest, "key on": keyed, "cranking": crank, "running": rng.uniform(13.5, 14.6) - 0.4 * tired}


def _coolant(rng, causes, cold):
    if "coolant sensor" in causes:
        return rng.uniform(15, 70), _odds(rng, ("jumps", 0.7), ("slow to warm", 0.15), ("normal", 0.15))
    level = rng.uniform(86, 97) - cold
    slow = "stuck thermostat" in causes and rng.random() < 0.85
    return level, "slow to warm" if slow else "normal"


def _relearn(rng, population, causes):
    """Attempts made before these readings and the verdict, or none; a stale memory mostly yields to one."""
    if rng.random() > (0.3 if population == "stale common" else 0.6):
        return 0, None
    stale = causes & {"old memory", "lost memory", "misfire counters"}
    verdict = (
        "better" if stale and rng.random() < 0.2 else _odds(rng, ("no change", 0.85), ("better", 0.09), ("worse", 0.06))
    )
    if causes == {"healthy"}:
        verdict = _odds(rng, ("settled", 0.75), ("no change", 0.15), ("better", 0.1))
    return int(_odds(rng, (1, 0.7), (2, 0.3))), verdict


def _step(value, of):
    return float(np.round(value / of) * of)


def _read_trim(rng, held, dither, limit):
    """Short and long together as read off a screen: dead band, flicker, steps of 0.78 %; at times a limit's mark."""
    value = _step(100 * held + 0.8 * dither + rng.normal(0, 0.8), 0.78125)
    return {"value": value, "at_limit": True} if limit and rng.random() < 0.6 else {"value": value}


def cases(seed, n, population):
    """n cars of one shop, with everything that could be read of them."""
    rng = np.random.default_rng([seed, len(population)])
    c = _draw_sound(rng, n)
    chosen = _choose(rng, n, population, c)
    notes = [{} for _ in range(n)]
    for i, causes in enumerate(chosen):
        for what in causes:
            _raise_fault(c, i, what, rng, notes[i])
    points, pct, pct_well = run(c)
    return [_case(rng, i, c, population, frozenset(chosen[i]), notes[i], points, pct, pct_well) for i in range(n)]


def _case(rng, i, c, population, causes, notes, points, pct, pct_well):
    idle = points["idle"]
    rpm, lam, miss = float(idle.rpm[i]), float(idle.lam[i]), float(c.miss[i])
    target = float(c.target[i])
    told = _history(rng, causes)
    notes["cleaned"] = "cleaned" in told
    rough = rng.uniform(6, 14) * (1 + 6 * miss + 4 * max(lam - 1.05, 0) + ("low compression" in causes) * 2.5)
    rough *= 1 + ("EGR open" in causes) * rng.uniform(0.5, 3) + ("dripping injector" in causes) * 0.8
    hunts = bool(notes.get("hole", 0) > 2.0 or "old memory" in causes) and rng.random() < 0.25
    rough *= 1 + 2.5 * hunts
    level, behaves = _coolant(rng, causes, float(c.cold[i]))
    attempts, verdict = _relearn(rng, population, causes)
    slips = 500 * miss + rng.exponential(0.25) + (rng.uniform(0, 25) if lam > 1.2 else 0)
    metered = bool(c.meter[i])
    read = {
        "trims": {
            p: _read_trim(rng, points[p].trim[i], c.dither[i, j], points[p].at_limit[i]) for j, p in enumerate(POINTS)
        },
        "idle_speed": round(rpm + rng.normal(0, 8)),
        "idle_air": _step(pct[i] * (1 + rng.normal(0, 0.02)), 0.392),
        "vacuum": max(_step((c.p_air[i] - idle.p_man[i]) / 1e3 + rng.normal(0, 1.0), 1.0), 0.0),
        "misfires": round(float(slips), 1),
        "roughness": round(float(rough), 1),
        "volts": {k: round(v, 2) for k, v in _volts(rng, causes).items()},
        "coolant": round(float(level)),
        "coolant_behaviour": behaves,
        "codes": _codes(rng, causes, {p: (points[p].trim[i],) for p in POINTS}, rpm, target, miss),
        "history": tuple(sorted(told)) or ("nothing",),
        "complaint": _complaint(rng, rpm, target, rough, hunts, causes == {"healthy"}),
        "attempts": attempts,
        "ethanol": round(float(np.clip(100 * c.ethanol[i] + rng.normal(0, 2), 0, 100))),
        "long_trim_zero": "memory cleared" in causes or bool(rng.random() < 0.01),
        "since_clear": round(float(rng.uniform(2, 25) if "memory cleared" in causes else rng.uniform(60, 6000))),
    }
    if verdict:
        read["verdict"] = verdict
    if metered:
        flow = {p: max(points[p].metered[i] * 1e3 * (1 + rng.normal(0, 0.015)), 0.2) for p in POINTS}
        read["air_flow"] = {p: _step(v, 0.01) for p, v in flow.items()}
    else:
        read["manifold"] = {p: _step(points[p].p_man[i] / 1e3 + rng.normal(0, 0.5), 1.0) for p in POINTS}
    paper = {"metering": "air" if metered else "pressure", "displacement_l": round(float(c.vd[i]) * 1e3, 1)}
    paper["cylinders"] = int(c.cyl[i])
    if rng.random() < 0.8:
        paper["normal"] = (target - 30, target + 30)
    if rng.random() < 0.5:
        paper["idle_air_normal"] = round(float(np.clip(pct_well[i] * (1 + rng.normal(0, 0.07)), 0.5, 100)), 1)
    if rng.random() < 0.6:
        paper["outside_kpa"] = round(float(c.p_air[i]) / 1e3, 0)
    truth = {x for x in causes if x in LISTED}
    if causes & set(OUTSIDE) or len(causes) > 1:
        truth.add("something else")
    hole = notes.get("hole")
    return Case(
        frozenset(truth), " and ".join(sorted(causes)), population, hole, paper, read,
        _acts(rng, causes, notes, miss, lam),
    )  # fmt: skip


SETS = ("trims only", "trims, air, idle air", "after one no-tool test", "everything")


def evidence(case, which, seed):
    """What was read in one of the ``SETS`` (the third's test is for the caller); every tenth reading is missing."""
    every = which == "everything"
    rng = np.random.default_rng([seed, min(SETS.index(which), 1), every])

    def some(given, chances):
        return {p: given[p] for p, chance in zip(POINTS, chances, strict=True) if rng.random() < chance}

    chances = (0.97, 0.8, 0.95, 0.85, 0.6) if every else (1.0, 0.3, 1.0, 0.5, 0.3)
    got = {"trims": some(case.read["trims"], chances)}
    if which == "trims only":
        return got
    for name in ("air_flow", "manifold"):
        if name in case.read:
            got[name] = some(case.read[name], chances)
    names = ["idle_speed", "idle_air"]
    if every:
        names += [k for k in case.read if k not in ("trims", "air_flow", "manifold", *names)]
        tests = ("pinch", "oil cap", "hand at exhaust", "listen", "bore", "needle", "sensor plug", "hose heat")
        got["tests"] = {t: case.acts[t] for t in tests if rng.random() < 0.6}
        if rng.random() < 0.2:
            got["tests"]["rail pressure"] = case.acts["rail pressure"]
    got |= {k: case.read[k] for k in names if k in case.read and rng.random() < 0.9}
    return got
