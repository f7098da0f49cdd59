"""Long tables, languages, map files, units on the user's word, and CSVs made at random."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tickover.errors import LogFileError
from tickover.logs import read_log, read_log_report, set_units
from tickover.logs.words import match


def write(path, text):
    path.write_text(text, encoding="utf-8", newline="")
    return path


@pytest.mark.parametrize(
    ("header", "name", "unit"),
    [
        ("Motordrehzahl [1/min]", "engine_speed", "r/min"),
        ("Kühlmitteltemperatur (°C)", "coolant_temperature", "°C"),
        ("Saugrohrdruck (mbar)", "manifold_pressure", "mbar"),
        ("Luftmasse (kg/h)", "air_flow", "kg/h"),
        ("Régime moteur (tr/min)", "engine_speed", "r/min"),
        ("Température d'air admission", "intake_temperature", "°C"),
        ("Velocidad del vehículo (km/h)", "vehicle_speed", "km/h"),
        ("Presión del colector (kPa)", "manifold_pressure", "kPa"),
        ("Giri motore", "engine_speed", "r/min"),
        ("Temperatura acqua", "coolant_temperature", "°C"),
        ("Rotação do motor", "engine_speed", "r/min"),
        ("Toerental", "engine_speed", "r/min"),
        ("Zeit (s)", "time", "s"),
        ("Tiempo", "time", "s"),
    ],
)
def test_names_in_other_languages(header, name, unit):
    found = match(header)
    assert found is not None
    assert (found.name, found.unit) == (name, unit)


@pytest.mark.parametrize("header", ["Ladedruck (mbar)", "Solldrehzahl Leerlauf", "Abgastemperatur", "Latitude"])
def test_other_languages_other_things(header):
    found = match(header)
    assert found is None or found.guessed


def long_lines(sep=",", n=60, grouped=True, decimal="."):
    rng = np.random.default_rng(2)
    for i in range(n):
        values = [("Engine RPM", f"{700 + rng.normal() * 5:.2f}", "rpm"), ("Coolant temp", "194", "°F")]
        for k, (name, value, unit) in enumerate(values):
            t = i / 4 + (0 if grouped else k / 8)
            yield sep.join([f"{t:.3f}".replace(".", decimal), name, value.replace(".", decimal), unit])


@pytest.mark.parametrize(("sep", "decimal"), [(",", "."), (";", ","), ("\t", ".")])
@pytest.mark.parametrize("grouped", [True, False])
@pytest.mark.parametrize("units", [True, False])
def test_long_tables(tmp_path, sep, decimal, grouped, units):
    head = sep.join(["Time (s)", "Signal", "Value", "Unit"])
    lines = [head, *long_lines(sep, grouped=grouped, decimal=decimal)]
    if not units:
        lines = [line.rpartition(sep)[0] for line in lines]
        lines = [line.replace("Coolant temp", "Coolant temp °F") for line in lines]
    rec, report = read_log_report(write(tmp_path / "long.csv", "\n".join(["made by hand", *lines])))
    assert len(rec["engine_speed"]) == 60
    assert rec["engine_speed"].t_hi[1] == pytest.approx(0.25)
    assert rec["coolant_temperature"].value[0] == pytest.approx(90)
    assert report.rows_out == (60 if grouped else 120)
    assert any("long table: 120 values of 2 signals" in s.lower() for s in report.sentences())


def test_a_long_table_names_its_broken_lines(tmp_path):
    lines = ["Time,Signal,Value", *(f"{i / 10},Engine RPM,{700 + i % 5}" for i in range(40))]
    lines[5] = "0.4"
    lines[9] = "0.8,Engine RPM,n/a"
    lines[12] = ""
    _, report = read_log_report(write(tmp_path / "long.csv", "\n".join(lines)))
    assert [b.line for b in report.broken] == [6, 10]
    assert report.blank_lines == 1
    assert report.rows_in == report.rows_out + 2 == 39


def test_a_long_table_without_engine_speed(tmp_path):
    with pytest.raises(LogFileError, match="no row names the engine speed; the names are “Coolant”"):
        read_log(write(tmp_path / "long.csv", "Time,Signal,Value\n1,Coolant,80\n2,Coolant,81\n"))


PLAIN = "\n".join(["Zeit,n_ist,Druck 1,Speed", *(f"{i / 10},{700 + i % 7},{300 + i % 3},0" for i in range(60))])
MAP = '"n_ist" = "engine_speed"\n"Druck 1" = "manifold_pressure [mbar]"\n"Speed" = ""\n'


def test_a_map_file_overrides(tmp_path):
    path = write(tmp_path / "log.csv", PLAIN)
    with pytest.raises(LogFileError, match="no column names the engine speed"):
        read_log(path)
    for text in (MAP, "[columns]\n" + MAP):
        rec, report = read_log_report(path, map_file=write(tmp_path / "map.toml", text))
        assert rec["manifold_pressure"].value[0] == pytest.approx(30)
        assert "vehicle_speed" not in rec
        assert "Speed" in [c.header for c in report.left]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("n_ist = ", "is no map file"),
        ("", "maps no column"),
        ('n_ist = "engine_sped"', "no signal is called"),
        ('n_ist = "engine_speed [kPa]"', "cannot be in"),
        ('n_ist = "engine_speed [wombats]"', "is not a signal with its unit"),
        ("n_ist = 3", "is not a signal with its unit"),
        ('n_ist = "engine_speed"\nother = "air_flow"', "has no column “other”"),
    ],
)
def test_a_wrong_map_file_gets_one_message(tmp_path, text, says):
    with pytest.raises(LogFileError, match=says) as error:
        read_log_report(write(tmp_path / "log.csv", PLAIN), map_file=write(tmp_path / "map.toml", text))
    assert error.value.file
    assert error.value.way_out


def test_a_map_file_that_is_not_there(tmp_path):
    with pytest.raises(LogFileError, match="is no map file"):
        read_log_report(write(tmp_path / "log.csv", PLAIN), map_file=tmp_path / "none.toml")


def test_units_on_the_users_word(tmp_path):
    text = PLAIN.replace("n_ist", "Engine RPM").replace("Druck 1", "MAP (kPa)")
    path = write(tmp_path / "log.csv", text)
    for word in ("MAP (kPa)=mbar", "map=mbar", "manifold_pressure=mbar"):
        rec, report = read_log_report(path, units=set_units([word]))
        assert rec["manifold_pressure"].value[0] == pytest.approx(30)
        assert report.suspicions == ()
    with pytest.raises(LogFileError, match="has no column “boost”"):
        read_log_report(path, units=set_units(["boost=bar"]))
    with pytest.raises(LogFileError, match="cannot be in"):
        read_log_report(path, units=set_units(["MAP=km/h"]))
    for word in ("MAP", "=kPa", "MAP=wombats"):
        with pytest.raises(LogFileError, match="no column with a unit"):
            set_units([word])


@st.composite
def tables(draw):
    n = draw(st.integers(10, 40))
    start, step = draw(st.floats(0, 1e4)), draw(st.sampled_from([0.05, 0.1, 0.25, 1.5]))
    t = [round(start + i * step, 3) for i in range(n)]
    fresh = st.lists(st.integers(0, 1999), min_size=n, max_size=n, unique=True)
    columns = {"Engine RPM (rpm)": [x / 4 + 500 for x in draw(fresh)]}
    for header, lo, hi in (("Coolant (°C)", -40, 120), ("MAP (kPa)", 10, 250), ("STFT B1 (%)", -50, 50)):
        if draw(st.booleans()):
            columns[header] = [round(x, 2) for x in draw(st.lists(st.floats(lo, hi), min_size=n, max_size=n))]
    return t, columns


@given(
    tables(),
    st.sampled_from([",", ";", "\t", "|"]),
    st.booleans(),
    st.sampled_from(["\n", "\r\n", "\r"]),
    st.sampled_from(["", "\ufeff"]),
    st.booleans(),
    st.booleans(),
    st.integers(0, 4),
)
@settings(max_examples=150, deadline=None)
def test_law_numbers_come_back(tmp_path_factory, table, sep, comma, end, bom, trailing, quoted, preamble):
    t, columns = table
    comma = comma and sep != ","

    def cell(x):
        text = str(x).replace(".", ",") if comma else str(x)
        return f'"{text}"' if quoted else text

    names = ["Time (s)", *columns]
    lines = ["a line above"] * preamble + [sep.join(f'"{n}"' if quoted else n for n in names)]
    lines += [sep.join(map(cell, row)) + (sep if trailing else "") for row in zip(t, *columns.values(), strict=True)]
    path = tmp_path_factory.mktemp("made") / "log.csv"
    write(path, bom + end.join(lines) + end)
    rec, report = read_log_report(path)
    assert report.rows_in == report.rows_out + report.frozen_tail == len(t)
    assert report.broken == ()
    speed = rec["engine_speed"]
    assert np.array_equal(speed.value, next(iter(columns.values())))
    assert np.allclose(speed.t_hi, t, atol=1e-9)
    for header, values in list(columns.items())[1:]:
        found = match(header)
        if found.name in rec:
            assert np.array_equal(rec[found.name].hold(np.array(t) + 1e-6)[-1:], values[-1:])
        else:
            assert any(c.header == header for c in report.left)


def test_a_row_every_twenty_seconds_is_not_taken_for_milliseconds(tmp_path):
    lines = ["time,rpm,coolant,speed"] + [f"{20 * i},{700 + i % 7},90,0" for i in range(30)]
    path = tmp_path / "slow.csv"
    path.write_text("\n".join(lines))
    assert read_log(path)["engine_speed"].t_hi[-1] == 580
    lines = ["time,rpm,coolant,speed"] + [f"{103 * i},{700 + i % 7},90,0" for i in range(60)]
    path.write_text("\n".join(lines))
    assert read_log(path)["engine_speed"].t_hi[-1] < 7
