"""Six rows that failed three runs, with all that could be behind it (invented numbers)."""

from __future__ import annotations

from diagnose.inference.network import Finding, Variable
from tests.inference.oracle import World

RUN = (0.1, 0.899, 0.001)
CAUSES = (
    Variable("remote", (0.9985, 0.001, 0.0005)),
    Variable("coupler", (0.9992, 0.0008)),
    Variable("branch", (0.9995, 0.0005)),
    Variable("port", (0.9995, 0.0005)),
    Variable("run-2", RUN),
    Variable("run-4", RUN),
)
BLEED = {"remote": (1, 0.6, 0.9), "coupler": (1, 0.9), "port": (1, 0.6)}
RESPONSE = {"remote": (1, 0.2, 0.6), "coupler": (1, 0.6), "branch": (1, 0.6)}
SPOILED = (1, 0.2, 0.9)


def section_thrice() -> World:
    """Both response runs may be spoiled; the bleed run is sound."""
    runs = {
        "run-2": ({**RESPONSE, "run-2": SPOILED}, 0.002),
        "run-3": (BLEED, 0.003),
        "run-4": ({**RESPONSE, "run-4": SPOILED}, 0.002),
    }
    return World(
        CAUSES,
        tuple(
            Finding(f"{row}#{run}", lets, leak, True, row)
            for run, (lets, leak) in runs.items()
            for row in range(1, 7)
        ),
    )
