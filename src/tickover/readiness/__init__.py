"""Readiness: what a car's monitors say, what a rule makes of it, and when the car will be ready."""

from tickover.readiness.by_hand import told_by_hand
from tickover.readiness.cleared import WHY_NOT_ERASE, recently_cleared
from tickover.readiness.figure import forecast_figure
from tickover.readiness.forecast import forecast
from tickover.readiness.names import monitor_called
from tickover.readiness.results import CarState, Forecast, Fuel, Verdict
from tickover.readiness.rulebook import Rule, load_rule, load_rules, read_rule
from tickover.readiness.state import fuel_of, state_of
from tickover.readiness.verdict import evaluate

__all__ = [
    "WHY_NOT_ERASE",
    "CarState",
    "Forecast",
    "Fuel",
    "Rule",
    "Verdict",
    "evaluate",
    "forecast",
    "forecast_figure",
    "fuel_of",
    "load_rule",
    "load_rules",
    "monitor_called",
    "read_rule",
    "recently_cleared",
    "state_of",
    "told_by_hand",
]
