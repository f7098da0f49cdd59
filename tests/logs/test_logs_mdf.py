"""MDF 4, against files that the reference library itself wrote."""

import numpy as np
import pytest

from tickover.errors import LogFileError, MissingExtraError
from tickover.logs import mdf as mdf_room
from tickover.logs import read_log, read_log_report, set_units


@pytest.fixture
def library():
    return pytest.importorskip("asammdf", reason="the extra `mdf` is not installed")


def made(library, path, *, speed_name="Engine speed", compression=0):
    t, slow = np.arange(400) / 20, np.arange(20.0)
    out = library.MDF(version="4.10")
    signal = library.Signal
    out.append([signal(700 + np.arange(400) % 7, t, name=speed_name, unit="rpm"),
                signal(np.full(400, 330.0), t, name="Manifold pressure", unit="mbar"),
                signal(np.zeros(400), t, name="Knock", unit="V")])  # fmt: skip
    out.append([signal(np.full(20, 190.4), slow, name="Coolant temperature", unit="degF")])
    saved = out.save(path, overwrite=True, compression=compression)
    out.close()
    return saved


@pytest.mark.parametrize("compression", [0, 1, 2])
def test_channels_units_and_clocks(library, tmp_path, compression):
    rec, report = read_log_report(made(library, tmp_path / "log.mf4", compression=compression))
    assert np.array_equal(rec["engine_speed"].value, 700 + np.arange(400) % 7)
    assert rec["engine_speed"].t_hi[-1] == pytest.approx(19.95)
    assert len(rec["coolant_temperature"]) == 20
    assert rec["coolant_temperature"].value[0] == pytest.approx(88)
    assert rec["manifold_pressure"].value[0] == pytest.approx(33)
    assert [c.header for c in report.left] == ["Knock"]
    assert report.refresh_period["coolant_temperature"] == pytest.approx(1.0)
    assert report.rows_in == report.rows_out == 420


def test_map_and_units_apply(library, tmp_path):
    path = made(library, tmp_path / "log.mf4", speed_name="n_ist")
    with pytest.raises(LogFileError, match="no channel names the engine speed"):
        read_log(path)
    (tmp_path / "map.toml").write_text('n_ist = "engine_speed [rpm]"')
    rec, _ = read_log_report(path, map_file=tmp_path / "map.toml", units=set_units(["manifold_pressure=kPa"]))
    assert rec["manifold_pressure"].value[0] == 330


@pytest.mark.parametrize("seed", range(12))
def test_damage_gives_one_message_or_a_reading(library, tmp_path, seed):
    data = bytearray(made(library, tmp_path / "log.mf4").read_bytes())
    rng = np.random.default_rng(seed)
    if seed % 2:
        data = data[: rng.integers(64, len(data))]
    else:
        for at in rng.integers(64, len(data), 40):
            data[at] = rng.integers(256)
    (tmp_path / "bad.mf4").write_bytes(bytes(data))
    try:
        rec = read_log(tmp_path / "bad.mf4")
    except LogFileError as error:
        file = error.file
    else:
        file = str(tmp_path / "bad.mf4")
        assert np.all(np.isfinite(rec["engine_speed"].value))
    assert file == str(tmp_path / "bad.mf4")


def test_without_the_extra_the_way_out_is_told(tmp_path, monkeypatch):
    def missing(name):
        raise ImportError(name)

    monkeypatch.setattr(mdf_room.importlib, "import_module", missing)
    (tmp_path / "log.mf4").write_bytes(b"MDF     4.10    " + b"\0" * 64)
    with pytest.raises(MissingExtraError, match=r"tickover\[mdf\]"):
        read_log(tmp_path / "log.mf4")
