"""Service answers of a car, bytes to figures. Pure functions: nothing here talks to a car or writes to one."""

from tickover.obd.codes import code_text, code_word, codes
from tickover.obd.monitors import COMPRESSION, CONTINUOUS, EDITION_NOTE, SPARK, monitor_bytes, monitor_status
from tickover.obd.outcomes import misfire_ewma, misfires, monitor_results
from tickover.obd.parameters import PARAMETERS, figures
from tickover.obd.reply import decode
from tickover.obd.results import (
    Codes,
    Decoded,
    Identity,
    InUse,
    Monitor,
    MonitorResult,
    MonitorResults,
    MonitorStatus,
    Refusal,
    Supported,
    Value,
    Values,
)
from tickover.obd.scalings import MISFIRE_COUNT, MISFIRE_EWMA, SCALINGS, monitor_name
from tickover.obd.typed import decode_file, decode_text, whole_answers
from tickover.obd.vehicle import COMPRESSION_COUNTERS, SPARK_COUNTERS, in_use

__all__ = [
    "COMPRESSION",
    "COMPRESSION_COUNTERS",
    "CONTINUOUS",
    "EDITION_NOTE",
    "MISFIRE_COUNT",
    "MISFIRE_EWMA",
    "PARAMETERS",
    "SCALINGS",
    "SPARK",
    "SPARK_COUNTERS",
    "Codes",
    "Decoded",
    "Identity",
    "InUse",
    "Monitor",
    "MonitorResult",
    "MonitorResults",
    "MonitorStatus",
    "Refusal",
    "Supported",
    "Value",
    "Values",
    "code_text",
    "code_word",
    "codes",
    "decode",
    "decode_file",
    "decode_text",
    "figures",
    "in_use",
    "misfire_ewma",
    "misfires",
    "monitor_bytes",
    "monitor_name",
    "monitor_results",
    "monitor_status",
    "whole_answers",
]
