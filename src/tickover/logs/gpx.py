"""GPX -> road speed, from ``<speed>`` where a point has one, else from positions and times."""

from __future__ import annotations

import importlib
from datetime import datetime
from xml.etree.ElementTree import Element  # the type alone; parsing is defusedxml's

import numpy as np
from numpy.typing import NDArray

from tickover.errors import LogFileError, MissingExtraError
from tickover.logs.direct import direct_report
from tickover.logs.report import ColumnUsed, LogReport
from tickover.signals import Recording, Series

Floats = NDArray[np.float64]

_EARTH = 6_371_008.8  # mean radius [m]; IUGG


def read_gpx(data: bytes, file: str, source: str) -> tuple[Recording, LogReport]:
    """Road speed of a track.

    Args:
        data: the file.
        file, source: its path, for messages, and its name.
    Returns: a recording with ``vehicle_speed`` alone, and the report. Between positions a speed is the mean over the
        step, and its bracket says so.
    Raises: LogFileError if it is damaged, carries a document type (entities can grow without bound), or has fewer than
        two points with a time; MissingExtraError.
    """
    root = _parse(data, file)
    t, lat, lon, own, bad = _points(root)
    if len(t) < 2:
        raise LogFileError("has fewer than two points with a time", file=file, way_out="Export the track with times.")
    keep = np.concatenate([[True], t[1:] > np.maximum.accumulate(t)[:-1]])
    t, lat, lon, own = (a[keep] - a[0] if a is t else a[keep] for a in (t, lat, lon, own))
    if np.isfinite(own).mean() > 0.5:
        has = np.isfinite(own)
        series, header = Series.at(t[has], own[has] * 3.6), "<speed>"
    elif len(t) >= 2:
        series = Series.of(t[:-1], t[1:], _metres(lat, lon) / np.diff(t) * 3.6)
        header = "positions and times"
    else:
        raise LogFileError("all its points have one time", file=file, way_out="Export the track with times.")
    recording = Recording({"vehicle_speed": series}, source=source)
    backward = int(np.count_nonzero(~keep))
    used = ColumnUsed(name="vehicle_speed", header=header, unit="m/s", unit_given=True, guessed=False)
    remarks = [f"{bad} points have no time or no position and are left out."] * bool(bad)
    report = direct_report(
        recording, file, rows_in=len(keep) + bad, backward=backward + bad, used=[used], left=[],
        base="the times of the points", why="every point carries its own", remarks=remarks,
    )  # fmt: skip
    return Recording({"vehicle_speed": series}, source=source, notes=report.sentences()), report


def _parse(data: bytes, file: str) -> Element:
    try:
        tree = importlib.import_module("defusedxml.ElementTree")
    except ImportError:
        raise MissingExtraError("defusedxml", "gpx", "reading GPX") from None
    try:
        root: Element = tree.fromstring(data, forbid_dtd=True)
    except (tree.ParseError, ValueError, LookupError, RecursionError) as why:
        raise LogFileError(f"is no sound GPX: {why}", file=file, way_out="Export the track again.") from None
    return root


def _points(root: Element) -> tuple[Floats, Floats, Floats, Floats, int]:
    rows: list[tuple[float, float, float, float]] = []
    bad = 0
    for point in root.iter():
        if _tag(point) not in {"trkpt", "rtept"}:
            continue
        said = {_tag(child): (child.text or "").strip() for child in point.iter()}
        try:
            moment = datetime.fromisoformat(said["time"]).timestamp()
            lat, lon = float(point.get("lat", "")), float(point.get("lon", ""))
            if not (abs(lat) <= 90 and abs(lon) <= 360):
                raise ValueError
        except (KeyError, ValueError, OverflowError):
            bad += 1
            continue
        rows.append((moment, lat, lon, _number(said.get("speed", ""))))
    table = np.array(rows, dtype=np.float64).reshape(-1, 4).T
    return table[0], table[1], table[2], table[3], bad


def _tag(element: Element) -> str:
    return str(element.tag).rpartition("}")[2]


def _number(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        return float("nan")
    return value if 0 <= value < 1000 else float("nan")


def _metres(lat: Floats, lon: Floats) -> Floats:
    """Great-circle steps between neighbouring points [m], by the haversine formula."""
    a, b = np.radians(lat), np.radians(lon)
    h = np.sin(np.diff(a) / 2) ** 2 + np.cos(a[:-1]) * np.cos(a[1:]) * np.sin(np.diff(b) / 2) ** 2
    return np.asarray(2 * _EARTH * np.arcsin(np.sqrt(np.minimum(1.0, h))))
