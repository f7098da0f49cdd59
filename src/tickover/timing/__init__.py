"""Pure temporal mathematics; no car words. Events, bounds between them, what a person can hit, what a trace proves."""

from tickover.timing.aim import Aim, aims, fill
from tickover.timing.best import best_aims
from tickover.timing.chain import span_odds
from tickover.timing.controllability import Controllable, check_controllable, is_controllable
from tickover.timing.genz import Sampled
from tickover.timing.judge import BoundJudgement, Judgement, Observation, judge
from tickover.timing.many import VERDICTS, ManyJudged, Sightings, judge_many, minimal_networks
from tickover.timing.nearest import nearest_hit
from tickover.timing.network import TOLERANCE, Bound, Network
from tickover.timing.odds import (
    Chance,
    Method,
    Odds,
    chance_of,
    odds,
    odds_by_sampling,
    odds_for_people,
    reach,
)
from tickover.timing.person import CueFrom, Person, simulate, simulate_many
from tickover.timing.plan import Answer, Constraint, Counter, Plan
from tickover.timing.prepared import Prepared, prepare
from tickover.timing.run import Count, Miss, Run, counted, next_acts, next_answers, windows
from tickover.timing.step import begin, condition, happen, run_from_json

__all__ = [
    "TOLERANCE",
    "VERDICTS",
    "Aim",
    "Answer",
    "Bound",
    "BoundJudgement",
    "Chance",
    "Constraint",
    "Controllable",
    "Count",
    "Counter",
    "CueFrom",
    "Judgement",
    "ManyJudged",
    "Method",
    "Miss",
    "Network",
    "Observation",
    "Odds",
    "Person",
    "Plan",
    "Prepared",
    "Run",
    "Sampled",
    "Sightings",
    "aims",
    "begin",
    "best_aims",
    "chance_of",
    "check_controllable",
    "condition",
    "counted",
    "fill",
    "happen",
    "is_controllable",
    "judge",
    "judge_many",
    "minimal_networks",
    "nearest_hit",
    "next_acts",
    "next_answers",
    "odds",
    "odds_by_sampling",
    "odds_for_people",
    "prepare",
    "reach",
    "run_from_json",
    "simulate",
    "simulate_many",
    "span_odds",
    "windows",
]
