"""What people call the monitors, and which in-use counters belong to which."""

from __future__ import annotations

import difflib
import re

from tickover.errors import InputError
from tickover.obd.monitors import CONTINUOUS, NAMES

_ALIASES = {
    "cat": "catalyst",
    "heated cat": "heated catalyst",
    "evap": "evaporative system",
    "evaporative": "evaporative system",
    "air": "secondary air",
    "air injection": "secondary air",
    "gpf": "petrol particulate filter or A/C refrigerant",
    "ac": "petrol particulate filter or A/C refrigerant",
    "a c": "petrol particulate filter or A/C refrigerant",
    "o2": "oxygen sensor",
    "o2 sensor": "oxygen sensor",
    "o2s": "oxygen sensor",
    "oxygen": "oxygen sensor",
    "heater": "oxygen sensor heater",
    "o2 heater": "oxygen sensor heater",
    "o2 sensor heater": "oxygen sensor heater",
    "egr": "EGR or valve timing",
    "vvt": "EGR or valve timing",
    "nmhc": "NMHC catalyst",
    "nox": "NOx aftertreatment",
    "scr": "NOx aftertreatment",
    "boost": "boost pressure",
    "egs": "exhaust gas sensor",
    "dpf": "PM filter",
    "pm": "PM filter",
    "particulate filter": "PM filter",
    "fuel": "fuel system",
    "ccm": "components",
    "comprehensive component": "components",
    "comprehensive components": "components",
}
_KNOWN = {re.sub(r"[\s_/-]+", " ", name.lower()): name for name in NAMES} | _ALIASES

COUNTERS: dict[str, tuple[str, ...]] = {
    "catalyst": ("CATCOMP1", "CATCOMP2"),
    "oxygen sensor": ("O2SCOMP1", "O2SCOMP2", "SO2SCOMP1", "SO2SCOMP2"),
    "EGR or valve timing": ("EGRCOMP",),
    "secondary air": ("AIRCOMP",),
    "evaporative system": ("EVAPCOMP",),
    "petrol particulate filter or A/C refrigerant": ("PFCOMP1", "PFCOMP2"),
    "NMHC catalyst": ("HCCATCOMP",),
    "NOx aftertreatment": ("NCATCOMP", "NADSCOMP"),
    "PM filter": ("PMCOMP",),
    "exhaust gas sensor": ("EGSCOMP",),
    "boost pressure": ("BPCOMP",),
    "fuel system": ("FUELCOMP",),
}
"""Monitor to the counters of its completions; the slowest of those in use decides."""


def monitor_called(word: str) -> str:
    """A monitor by what people call it.

    Args:
        word: like ``evap``, ``O2 sensor``, ``catalyst``.
    Returns: its name as the decoder writes it.
    Raises: InputError with near names.
    Example: ``monitor_called("EVAP")`` is ``"evaporative system"``.
    """
    key = re.sub(r"[\s_/-]+", " ", word.strip().lower()).removesuffix(" monitor")
    if key in _KNOWN:
        return _KNOWN[key]
    close = difflib.get_close_matches(key, _KNOWN, n=2)
    hint = f"Did you mean {' or '.join(close)}?" if close else f"There are: {', '.join(NAMES)}."
    raise InputError(f"no monitor is called “{word}”", way_out=hint)


def is_continuous(name: str) -> bool:
    """Whether a monitor runs all the time."""
    return name in CONTINUOUS
