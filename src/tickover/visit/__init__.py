"""The stages of a job as a pure function of its entries: due, not needed, try 2, the stop rule, what is next."""

from tickover.visit.rules import TRIES_PER_ROUTINE, MayTry, may_try
from tickover.visit.stages import StageState, next_stage, stages

__all__ = ["TRIES_PER_ROUTINE", "MayTry", "StageState", "may_try", "next_stage", "stages"]
