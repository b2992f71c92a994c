"""Planner: what to test, swap or mend next."""
