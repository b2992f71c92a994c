"""Worked cases: read, played against the engine step by step, and counted for coverage."""
