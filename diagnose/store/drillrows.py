"""A finished drill as a row of the casebook, and back."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict
from datetime import UTC, datetime
from typing import Any

from diagnose.drill.record import Finished, Opportunity
from diagnose.store.rows import SEALED_OF_DRILLS, seal


def row_of(done: Finished) -> dict[str, object]:
    """The columns of a drill.

    >>> done = Finished("A", "", "mounted-6", 1, 90, 80.0, True, (Opportunity("prove", 5, True),))
    >>> row_of(done)["opportunities"]
    '[{"skill": "prove", "move": 5, "taken": true}]'
    """
    opportunities = [asdict(each) for each in done.opportunities]
    at = done.at.astimezone(UTC).isoformat(timespec="microseconds")
    row = {**asdict(done), "at": at, "opportunities": json.dumps(opportunities)}
    return {**row, "seal": seal(row[name] for name in SEALED_OF_DRILLS)}


def drill_of(row: Mapping[str, Any]) -> Finished:
    """The drill that a row is about.

    >>> done = Finished("A", "", "mounted-6", 1, 90, 80.0, True, (Opportunity("prove", 5, True),))
    >>> drill_of(row_of(done)) == done
    True
    """
    opportunities = tuple(Opportunity(**each) for each in json.loads(row["opportunities"]))
    at = datetime.fromisoformat(row["at"])
    columns = {name: row[name] for name in SEALED_OF_DRILLS}
    return Finished(**{**columns, "at": at, "opportunities": opportunities})
