"""A live attempt: one serialisable step function, what to show, and the judgement afterwards. Data in, data out."""

from tickover.coaching.coach import LEAD_IN, Script, due_act, due_answers, open_attempt, script, step
from tickover.coaching.judging import ActLine, AttemptJudgement, judge_attempt
from tickover.coaching.match import lay_over, match
from tickover.coaching.performer import Performer, rehearse
from tickover.coaching.state import Card, CoachState, Cue, Seen, View
from tickover.coaching.view import look

__all__ = [
    "LEAD_IN",
    "ActLine",
    "AttemptJudgement",
    "Card",
    "CoachState",
    "Cue",
    "Performer",
    "Script",
    "Seen",
    "View",
    "due_act",
    "due_answers",
    "judge_attempt",
    "lay_over",
    "look",
    "match",
    "open_attempt",
    "rehearse",
    "script",
    "step",
]
