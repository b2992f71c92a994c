"""Diagnosis: which causes, how likely, and why."""
