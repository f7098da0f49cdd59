"""Pure temporal mathematics; no car words. Events, bounds between them, what a person can hit, what a trace proves."""

from tickover.timing.plan import Answer, Constraint, Counter, Plan

__all__ = ["Answer", "Constraint", "Counter", "Plan"]
