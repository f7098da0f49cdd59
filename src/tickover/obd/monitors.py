"""Parameters 01 and 41 of service 01: lamp, stored codes and monitors. Completeness is a zero bit."""

from __future__ import annotations

from tickover.errors import ReplyError
from tickover.obd.results import Ignition, Monitor, MonitorStatus

CONTINUOUS: tuple[str, ...] = ("misfire", "fuel system", "components")
"""Byte B: bits 0 to 2 supported, bits 4 to 6 not complete."""

SPARK: tuple[str, ...] = (
    "catalyst",
    "heated catalyst",
    "evaporative system",
    "secondary air",
    "petrol particulate filter or A/C refrigerant",
    "oxygen sensor",
    "oxygen sensor heater",
    "EGR or valve timing",
)
"""Bytes C and D, bits 0 to 7, of an engine with spark ignition."""

COMPRESSION: tuple[str | None, ...] = (
    "NMHC catalyst",
    "NOx aftertreatment",
    None,
    "boost pressure",
    None,
    "exhaust gas sensor",
    "PM filter",
    "EGR or valve timing",
)
"""The same of an engine with compression ignition; None is reserved."""

EDITION_NOTE = (
    "Bit 4 was the A/C refrigerant in older editions of the standard and is the petrol particulate filter in later "
    "ones; the bytes do not say which edition a car follows."
)
"""Said wherever bit 4 of a spark engine is supported. Source: SAE J1979, editions from about 2014 on, from memory."""

NAMES: tuple[str, ...] = (*CONTINUOUS, *SPARK, *(n for n in COMPRESSION if n is not None and n not in SPARK))
"""Every monitor's name."""

_BITS = range(8)


def monitor_status(pid: int, data: bytes, *, line: int | None = None) -> MonitorStatus:
    """Decode the four bytes of parameter 01 or 41.

    Args:
        pid: 0x01 (since the last clear) or 0x41 (this driving cycle).
        data: bytes A to D.
        line: for the error.
    Returns: lamp, stored codes and the monitors that are supported (01) or can still run in this cycle (41).
    Raises: ReplyError if it is another parameter or has not four bytes.
    Source: SAE J1979 / ISO 15031-5, table of parameters; completeness is the zero bit.
    Example: bytes ``00 07 65 04`` have one open monitor, the evaporative system.
    """
    if pid not in (0x01, 0x41):
        raise ReplyError(f"parameter {pid:02X} holds no monitors", line=line, way_out="Ask for 01 or 41.")
    if len(data) != 4:
        raise ReplyError(
            f"parameter {pid:02X} has four bytes, not {len(data)}",
            line=line,
            byte=2 + min(len(data), 4) + 1,
            way_out="Type the whole answer, like 41 01 00 07 65 04.",
        )
    a, b, c, d = data
    ignition: Ignition = "compression" if b & 0x08 else "spark"
    found = [
        Monitor(name=name, complete=not b >> (bit + 4) & 1, continuous=True)
        for bit, name in enumerate(CONTINUOUS)
        if b >> bit & 1
    ]
    layout = COMPRESSION if ignition == "compression" else SPARK
    for bit in _BITS:
        name = layout[bit]
        if c >> bit & 1:
            found.append(Monitor(name=name or f"reserved (bit {bit})", complete=not d >> bit & 1))
    since_clear = pid == 0x01
    return MonitorStatus(
        pid=0x01 if since_clear else 0x41,
        lamp=bool(a & 0x80) if since_clear else None,
        stored=a & 0x7F if since_clear else None,
        ignition=ignition,
        monitors=tuple(found),
    )


def monitor_bytes(status: MonitorStatus) -> bytes:
    """The four bytes of a status: what ``monitor_status`` reads back to the same.

    Args:
        status: any without reserved monitors.
    Returns: bytes A to D.
    """
    a = (0x80 if status.lamp else 0) | (status.stored or 0)
    b = 0x08 if status.ignition == "compression" else 0
    c = d = 0
    layout = COMPRESSION if status.ignition == "compression" else SPARK
    for monitor in status.monitors:
        if monitor.continuous:
            bit = CONTINUOUS.index(monitor.name)
            b |= 1 << bit | (0 if monitor.complete else 1 << (bit + 4))
        else:
            bit = layout.index(monitor.name)
            c |= 1 << bit
            d |= 0 if monitor.complete else 1 << bit
    return bytes((a, b, c, d))
