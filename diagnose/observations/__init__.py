"""What was observed, measured, swapped, repaired and said: events, and the case that they come to.

Typed text, CSV, YAML, guided work and the database give the same events; nothing else says what
happened. A `Case` is their replay.
"""
