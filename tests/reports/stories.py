"""Stories to report on, all invented."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta

from diagnose.observations.entries import (
    Concluded,
    Correction,
    Event,
    Noted,
    Opened,
    Statement,
    new_event,
)
from diagnose.observations.events import Circumstances, History, Reading, Remedied, Run, Swapped

START = datetime(2026, 3, 14, 7, 30, tzinfo=UTC)
GOOD: dict[str, float | str] = {"oil": 54.0, "engine": "on", "moving": "no"}
HOSE: dict[str, dict[str, float | str]] = {
    "bleed": {"supply": 62.0, "bleed-hose": "fitted"},
    "response": {"supply": 150.0, "bleed-hose": "stowed"},
}
HOSTILE = (
    "<script>document.title='owned'</script><img src=x onerror=alert(1)>\"'`{{7*7}}{% if %}"
    "</title></style>]]>--><b>bold</b>\u202edesrever\u2066 | a | [link](javascript:x) "
    "http://example.invalid **loud** &lt; \u202e end"
)


def run(check: str, rows: int, failing: Iterable[int] = (), only: Iterable[int] = ()) -> Run:
    """A run under good circumstances in which some rows fail; only some rows, if any are said."""
    failing, only = set(failing), set(only) or set(range(1, rows + 1))
    letters = ("." if row not in only else "F" if row in failing else "P" for row in _to(rows))
    return Run.of(check, "".join(letters), {**GOOD, **HOSE[check]})


def _to(rows: int) -> range:
    return range(1, rows + 1)


def story(
    machine: str, *facts: Statement, title: str = "Invented: rows fail", who: str = "A. Helper"
) -> list[Event]:
    """An opening and facts, seven minutes apart, the second of each three by somebody else."""
    opening = Opened(case=f"20260314-{machine}-0a1b2c", machine=machine, title=title)
    events = [new_event(opening, who, START)]
    for number, fact in enumerate(facts, start=1):
        teller = "B. Support" if number % 3 == 2 else who
        events.append(new_event(fact, teller, START + timedelta(minutes=7 * number)))
    return events


def then(events: list[Event], *whats: Statement | Correction) -> list[Event]:
    """The story with more told at its end."""
    for what in whats:
        at = events[-1].at + timedelta(minutes=7)
        events = [*events, new_event(what, "A. Helper", at)]
    return events


SWAP = Swapped("swap-coil", "row-5/valve", "row-6/valve")


def found_on_mounted_12() -> list[Event]:
    """A miscounted row put right, a swap, a reading, a new coil; the final pass is missing."""
    events = story(
        "mounted-12",
        History({"first-hookup": "yes"}),
        Circumstances({"oil": 54.0}),
        run("bleed", 12),
        run("response", 12, [4]),
    )
    right = Correction(
        event=events[-1].id, instead=run("response", 12, [5]), reason="counted from the wrong end"
    )
    return then(
        events,
        right,
        SWAP,
        run("response", 12, [6], [4, 5, 6, 7]),
        Reading("coil-resistance", "row-6/valve", 2.1),
        Noted("The coil was hot."),
        Remedied("replace-coil", "row-6/valve"),
        run("response", 12, [], [5, 6, 7]),
    )


def proven_on_mounted_12() -> list[Event]:
    """The same with the final pass and its conclusion."""
    return then(
        found_on_mounted_12(),
        run("bleed", 12),
        run("response", 12),
        Concluded(outcome="proven", causes=("row-5/valve:coil_shorted",), says="Coil replaced."),
    )


def section_on_folding_24() -> list[Event]:
    """One section starves, and row 3 fails for itself."""
    return story(
        "folding-24",
        run("bleed", 24),
        run("response", 24, range(13, 19)),
        Reading("look-kink", "supply/hose", "no"),
        run("response", 24, [3, *range(13, 19)]),
    )


def wing_on_folding_48() -> list[Event]:
    """The far end of a chain, one row bled badly, one that does not follow."""
    return story(
        "folding-48", run("bleed", 48, [1, 2, 3, 46]), run("response", 48, [1, 2, 3, 30, 46])
    )


def hostile() -> list[Event]:
    """A story in which every free text means harm."""
    events = story(
        "mounted-6",
        run("response", 6, [6]),
        Noted(HOSTILE),
        title=HOSTILE,
        who=HOSTILE[:200],
    )
    wrong = Correction(event=events[1].id, instead=run("response", 6, [5]), reason=HOSTILE)
    return then(events, wrong, Concluded(outcome="given-up", says=HOSTILE))
