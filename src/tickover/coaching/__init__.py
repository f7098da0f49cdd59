"""A live attempt: one serialisable step function, what to show, and the judgement afterwards. Data in, data out."""

from tickover.coaching.coach import LEAD_IN, Script, due_act, due_answers, open_attempt, script, step
from tickover.coaching.driving import Car, begin_act, gauge_news
from tickover.coaching.judging import ActLine, AttemptJudgement, judge_attempt
from tickover.coaching.match import lay_over, match
from tickover.coaching.performer import Performer, rehearse
from tickover.coaching.state import Card, CoachState, Cue, Seen, View
from tickover.coaching.view import look

__all__ = [
    "LEAD_IN",
    "ActLine",
    "AttemptJudgement",
    "Car",
    "Card",
    "CoachState",
    "Cue",
    "Performer",
    "Script",
    "Seen",
    "View",
    "begin_act",
    "due_act",
    "due_answers",
    "gauge_news",
    "judge_attempt",
    "lay_over",
    "look",
    "match",
    "open_attempt",
    "rehearse",
    "script",
    "step",
]
