"""Logs of every ordinary shape, and what is wrong with them."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tickover.errors import LogFileError
from tickover.logs import read_log, read_log_report
from tickover.logs.words import match

HEAD = "Time (s),Engine RPM (rpm),Vehicle speed (km/h),Coolant temp (°C)"


def write(path, text, encoding="utf-8"):
    path.write_bytes(text.encode(encoding) if isinstance(text, str) else text)
    return path


def rows(n=40, sep=",", decimal="."):
    rng = np.random.default_rng(1)
    out = []
    for i in range(n):
        cells = [f"{i / 10:.1f}", f"{700 + rng.normal() * 5:.2f}", "0", "88"]
        out.append(sep.join(c.replace(".", decimal) for c in cells))
    return out


@pytest.mark.parametrize(
    ("header", "name", "unit"),
    [
        ("ENGINE_RPM ()", "engine_speed", "r/min"),
        ("Engine speed [1/min]", "engine_speed", "r/min"),
        ("engineSpeed", "engine_speed", "r/min"),
        ("rpm", "engine_speed", "r/min"),
        ("Speed (rpm)", "engine_speed", "r/min"),
        ("Speed (mph)", "vehicle_speed", "mph"),
        ("Engine Coolant Temperature(°F)", "coolant_temperature", "°F"),
        ("coolant_temp_c", "coolant_temperature", "°C"),
        ("LTFT B1 (%)", "long_trim_1", "%"),
        ("Long term fuel trim bank 1", "long_trim_1", "%"),
        ("SHORT_TERM_FUEL_TRIM_BANK_2 ()", "short_trim_2", "%"),
        ("Intake manifold pressure (psi)", "manifold_pressure", "psi"),
        ("MAP", "manifold_pressure", "kPa"),
        ("MAF (g/s)", "air_flow", "g/s"),
        ("ABSOLUTE_THROTTLE_B ()", "throttle_position_b", "%"),
        ("CATALYST_TEMPERATURE_BANK1_SENSOR2 ()", "catalyst_temperature_2", "°C"),
        ("TIME_RUN_WITH_MIL_ON ()", "time_lamp_on", "min"),
        ("TIME_SINCE_TROUBLE_CODES_CLEARED ()", "time_since_clear", "min"),
        ("ENGINE_RUN_TINE ()", "run_time", "s"),
        ("time_ms", "time", "ms"),
        ("t [s]", "time", "s"),
    ],
)
def test_names_in_many_spellings(header, name, unit):
    found = match(header)
    assert found is not None
    assert (found.name, found.unit) == (name, unit)


@pytest.mark.parametrize(
    "header",
    [
        "Manifold vacuum (inHg)",
        "Desired idle speed",
        "O2 volts bank 1 sensor 1 (V)",
        "GPS speed (km/h)",
        "",
        "Fuel rail pressure",
    ],
)
def test_names_that_measure_something_else_are_left_out(header):
    assert match(header) is None


def test_a_misspelt_name_is_a_guess_and_said_so():
    found = match("ENGINE_RUN_TINE ()")
    assert found is not None
    assert found.guessed
    assert not match("ENGINE_RPM ()").guessed


@pytest.mark.parametrize("sep", [",", ";", "\t", "|"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("trailing", ["", "sep"])
@pytest.mark.parametrize("bom", ["", "\ufeff"])
def test_shapes_of_text(tmp_path, sep, end, trailing, bom):
    tail = sep if trailing else ""
    text = bom + end.join([HEAD.replace(",", sep), *(r + tail for r in rows(sep=sep))]) + end
    rec, report = read_log_report(write(tmp_path / "log.csv", text))
    assert report.rows_in == report.rows_out == 40
    assert rec["engine_speed"].t_hi[-1] == pytest.approx(3.9)
    assert rec["coolant_temperature"].value[0] == 88


def test_decimal_comma(tmp_path):
    text = "\n".join([HEAD.replace(",", ";"), *rows(sep=";", decimal=",")])
    rec = read_log(write(tmp_path / "log.csv", text))
    assert 690 < rec["engine_speed"].value.mean() < 710
    assert rec["engine_speed"].t_hi[1] == pytest.approx(0.1)


@pytest.mark.parametrize("encoding", ["utf-16", "cp1252"])
def test_other_encodings(tmp_path, encoding):
    rec = read_log(write(tmp_path / "log.csv", "\n".join([HEAD, *rows()]), encoding))
    assert "coolant_temperature" in rec


def test_quoted_fields_with_the_separator_inside(tmp_path):
    lines = ['"Time (s)","Engine RPM","Note"', *(f'"{i}","{700 + i % 3}","a, b"' for i in range(30))]
    rec, report = read_log_report(write(tmp_path / "log.csv", "\n".join(lines)))
    assert report.broken == ()
    assert len(rec["engine_speed"]) == 30


def test_a_row_of_units_and_lines_above_the_header(tmp_path):
    lines = ["Recorded by a friend", "", "Time;Engine speed;Coolant", "s;rpm;°F", *(f"{i};700;190" for i in range(20))]
    rec, report = read_log_report(write(tmp_path / "log.csv", "\n".join(lines)))
    assert report.rows_in == 20
    assert rec["coolant_temperature"].value[0] == pytest.approx(87.78, abs=0.01)


def test_broken_rows_are_named_by_line_and_counts_add_up(tmp_path):
    lines = [HEAD, *rows()]
    lines[7] = "0.6,70"  # line 8
    lines[20] = ""  # blank
    lines[30] = "x,y,z,w"  # line 31: right shape, no number
    _, report = read_log_report(write(tmp_path / "log.csv", "\n".join(lines)))
    assert [b.line for b in report.broken] == [8, 31]
    assert report.blank_lines == 1
    assert report.rows_in == report.rows_out + len(report.broken) + report.backward + report.frozen_tail == 39


def test_cells_that_hold_no_number_are_counted(tmp_path):
    lines = [HEAD, *rows()]
    lines[5] = "0.4,n/a,0,88"
    rec, report = read_log_report(write(tmp_path / "log.csv", "\n".join(lines)))
    assert report.bad_cells == 1
    assert len(rec["engine_speed"]) == 39


def test_a_column_too_many_is_refused_not_shifted(tmp_path):
    text = "\n".join([HEAD, *(f"{i},{r}" for i, r in enumerate(rows()))])
    with pytest.raises(LogFileError, match="do not line up"):
        read_log(write(tmp_path / "log.csv", text))


def test_missing_trailing_columns_are_missing_not_zero(tmp_path):
    text = "\n".join([HEAD + ",Warm ups since codes cleared", *rows()])
    rec, report = read_log_report(write(tmp_path / "log.csv", text))
    assert "warm_ups" not in rec
    assert any("Warm ups" in c.header for c in report.left)


def test_two_columns_of_one_quantity(tmp_path):
    lines = ["Time,Engine RPM,RPM (rpm)", *(f"{i},700,1" for i in range(20))]
    rec, report = read_log_report(write(tmp_path / "log.csv", "\n".join(lines)))
    assert rec["engine_speed"].value[0] == 700
    assert len(report.left) == 1


def test_a_unit_that_cannot_be_is_left_out(tmp_path):
    lines = ["Time,Engine RPM,Coolant temperature", *(f"{i},700,195" for i in range(20))]
    rec, report = read_log_report(write(tmp_path / "log.csv", "\n".join(lines)))
    assert "coolant_temperature" not in rec
    assert "outside" in report.left[0].reason


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "is empty"),
        (b"  \n ", "is empty"),
        (bytes(range(256)) * 20, "is not text"),
        (b"Time,Coolant\n1,2\n3,4\n", "no column names the engine speed"),
        (b"hello", "no column names the engine speed"),
        (b"Time,Engine RPM\n", "no rows"),
        (b"Time,Engine RPM\n\n\n", "no rows"),
        (b"Coolant,Engine RPM\n80,700\n81,701\n", "no column tells the time"),
        (b"Time,Engine RPM\n1,x\n2,y\n", "engine speed"),
        (b"Time,Engine RPM\n" + b"".join(b"%d,99999\n" % i for i in range(9)), "cannot be engine speed"),
    ],
)
def test_wrong_files_get_one_clear_message(tmp_path, content, says):
    path = write(tmp_path / "log.csv", content)
    with pytest.raises(LogFileError) as error:
        read_log(path)
    assert says in str(error.value)
    assert error.value.file == str(path)
    assert error.value.way_out


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(LogFileError, match="No such file"):
        read_log(tmp_path / "none.csv")
    with pytest.raises(LogFileError):
        read_log(tmp_path)


def test_time_that_runs_backwards_names_the_line(tmp_path):
    lines = ["Time,Engine RPM", *(f"{t},700" for t in [*range(30), *range(20)])]
    with pytest.raises(LogFileError, match="backwards") as error:
        read_log(write(tmp_path / "log.csv", "\n".join(lines)))
    assert error.value.line == 32


def test_one_row_out_of_order_is_left_out(tmp_path):
    lines = ["Time,Engine RPM", *(f"{t},{700 + t % 5}" for t in [*range(30), 12, *range(30, 60)])]
    _, report = read_log_report(write(tmp_path / "log.csv", "\n".join(lines)))
    assert report.backward == 1
    assert report.rows_out == 60


def test_a_frozen_tail_is_left_out(tmp_path):
    lines = [HEAD, *rows()]
    last = lines[-1].split(",", 1)[1]
    lines += [f"{4 + i / 10:.1f},{last}" for i in range(30)]
    text = "\n".join(lines).replace("Time (s)", "Run time (s)")
    # the frozen rows keep their whole content, time too, when the time is the engine's own
    frozen = "\n".join([*text.split("\n")[:41], *[text.split("\n")[40]] * 30])
    lines = frozen.split("\n")
    lines[1:41] = [f"{i // 2},{r.split(',', 1)[1]}" for i, r in enumerate(lines[1:41])]
    lines[41:] = [lines[40]] * 30
    _, report = read_log_report(write(tmp_path / "log.csv", "\n".join(lines)))
    assert report.frozen_tail == 30
    assert report.rows_out == 40
    assert any("frozen" in s for s in report.sentences())


@pytest.mark.parametrize(
    "stamp",
    [
        lambda t: f"{int(t // 3600) + 23:02d}:{int(t % 3600 // 60):02d}:{t % 60:06.3f}" if t < 3600 else "",
        lambda t: f"2020-05-17 10:{int(t // 60):02d}:{t % 60:06.3f}",
        lambda t: f"2020-05-17T10:{int(t // 60):02d}:{t % 60:06.3f}Z",
        lambda t: f"{1_500_000_000_000 + t * 1000:.0f}",
        lambda t: f"{t * 1000:.0f}",
    ],
)
def test_clocks_dates_and_milliseconds(tmp_path, stamp):
    lines = ["Time,Engine RPM", *(f"{stamp(i / 4)},{700 + i % 7}" for i in range(200))]
    rec = read_log(write(tmp_path / "log.csv", "\n".join(lines)))
    t = rec["engine_speed"].t_hi
    assert t[-1] - t[0] == pytest.approx(49.75, abs=1e-3)


def test_a_clock_that_passes_midnight(tmp_path):
    lines = ["Time,Engine RPM"]
    for i in range(100):
        s = (86_350 + i) % 86_400
        lines.append(f"{s // 3600:02d}:{s % 3600 // 60:02d}:{s % 60:02d},{700 + i % 7}")
    t = read_log(write(tmp_path / "log.csv", "\n".join(lines)))["engine_speed"].t_hi
    assert t[-1] - t[0] == pytest.approx(99)


def test_whole_seconds_of_a_time_column_are_spread(tmp_path):
    lines = ["Time (s),Engine RPM", *(f"{i // 8},{700 + (i * 37) % 11}" for i in range(800))]
    rec, report = read_log_report(write(tmp_path / "log.csv", "\n".join(lines)))
    steps = np.diff(rec["engine_speed"].t_hi)
    assert steps.min() > 0.1
    assert steps.max() < 0.15
    assert "spread" in report.time_why


def simulated_poll(rng, poll=1.8, row=0.49, seconds=400.0, pause_at=None):
    """Rows of a logger that polls a wandering engine: true time of each row, run time and speed as it writes them."""
    t_row, run, speed = [], [], []
    t, next_poll, x = 0.3, 0.0, 700.0
    held_run = held_speed = 0.0
    polls = 0
    while t < seconds:
        while next_poll <= t:
            x = 700 + 0.6 * (x - 700) + rng.normal() * 5
            held_run, held_speed = float(int(next_poll)), round(x * 4) / 4
            next_poll += poll
            polls += 1
        t_row.append(t)
        run.append(held_run)
        speed.append(held_speed)
        t += row
        if pause_at is not None and t > pause_at:
            t += 30.0
            pause_at = None
    return np.array(t_row), np.array(run), np.array(speed), polls


@pytest.mark.parametrize("pause_at", [None, 200.0])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_run_time_alone_places_rows_within_half_a_second(tmp_path, seed, pause_at):
    rng = np.random.default_rng(seed)
    true, run, speed, polls = simulated_poll(rng, pause_at=pause_at)
    lines = ["Engine run time,Engine RPM", *(f"{a:.0f},{b}" for a, b in zip(run, speed, strict=True))]
    rec, report = read_log_report(write(tmp_path / "log.csv", "\n".join(lines)))
    heard = rec["run_time"]
    # the run time changes at every poll; the unknown part of its second may shift all times together
    at = np.concatenate([[0], np.flatnonzero(np.diff(run)) + 1])
    new = np.concatenate([[0], np.flatnonzero(np.diff(heard.value)) + 1])
    off = heard.t_hi[new] - true[at]
    assert abs(np.median(off)) < 0.5
    assert np.ptp(off) < 0.9  # the naive clock, held run time as it stands, is off by up to 2.8 s
    assert np.ptp(run[at] - true[at]) > 0.9
    assert report.seconds == pytest.approx(true[-1] - true[0], abs=1.0)
    lost = 30 / 1.8 if pause_at else 0
    assert len(rec["engine_speed"]) == pytest.approx(polls - lost, rel=0.03)
    assert len(heard) == pytest.approx(polls - lost, rel=0.03)


def test_polls_that_find_the_same_value_are_counted(tmp_path):
    rng = np.random.default_rng(5)
    _, run, speed, polls = simulated_poll(rng, seconds=900)
    coarse = np.round(speed / 5) * 5  # one poll in three or so repeats the value before
    lines = ["Engine run time,Engine RPM", *(f"{a:.0f},{b}" for a, b in zip(run, coarse, strict=True))]
    rec = read_log(write(tmp_path / "log.csv", "\n".join(lines)))
    changes = np.count_nonzero(np.diff(coarse)) + 1
    assert changes < 0.8 * polls
    assert len(rec["engine_speed"]) == pytest.approx(polls, rel=0.04)


def test_ten_rows_a_second_of_fresh_values_are_all_measurements(tmp_path):
    rec, report = read_log_report(write(tmp_path / "log.csv", "\n".join([HEAD, *rows(400)])))
    assert len(rec["engine_speed"]) == 400
    assert report.refresh_period["engine_speed"] == pytest.approx(0.1)


def test_sparse_columns_are_measured_where_they_are_filled(tmp_path):
    lines = ["Time,Engine RPM,Coolant (°C)"]
    lines += [f"{i / 10},{700 + i % 3},{88 if i % 20 == 0 else ''}" for i in range(200)]
    rec = read_log(write(tmp_path / "log.csv", "\n".join(lines)))
    assert len(rec["coolant_temperature"]) == 10
    assert rec["coolant_temperature"].t_lo[3] == pytest.approx(4.0)
    assert rec["coolant_temperature"].t_hi[3] == pytest.approx(6.0)


def test_stale_and_leaping_sensors_are_named(tmp_path):
    lines = ["Time,Engine RPM,Catalyst temperature (°C),Coolant (°C)"]
    for i in range(200):
        speed = 0 if i < 20 else 700 + i % 7
        lines.append(f"{i / 4},{speed},{480 if i < 24 else 60 + i},{20 if i in (90, 91) else 88 + i % 2}")
    rec, report = read_log_report(write(tmp_path / "log.csv", "\n".join(lines)))
    assert report.key_on_rows == 20
    assert "stale" in report.stale[0]
    assert "leaps 2 times" in report.leaps[0]
    assert any("leaps" in n for n in rec.notes)


BODY = "\r\n".join([HEAD, *(r + "," for r in rows(60))]).encode()


@given(st.data())
@settings(max_examples=150, deadline=None)
def test_law_damage_gives_a_message_or_a_recording(tmp_path_factory, data):
    damaged = bytearray(BODY)
    for _ in range(data.draw(st.integers(1, 6))):
        kind = data.draw(st.sampled_from(["flip", "cut", "drop", "insert"]))
        at = data.draw(st.integers(0, max(0, len(damaged) - 1)))
        if kind == "flip" and damaged:
            damaged[at] = data.draw(st.integers(0, 255))
        elif kind == "cut":
            del damaged[at:]
        elif kind == "drop":
            del damaged[at : at + data.draw(st.integers(1, 200))]
        else:
            damaged[at:at] = data.draw(
                st.sampled_from([b",", b"\n", b'"', b";", b"\r", b"9" * 30, b"\xff", b"nan", b"-"])
            )
    path = tmp_path_factory.mktemp("d") / "log.csv"
    path.write_bytes(bytes(damaged))
    error = None
    try:
        rec, report = read_log_report(path)
    except LogFileError as raised:
        error = raised
    if error is not None:
        assert error.file == str(path)
        assert error.what
    else:
        assert report.rows_in == report.rows_out + len(report.broken) + report.backward + report.frozen_tail
        assert np.all(np.isfinite(rec["engine_speed"].value))
