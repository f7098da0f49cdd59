"""Pure temporal mathematics; no car words. Events, bounds between them, what a person can hit, what a trace proves."""

from tickover.timing.aim import Aim, aims, fill
from tickover.timing.best import best_aims
from tickover.timing.chain import span_odds
from tickover.timing.controllability import Controllable, check_controllable, is_controllable
from tickover.timing.judge import BoundJudgement, Judgement, Observation, judge
from tickover.timing.nearest import nearest_hit
from tickover.timing.network import TOLERANCE, Network
from tickover.timing.odds import Odds, Sampled, odds, odds_by_sampling
from tickover.timing.person import Person, simulate, simulate_many
from tickover.timing.plan import Answer, Constraint, Counter, Plan
from tickover.timing.prepared import Prepared, prepare
from tickover.timing.run import Count, Miss, Run, counted, next_acts, next_answers, windows
from tickover.timing.step import begin, condition, happen, run_from_json

__all__ = [
    "TOLERANCE",
    "Aim",
    "Answer",
    "BoundJudgement",
    "Constraint",
    "Controllable",
    "Count",
    "Counter",
    "Judgement",
    "Miss",
    "Network",
    "Observation",
    "Odds",
    "Person",
    "Plan",
    "Prepared",
    "Run",
    "Sampled",
    "aims",
    "begin",
    "best_aims",
    "check_controllable",
    "condition",
    "counted",
    "fill",
    "happen",
    "is_controllable",
    "judge",
    "nearest_hit",
    "next_acts",
    "next_answers",
    "odds",
    "odds_by_sampling",
    "prepare",
    "run_from_json",
    "simulate",
    "simulate_many",
    "span_odds",
    "windows",
]
