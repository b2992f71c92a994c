"""Forms in which events were stored, and how each is read by this program.

What is stored is never rewritten. When the form of an event changes, `FORMAT` goes up by one and a
step is added here that turns the data of the form before into that of the new one.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from diagnose.observations.encoding import Data

FORMAT = 3
"""The form that this program writes."""


def convert(data: Data, form: int) -> Data:
    """The data of an event of an older form, as this program reads it; ``data`` is left alone.

    >>> convert({"who": "Ann", "what": {"kind": "note", "text": "hose chafed"}}, 1)
    {'who': 'Ann', 'what': {'kind': 'note', 'text': 'hose chafed'}}
    """
    for each in range(form, FORMAT):
        data = _STEPS[each](data)
    return data


def _from_1(data: Data) -> Data:
    """Form 1 writes fields that are not given as null; they are read the same."""
    return data


def _from_2(data: Data) -> Data:
    """Form 2 has no counts, alternatives, inferred rows or session of a run, and no circumstances
    of a reading: nothing was said of them.
    """
    return data


_STEPS: Mapping[int, Callable[[Data], Data]] = {1: _from_1, 2: _from_2}
"""For each older form, the step to the one after it."""
