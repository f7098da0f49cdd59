"""Tickover: restore a car's learned idle, prove it, and hand the car over with a record.

The floors of the house, and what each may import, are drawn in ``docs/why/floors.md``.
"""

__version__ = "0.1.0"
