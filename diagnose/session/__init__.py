"""Guided work: the next question, and what an answer tells."""
