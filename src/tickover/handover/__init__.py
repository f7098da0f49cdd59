"""The hand-over: the customer's sheet and the shop's record, composed from a job's entries, as data and on paper."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

from tickover.handover import page, record_page
from tickover.handover.compose import sheet_from_entries
from tickover.handover.record import Record
from tickover.handover.recording import record_from_entries
from tickover.handover.sheet import Sheet
from tickover.jobs.entries import Entry
from tickover.results import Envelope, envelope
from tickover.signals.vin import Show

__all__ = [
    "Record",
    "Sheet",
    "handover_json",
    "record_from_entries",
    "record_pdf",
    "sheet_from_entries",
    "sheet_pdf",
]


def sheet_pdf(
    entries: Sequence[Entry],
    *,
    on: datetime | None = None,
    vin: Show = "masked",
    personal: Mapping[str, str] | None = None,
    job: str | int | None = None,
    draft: bool = False,
) -> bytes:
    """The customer's sheet as a PDF of one page.

    Args:
        entries: all those of one job; corrections are applied.
        on: when it is handed over; its date, and that of the document. The last entry's time where not given.
        vin: how much of the car's number is shown.
        personal: what the store keeps outside the chain, by name; only ``vin`` is read.
        job: the job's number in its store; what the car's entry says where not given.
        draft: whether it is marked as one.
    Raises: InputError for a broken entry; PaperError where it cannot be set.
    """
    return page.pdf(sheet_from_entries(entries, on=on, vin=vin, personal=personal, job=job), draft=draft)


def record_pdf(
    entries: Sequence[Entry],
    *,
    on: datetime | None = None,
    vin: Show = "masked",
    personal: Mapping[str, str] | None = None,
    job: str | int | None = None,
    draft: bool = False,
) -> bytes:
    """The shop's record as a PDF of as many pages as it needs.

    Args and Raises: as ``sheet_pdf``.
    """
    return record_page.pdf(record_from_entries(entries, on=on, vin=vin, personal=personal, job=job), draft=draft)


def handover_json(
    entries: Sequence[Entry],
    *,
    on: datetime | None = None,
    vin: Show = "masked",
    personal: Mapping[str, str] | None = None,
    job: str | int | None = None,
) -> Envelope:
    """Sheet and record as data: the record holds the sheet.

    Args and Raises: as ``sheet_pdf``.
    Returns: the envelope; ``.model_dump_json(indent=2)`` prints it.
    """
    record = record_from_entries(entries, on=on, vin=vin, personal=personal, job=job)
    inputs = {"on": on.isoformat() if on is not None else None, "vin": vin, "job": job}
    return envelope("hand-over", record, inputs=inputs, simulated=record.sheet.invented, rests_on=record.sources)
