"""The customer's sheet: composed from a job's entries, set on one A4 page by ``handover.page``."""

from tickover.handover.compose import sheet_from_entries
from tickover.handover.sheet import Sheet

__all__ = ["Sheet", "sheet_from_entries"]
