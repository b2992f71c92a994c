"""Small invented stories to keep."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from diagnose.story.event import (
    Checked,
    Concluded,
    Correction,
    Event,
    Fact,
    Mended,
    Noted,
    Opened,
    told,
)

START = datetime(2026, 3, 1, 8, 0, tzinfo=UTC)
COIL = "row-6/valve:coil_open"


def opening(case: str = "20260301-small", machine: str = "mounted-6", title: str = "") -> Event:
    return told(Opened(case=case, machine=machine, title=title or None), "Ann", START)


def later(what: Fact | Correction, minutes: float = 1, who: str = "Ben") -> Event:
    return told(what, who, START + timedelta(minutes=minutes))


def closed(case: str = "20260301-closed", cause: str = COIL) -> list[Event]:
    """A case of one row, worked to its end in an hour."""
    return [
        opening(case, title="row 6 does not answer"),
        later(Checked(check="response", pattern="PPPPPF", circumstances={"oil": 54.0}), 5),
        later(Noted(text="hose chafed near the manifold"), 10, "Cleo"),
        later(Mended(remedy="replace-coil", part="row-6/valve"), 40),
        later(Checked(check="response", pattern="PPPPPP", circumstances={"oil": 55.0}), 50),
        later(Concluded(outcome="proven", causes=(cause,), says="coil had no way through"), 60),
    ]
