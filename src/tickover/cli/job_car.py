"""What ``tickover job new`` makes of a car as it was typed: the rule of every door, from ``visit``."""

from tickover.visit.cars import CarChecked, check_car

__all__ = ["CarChecked", "check_car"]
