"""Arrival and set-up: stop signs, the story of the memory, the ladder of routines, which needs are met."""

from tickover.arrival.answers import Answers, answers_of
from tickover.arrival.arrive import Arrival, arrive
from tickover.arrival.battery import BatteryState, battery_minutes, battery_state, key_on_volts
from tickover.arrival.fan import FanWindow, fan_peaks, fan_window
from tickover.arrival.ladder import Ladder, Rung, Withheld, build_ladder
from tickover.arrival.questions import QUESTIONS, Question
from tickover.arrival.setup import NeedState, SetUp, set_up
from tickover.arrival.stops import Stop, stops
from tickover.arrival.story import Story, story

__all__ = [
    "QUESTIONS",
    "Answers",
    "Arrival",
    "BatteryState",
    "FanWindow",
    "Ladder",
    "NeedState",
    "Question",
    "Rung",
    "SetUp",
    "Stop",
    "Story",
    "Withheld",
    "answers_of",
    "arrive",
    "battery_minutes",
    "battery_state",
    "build_ladder",
    "fan_peaks",
    "fan_window",
    "key_on_volts",
    "set_up",
    "stops",
    "story",
]
