"""What readings that are taken again tell anew.

Whether a fault shows in a reading is drawn once: a stuck valve that has stored no code has none
at the next look either, whatever was bled in between. So a bad result that was not there says
nothing more of a fault that it was blind to before, until a remedy is done to that very fault;
and one that was there says the same again as long as all that can bring it about is as it was.
After work on some of that, what was not worked on would surely show once more.
What reads otherwise than before is news, once: it comes and goes, or one of the two was misread.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from diagnose.inference.network import ABSENT, PRESENT
from diagnose.ranking.epochs import Epochs
from diagnose.ranking.model import Entries


@dataclass(frozen=True)
class Told:
    """What readings have told so far, by the name of the bad result at its part."""

    epochs: Epochs
    _last: dict[tuple[str, int], dict[int, int]] = field(default_factory=dict)
    _there: set[tuple[str, bytes]] = field(default_factory=set)

    def news(self, name: str, outcome: int, entries: Entries, epoch: int) -> Entries:
        """The entries of a bad result about which its outcome in an epoch says something new.

        A shorted coil that the meter did not show it will not show again; a new coil it may.

        >>> from diagnose import load_machine, rank, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["replace-coil@row-6=done"])
        >>> evidence = rank(load_machine("mounted-6"), told).evidence
        >>> meter = evidence.model.machine.parts["row-6/valve"].measurement("coil-resistance")
        >>> low = meter.results[1]
        >>> before = evidence.model.reading_entries("row-6/valve", "coil-resistance", low)
        >>> readings = Told(evidence.epochs)
        >>> for epoch in 0, 0, 1, 1:
        ...     entries = evidence.epochs.entries(before, epoch)
        ...     print(len(readings.news("low", ABSENT, entries, epoch)[0]))
        ...     readings.add("low", ABSENT, entries, epoch)
        2
        0
        1
        0
        """
        states, logs = entries
        seen = self._last.get((name, outcome), {})
        known = np.array([self._as_it_was(one, seen, epoch) for one in states.tolist()], dtype=bool)
        if outcome == ABSENT:
            return states[~known], logs[~known]
        if (name, states.tobytes()) in self._there:
            return states[:0], logs[:0]
        return states, np.where(known, -np.inf, logs)

    def add(self, name: str, outcome: int, entries: Entries, epoch: int) -> None:
        """Take note of an outcome."""
        states, _ = entries
        self._last.setdefault((name, outcome), {}).update(dict.fromkeys(states.tolist(), epoch))
        if outcome == PRESENT:
            self._there.add((name, states.tobytes()))

    def _as_it_was(self, state: int, seen: dict[int, int], epoch: int) -> bool:
        """Whether a state was read before and no remedy was done to it since."""
        if state not in seen:
            return False
        done = self.epochs.remedied.get(state, ())
        return not any(seen[state] < number <= epoch for number in done)
