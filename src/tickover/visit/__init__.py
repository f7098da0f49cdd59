"""A job as a pure function of its entries: what is due, the stop rule, what is next; what a shop learns from many."""

from tickover.visit.next import NextStep, next_step
from tickover.visit.rules import TRIES_PER_ROUTINE, Known, MayTry, known, may_try
from tickover.visit.shop import KindOfCar, Outcome, RoutineRate, ShopLearning, kind_of_car, learn, outcomes
from tickover.visit.stages import StageState, Standing, next_stage, stages

__all__ = [
    "TRIES_PER_ROUTINE",
    "KindOfCar",
    "Known",
    "MayTry",
    "NextStep",
    "Outcome",
    "RoutineRate",
    "ShopLearning",
    "StageState",
    "Standing",
    "kind_of_car",
    "known",
    "learn",
    "may_try",
    "next_stage",
    "next_step",
    "outcomes",
    "stages",
]
