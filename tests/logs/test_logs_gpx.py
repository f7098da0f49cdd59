"""GPX: road speed from points, and no entity is ever expanded."""

import numpy as np
import pytest

from tickover.errors import LogFileError, MissingExtraError
from tickover.logs import gpx as gpx_room
from tickover.logs import read_log, read_log_report

HEAD = '<?xml version="1.0"?><gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>'
TAIL = "</trkseg></trk></gpx>"


def point(i, lat, extra=""):
    return f'<trkpt lat="{lat:.7f}" lon="8"><time>2026-05-01T10:{i // 60:02d}:{i % 60:02d}Z</time>{extra}</trkpt>'


def put(tmp_path, *points, head=HEAD):
    path = tmp_path / "track.gpx"
    path.write_text(head + "".join(points) + TAIL)
    return path


@pytest.fixture
def _library():
    pytest.importorskip("defusedxml", reason="the extra `gpx` is not installed")


pytestmark = pytest.mark.usefixtures("_library")


def test_positions_and_times(tmp_path):
    step = 20 / 6_371_008.8 * 180 / np.pi  # 20 m a second along a meridian is 72 km/h
    rec, report = read_log_report(put(tmp_path, *(point(i, 48 + i * step) for i in range(100))))
    speed = rec["vehicle_speed"]
    assert speed.value == pytest.approx(np.full(99, 72.0), rel=1e-3)
    assert np.array_equal(speed.t_hi - speed.t_lo, np.ones(99))  # a mean over the step, and the bracket says so
    assert report.rows_in == report.rows_out == 100


def test_speed_of_the_receiver_comes_first(tmp_path):
    rec, _ = read_log_report(put(tmp_path, *(point(i, 48, "<speed>10</speed>") for i in range(30))))
    assert np.allclose(rec["vehicle_speed"].value, 36)
    inside = "<extensions><x:speed xmlns:x='y'>10</x:speed></extensions>"
    rec = read_log(put(tmp_path, *(point(i, 48, inside) for i in range(30))))
    assert np.allclose(rec["vehicle_speed"].value, 36)


def test_points_that_cannot_be_used_are_counted(tmp_path):
    points = [point(i, 48 + i * 1e-4) for i in range(30)]
    points[7] = '<trkpt lat="48" lon="8"/>'
    points[9] = points[8]
    _, report = read_log_report(put(tmp_path, *points))
    assert report.rows_in == 30
    assert report.rows_out == 28
    assert report.backward == 2


@pytest.mark.parametrize(
    "text",
    [
        HEAD + point(0, 48),
        HEAD + TAIL,
        HEAD + point(0, 48) + point(0, 48) + TAIL,
        '<!DOCTYPE g [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]>'
        + HEAD.partition("?>")[2] + "&b;" + TAIL,
    ],
)  # fmt: skip
def test_damaged_empty_or_growing_files(tmp_path, text):
    (tmp_path / "bad.gpx").write_text(text)
    with pytest.raises(LogFileError) as error:
        read_log(tmp_path / "bad.gpx")
    assert error.value.way_out


def test_without_the_extra_the_way_out_is_told(tmp_path, monkeypatch):
    def missing(name):
        raise ImportError(name)

    path = put(tmp_path, point(0, 48), point(1, 48))
    monkeypatch.setattr(gpx_room.importlib, "import_module", missing)
    with pytest.raises(MissingExtraError, match=r"tickover\[gpx\]"):
        read_log(path)
