"""Units that cannot be right are suspected with evidence, and corrected only on the user's word."""

import numpy as np
import pytest

from tickover.logs import read_log_report, set_units
from tickover.signals import convert

N = 1200


def log(tmp_path, *, said=None, truth=None, drop=(), km=False):
    """A start, an idle and a drive at 2 Hz; ``truth`` is the unit the numbers are in, ``said`` the unit claimed."""
    rng = np.random.default_rng(4)
    t = np.arange(N) / 2
    idle = t < 150
    speed = np.where(t < 5, 0, np.where(idle, 700 + rng.normal(0, 6, N), 2200 + rng.normal(0, 200, N)))
    road = np.where(idle, 0, np.round(110 + 15 * np.sin(t / 40)))
    pressure = np.where(t < 5, 101, np.where(idle, 33, 60) + np.round(rng.normal(0, 2, N)))
    intake = np.round(25 + 10 * np.sin(t / 50))
    air = 0.75 * 1.5e-3 * pressure * 1e3 / (287.05 * (intake + 273.15)) * speed / 120 * 1e3
    own = {
        "engine_speed": ("Engine speed", "r/min", speed),
        "vehicle_speed": ("Road speed", "km/h", road),
        "manifold_pressure": ("Manifold pressure", "kPa", pressure),
        "intake_temperature": ("Intake temperature", "°C", intake),
        "coolant_temperature": ("Coolant temperature", "°C", np.round(80 + 12 * np.sin(t / 60))),
        "air_flow": ("Air flow", "g/s", air),
        "barometric_pressure": ("Barometric pressure", "kPa", np.full(N, 101.0)),
        "module_voltage": ("Voltage", "V", np.where(t < 5, 12.2, 14.1)),
    }
    if km:
        own["distance_since_clear"] = ("Distance since cleared", "km", np.floor(np.cumsum(road) / 2 / 3600) + 40)
    head, cells = ["Time (s)"], [t]
    for name, (header, unit, values) in own.items():
        if name not in drop:
            head.append(f"{header} ({(said or {}).get(name, unit)})")
            cells.append(np.round(convert(values, unit, (truth or {}).get(name, unit)), 2))
    path = tmp_path / "log.csv"
    np.savetxt(path, np.array(cells).T, fmt="%.6g", delimiter=",", header=",".join(head), comments="")
    return path


def test_a_sound_log_raises_no_suspicion(tmp_path):
    assert read_log_report(log(tmp_path, km=True), displacement=1.5)[1].suspicions == ()


@pytest.mark.parametrize(
    ("name", "said", "truth", "more"),
    [
        ("manifold_pressure", "kPa", "hPa", {}),
        ("manifold_pressure", "kPa", "inHg", {}),
        ("manifold_pressure", "kPa", "psi", {}),
        ("manifold_pressure", "kPa", "bar", {}),
        ("manifold_pressure", "hPa", "kPa", {}),
        ("barometric_pressure", "kPa", "inHg", {}),
        ("vehicle_speed", "km/h", "mph", {}),
        ("coolant_temperature", "°C", "°F", {}),
        ("coolant_temperature", "°C", "K", {}),
        ("intake_temperature", "°C", "°F", {}),
        ("air_flow", "g/s", "kg/h", {"displacement": 1.5}),
        ("air_flow", "kg/h", "g/s", {"displacement": 1.5}),
        ("air_flow", "g/s", "lb/min", {}),
        ("module_voltage", "V", "mV", {}),
    ],
)
def test_a_wrong_unit_is_suspected_and_mended_on_word(tmp_path, name, said, truth, more):
    path = log(tmp_path, said={name: said}, truth={name: truth})
    rec, report = read_log_report(path, **more)
    found = {s.name: s for s in report.suspicions}
    assert set(found) == {name}
    assert truth in found[name].likely
    assert found[name].evidence
    assert any("--set-unit" in s for s in report.sentences())
    mended, after = read_log_report(path, units=set_units([f"{name}={truth}"]), **more)
    assert after.suspicions == ()
    right = read_log_report(log(tmp_path))[0]
    assert np.median(mended[name].value) == pytest.approx(np.median(right[name].value), rel=0.01, abs=0.1)
    if name in rec:  # nothing was corrected behind the user's back
        assert np.median(rec[name].value) != pytest.approx(np.median(right[name].value), rel=0.05)


def test_mph_called_kmh_is_caught_by_the_cars_own_counter(tmp_path):
    path = log(tmp_path, truth={"vehicle_speed": "mph"}, km=True)
    text = path.read_text().split("\n")
    rows = [text[0]] + [",".join(c if i != 2 else f"{float(c):.0f}" for i, c in enumerate(r.split(",")))
                        for r in text[1:] if r]  # fmt: skip
    path.write_text("\n".join(rows))  # whole miles per hour: the steps say nothing any more
    (found,) = read_log_report(path)[1].suspicions
    assert (found.name, found.likely) == ("vehicle_speed", ("mph",))
    assert "counter" in found.evidence


def test_a_cranking_log_is_not_taken_for_hertz(tmp_path):
    lines = ["Time (s),Engine RPM", *(f"{i / 10},{190 + i % 30}" for i in range(200))]
    (tmp_path / "log.csv").write_text("\n".join(lines))
    for s in read_log_report(tmp_path / "log.csv")[1].suspicions:
        assert s.likely == ()
