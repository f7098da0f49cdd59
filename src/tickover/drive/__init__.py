"""The confirmation drive: conditions as data, a recorded drive against them, and the shortest plan as a routine."""

from tickover.drive.check import best_rows, check_drive, distance, drives_of, row_of
from tickover.drive.conditions import Condition, Conditions, Limit, Monitor, load_conditions
from tickover.drive.figures import strip
from tickover.drive.plan import DrivePlan, PlanLeg, Situation, plan_drive, plan_sentence
from tickover.drive.results import ConditionFound, DriveCheck, DriveRow, Drives, MonitorFound
from tickover.drive.roads import Roads, load_roads, road_names
from tickover.drive.routine import counted_steps, plan_routine, plan_toml

__all__ = [
    "Condition",
    "ConditionFound",
    "Conditions",
    "DriveCheck",
    "DrivePlan",
    "DriveRow",
    "Drives",
    "Limit",
    "Monitor",
    "MonitorFound",
    "PlanLeg",
    "Roads",
    "Situation",
    "best_rows",
    "check_drive",
    "counted_steps",
    "distance",
    "drives_of",
    "load_conditions",
    "load_roads",
    "plan_drive",
    "plan_routine",
    "plan_sentence",
    "plan_toml",
    "road_names",
    "row_of",
    "strip",
]
