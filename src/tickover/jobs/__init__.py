"""The job record. So far: the shape of an entry. Stores, chain and migrations enter with the job commands."""

from tickover.jobs.entries import STAGES, Entry, Stage

__all__ = ["STAGES", "Entry", "Stage"]
