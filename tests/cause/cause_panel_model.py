"""A second engine, for judging the reasoning about causes; it shares no line with the project, imports none of it.

Quantities are SI, arrays over cars. Equations: exact isentropic flow for holes; the throttle's pressure function
after Hendricks and Sorenson; volumetric efficiency after Guzzella and Onder; friction as a polynomial in speed; a trim
controller with cells, limits and a dead band; an idle-air controller with learned air, authority and floor; spark that
helps the idle. Constants are drawn per car, so no two cars are of one make.
"""

from dataclasses import dataclass

import numpy as np

POINTS = ("idle", "idle with load", "2500", "cruise", "hard load")
AIR_R, AIR_K = 287.05, 1.4
BURN_J_PER_KG_AIR = 2.93e6
"""Heat set free per kg of air at stoichiometry [J/kg]: 42.7 MJ/kg over 14.6; much the same for blends with ethanol."""


def hole_flow(area, p_up, p_down, t_up, k=AIR_K, r=AIR_R):
    """Isentropic flow through a hole of effective area [kg/s]; choked below the critical ratio."""
    ratio = np.maximum(np.minimum(p_down / p_up, 1.0), (2 / (k + 1)) ** (k / (k - 1)))
    speed = np.sqrt(2 * k / (k - 1) * np.maximum(ratio ** (2 / k) - ratio ** ((k + 1) / k), 0.0))
    return area * p_up / np.sqrt(r * t_up) * speed


def throttle_flow(area, p_up, p_down, t_up):
    """Flow past the plate with Hendricks and Sorenson's pressure function [kg/s]: lower than exact when not choked."""
    p1, p2, pn, pc = 0.4404, 2.3143, 0.7404, 0.4125
    ratio = np.minimum(p_down / p_up, 1.0)
    beta = np.where(ratio <= pc, 1.0, np.sqrt(np.maximum(ratio**p1 - ratio**p2, 0.0)) / pn)
    choked = np.sqrt(AIR_K) * (2 / (AIR_K + 1)) ** ((AIR_K + 1) / (2 * (AIR_K - 1)))
    return area * p_up / np.sqrt(AIR_R * t_up) * choked * beta


def residual_efficiency(p_in, p_out, rc, k):
    """Guzzella and Onder: what the expanded residual gas leaves of the stroke [1]."""
    return (rc / (rc - 1)) - (1 / (rc - 1)) * (p_out / p_in) ** (1 / k)


def ratio_air_fuel(ethanol):
    """Stoichiometric air to fuel by mass, ethanol as a share of volume [1]."""
    heavy = ethanol * 0.789
    light = (1 - ethanol) * 0.745
    return (14.6 * light + 9.0 * heavy) / (light + heavy)


@dataclass
class Cars:
    """Constants, state and faults of n cars, each an array of shape (n,); SI unless said."""

    # what the car is
    meter: np.ndarray  # True: air meter, False: manifold pressure
    vd: np.ndarray
    cyl: np.ndarray
    rc: np.ndarray
    k_gas: np.ndarray
    ve0: np.ndarray
    ve_peak: np.ndarray  # [r/min]
    p_air: np.ndarray
    t_air: np.ndarray
    t_man: np.ndarray
    eta_i: np.ndarray
    spark: np.ndarray  # at idle, as a share of best torque
    spark_room: np.ndarray
    drag: np.ndarray  # friction against the usual
    watts: np.ndarray  # electrical, at idle
    load_watts: np.ndarray
    load_nm: np.ndarray
    target: np.ndarray  # [r/min]
    cruise_rpm: np.ndarray
    cruise_w: np.ndarray
    hard_rpm: np.ndarray
    hard_share: np.ndarray  # manifold over outside pressure
    full_pulse: np.ndarray  # injector pulse at full charge [ms]
    fuel_room: np.ndarray  # what the supply can carry over what hard load needs [1]
    # how it is set up
    cal_slope: np.ndarray  # error of the fuel map, (n, 5) [1]
    cal_ethanol: np.ndarray
    ethanol: np.ndarray
    trim_limit: np.ndarray
    long_limit: np.ndarray
    short_limit: np.ndarray
    learned: np.ndarray  # share of the need that the long trim holds, (n, 5)
    dither: np.ndarray  # where in the dead band it rests, (n, 5) [1]
    up_room: np.ndarray  # authority of the idle air above its learned value [m² effective]
    down_room: np.ndarray
    area_per_pct: np.ndarray
    pct_closed: np.ndarray
    closed_area: np.ndarray
    # what is wrong
    bore: np.ndarray  # area that the bore has gained (+) or lost (−) since the air was learned [m² effective]
    leak_area: np.ndarray  # effective
    purge_rich: np.ndarray  # fuel in the leaking air, as a share of stoichiometric
    meter_low: np.ndarray
    meter_bend: np.ndarray
    fuel_scale: np.ndarray
    dead_ms: np.ndarray
    drip: np.ndarray  # share of the idle's fuel that leaks in on top
    sensor_bias: np.ndarray  # trim that the oxygen sensor asks for without need [1]
    pipe_leak: np.ndarray  # the same at idle flow, from air drawn into the exhaust; fades with flow
    miss: np.ndarray  # share of one cylinder's firings that miss
    miss_guard: np.ndarray  # True: the controller freezes its trims while it misses
    frozen: np.ndarray  # True: trims frozen by old counters
    raised: np.ndarray  # idle target raised by so much [r/min]
    enrich: np.ndarray  # the controller believes the engine cold and adds so much [1]
    cold: np.ndarray  # engine colder than it should be [K]
    cam: np.ndarray  # volumetric efficiency over normal
    torque: np.ndarray  # work over normal
    back: np.ndarray  # exhaust back pressure [Pa per (kg/s)²]
    egr_area: np.ndarray  # effective

    def __len__(self):
        return len(self.vd)


@dataclass
class Point:
    """What is true and what the controller holds at one operating point, each (n,)."""

    rpm: np.ndarray
    p_man: np.ndarray
    air: np.ndarray
    metered: np.ndarray
    trim: np.ndarray
    at_limit: np.ndarray
    long: np.ndarray
    lam: np.ndarray
    bore_area: np.ndarray


def efficiency(c, rpm, p_in, p_out, cam):
    """Volumetric efficiency [1]."""
    speed = 1 - 0.07 * ((rpm - c.ve_peak) / 3000) ** 2
    return np.maximum(c.ve0 * cam * speed * residual_efficiency(p_in, p_out, c.rc, c.k_gas), 0.05)


def charge(c, rpm, p):
    """Fresh air into the cylinders [kg/s] at manifold pressure p; exhaust drawn in takes its place."""
    p_out = np.full_like(p, 1.0) * (c.p_air + 1500.0)
    mass = np.zeros_like(p)
    for _ in range(3):
        eta = efficiency(c, rpm, p, np.minimum(p_out, 4 * p + c.p_air), c.cam)
        mass = eta * c.vd * p / (AIR_R * c.t_man) * rpm / 120
        p_out = c.p_air + 1500.0 + c.back * mass**2
    spent = hole_flow(c.egr_area, c.p_air, p, 600.0, 1.33)
    return np.maximum(mass - spent * 600.0 / c.t_man * 0.5, 0.05 * mass), p_out


def fuelling(c, rpm, p, air, leak, j):
    """Trim that is needed and that is held, and the mixture that is left. j: index of the point."""
    through = np.maximum(air - leak, 0.02 * air)
    flow_ref = c.vd * 12.0  # about 24 g/s for 2 l
    seen_meter = through * (1 - c.meter_low * (through / flow_ref) ** c.meter_bend)
    seen_map = efficiency(c, rpm, p, c.p_air + 1500.0, np.ones_like(c.cam)) * c.vd * p / (AIR_R * c.t_man) * rpm / 120
    seen = np.where(c.meter, seen_meter, seen_map) * (1 + c.cal_slope[:, j])
    base = seen / ratio_air_fuel(c.cal_ethanol)
    full = c.vd * c.p_air / (AIR_R * 300.0) * rpm / 120 / 14.0
    pulse = np.maximum(c.full_pulse * base / full, 1.2)
    need_hard = c.vd * 0.9 * c.p_air / (AIR_R * 300.0) * 3200 / 120 / 14.0
    rail = np.clip(1.3 - 0.3 * (base / (need_hard * c.fuel_room)) ** 2, 0.25, 1.0)
    scale = c.fuel_scale * np.sqrt(rail) * (1 - np.minimum(c.dead_ms / pulse, 0.7)) * (1 + c.enrich)
    idle_fuel = c.vd * 1.4 / 14.0
    extra = c.drip * idle_fuel + c.purge_rich * leak / 14.0
    goal = air / ratio_air_fuel(c.ethanol)
    one_miss = c.miss / c.cyl
    false_lean = c.sensor_bias + c.pipe_leak * np.minimum(c.vd * 1.6 / air, 1.3) + 0.8 * one_miss
    need = (goal - extra) / (base * scale) - 1 + false_lean
    long = np.clip(c.learned[:, j] * need, -c.long_limit, c.long_limit)
    held = long + np.clip(need - long, -c.short_limit, c.short_limit)
    held = np.clip(held, -c.trim_limit, c.trim_limit)
    limit = np.abs(held - need) > 0.004
    held = np.where(c.frozen | (c.miss_guard & (c.miss > 0.1)), np.where(c.frozen, long * 0.7, 0.0), held)
    fuel = base * scale * (1 + held) + extra
    lam = goal / np.maximum(fuel, 1e-9)
    return held, limit, np.where(c.frozen, held, long), lam


def burnt(lam):
    """Work per air against stoichiometric [1]: falls with the missing fuel, and faster past 1.25."""
    lean = 1 / np.maximum(lam, 1.0) - 1.2 * np.maximum(lam - 1.25, 0.0)
    return np.maximum(np.where(lam < 0.7, lam / 0.7, lean), 0.1)


def spare_torque(c, rpm, p, j, spark):
    """Torque left over [Nm], all of it at once: burnt air less pumping, friction and what is driven."""
    air, p_out = charge(c, rpm, p)
    leak = hole_flow(c.leak_area, c.p_air, p, c.t_air)
    lam = fuelling(c, rpm, p, air, leak, j)[3]
    per_turns = 4 * np.pi
    cold = 1 + 0.003 * c.cold
    work = air * 120 / rpm * BURN_J_PER_KG_AIR * c.eta_i * spark * c.torque * burnt(lam) * (1 - c.miss / c.cyl)
    n = rpm / 1000
    friction = c.drag * cold * (72e3 + 13e3 * n + 4.5e3 * n**2) * c.vd
    pumping = np.maximum(p_out - p, 0.0) * c.vd
    omega = rpm * np.pi / 30
    watts = c.watts + (c.load_watts if j == 1 else 0.0)
    driven = np.minimum(watts / 0.55 / omega, 45.0) + (c.load_nm if j == 1 else 0.0)
    road = c.cruise_w / omega if j == 3 else 0.0
    return (work - friction - pumping) / per_turns - driven - road


def pressure_for(c, rpm, j, spark):
    """Manifold pressure at which the engine just carries itself [Pa], by halving."""
    lo, hi = np.full(len(c), 12e3), c.p_air * 0.995
    for _ in range(24):
        mid = (lo + hi) / 2
        more = spare_torque(c, rpm, mid, j, spark) < 0
        lo, hi = np.where(more, mid, lo), np.where(more, hi, mid)
    return (lo + hi) / 2


def bore_area_for(c, rpm, p):
    """Area past the plate that feeds the engine at that speed and pressure [m² effective]; a leak feeds it too."""
    air, _ = charge(c, rpm, p)
    leak = hole_flow(c.leak_area, c.p_air, p, c.t_air)
    return (air - leak) / np.maximum(throttle_flow(1.0, c.p_air, p, c.t_air), 1e-6)


def at(c, rpm, p, j, area):
    """Everything at a settled point."""
    air, _ = charge(c, rpm, p)
    leak = np.minimum(hole_flow(c.leak_area, c.p_air, p, c.t_air), air)
    held, limit, long, lam = fuelling(c, rpm, p, air, leak, j)
    through = np.maximum(air - leak, 0.02 * air)
    flow_ref = c.vd * 12.0
    seen = through * (1 - c.meter_low * (through / flow_ref) ** c.meter_bend)
    return Point(rpm, p, air, seen, held, limit, long, lam, area)


def idle_point(c, j, learned_area):
    """Where the idle settles, loads off (j = 0) or on (j = 1).

    learned_area: what the memory holds for the throttle position, as the area that position gave when it was learned.
    Returns: the point, and the commanded idle air [%].
    """
    target = c.target + c.raised
    feed = 0.0 if j == 0 else c.load_nm * 0.55e-7 + c.load_watts * 0.6e-9  # load is fed forward, roughly
    middle = learned_area + feed
    low, high = middle - c.down_room, middle + c.up_room
    at_target = bore_area_for(c, target, pressure_for(c, target, j, c.spark)) - c.bore
    wanted = np.clip(at_target, low, high)
    off = np.abs(wanted - at_target) > 1e-12
    lo, hi = np.full(len(c), 380.0), np.full(len(c), 3200.0)
    for _ in range(16):
        rpm = (lo + hi) / 2
        spark = np.clip(c.spark - c.spark_room * np.clip((rpm - target) / 150, -1, 1), 0.3, 1.0)
        area = bore_area_for(c, rpm, pressure_for(c, rpm, j, spark))
        slow = area < wanted + c.bore
        lo, hi = np.where(slow, rpm, lo), np.where(slow, hi, rpm)
    rpm = np.where(off, (lo + hi) / 2, target)
    spark = np.clip(c.spark - c.spark_room * np.clip((rpm - target) / 150, -1, 1), 0.3, 1.0)
    p = pressure_for(c, rpm, j, spark)
    pct = np.clip(c.pct_closed + (wanted - c.closed_area) / c.area_per_pct, 0.4, 99.6)
    return at(c, rpm, p, j, wanted + c.bore), pct


def well(c):
    """The same cars with nothing wrong, for what their memory learned and what their papers say."""
    zero = np.zeros(len(c))
    no = np.zeros(len(c), dtype=bool)
    names = ("bore", "leak_area", "purge_rich", "meter_low", "dead_ms", "drip", "sensor_bias", "pipe_leak", "miss")
    names += ("raised", "enrich", "cold", "back", "egr_area")
    changes = dict.fromkeys(names, zero)
    changes |= dict.fromkeys(("cam", "torque", "fuel_scale"), zero + 1)
    kept = {name: getattr(c, name) for name in Cars.__dataclass_fields__}
    return Cars(**(kept | changes | {"frozen": no, "miss_guard": no, "fuel_room": np.maximum(c.fuel_room, 1.6)}))


def run(c):
    """All five points of every car.

    Returns: name of the point to ``Point``; commanded idle air [%]; the same when the car was well [%].
    """
    sound = well(c)
    wide = np.full(len(c), 1.0)
    sound.up_room, sound.down_room = wide, wide
    learned = bore_area_for(sound, sound.target, pressure_for(sound, sound.target, 0, sound.spark))
    idle, pct = idle_point(c, 0, learned)
    _, pct_well = idle_point(sound, 0, learned)
    loaded, _ = idle_point(c, 1, learned)
    best = np.full(len(c), 0.97)
    points = {"idle": idle, "idle with load": loaded}
    for name, j, rpm in (("2500", 2, np.full(len(c), 2500.0)), ("cruise", 3, c.cruise_rpm)):
        p = pressure_for(c, rpm, j, best)
        points[name] = at(c, rpm, p, j, bore_area_for(c, rpm, p))
    p = c.hard_share * c.p_air
    points["hard load"] = at(c, c.hard_rpm, p, 4, bore_area_for(c, c.hard_rpm, p))
    return points, pct, pct_well
