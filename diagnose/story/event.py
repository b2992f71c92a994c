"""What can be told of a case: events, each with its time and who told it, never changed after.

Values are plain: temperatures in degrees Celsius, pressures in bar, readings in the unit of their
measurement, choices as their words. A mistake is put right by a `Correction`, which takes the
place of what it corrects and erases nothing.
"""

from __future__ import annotations

import secrets
import unicodedata
from collections.abc import Iterable, Iterator, Mapping
from datetime import UTC, datetime
from typing import Annotated, Literal
from uuid import uuid4

from pydantic import AfterValidator, AwareDatetime, Field, StringConstraints

from diagnose.errors import quoted
from diagnose.knowledge.model import Flag, Strict, Text
from diagnose.knowledge.wrong import Fault, Wrong

LONGEST_TEXT = 4000
"""Letters that a note, a name or a reason may have."""


def _printable(text: str) -> str:
    if any(unicodedata.category(sign) == "Cc" and sign not in "\n\t" for sign in text):
        raise Wrong("text without control characters", quoted(text))
    return text


Words = Annotated[
    str, StringConstraints(min_length=1, max_length=LONGEST_TEXT), AfterValidator(_printable)
]
"""What a person wrote: anything but control characters, which could steer a terminal."""
EventId = Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{32}$")]
CaseId = Annotated[str, StringConstraints(pattern=r"^[0-9]{8}-[a-z0-9-]{1,80}$")]
Pattern = Annotated[str, StringConstraints(pattern=r"^[PF?.]+$", max_length=1000)]
Value = Annotated[float, Field(strict=True, allow_inf_nan=False)] | Text


class Opened(Strict):
    """A case begins: on which machine, and what is complained of.

    ``layout`` is the text of a layout file that did not ship, so that the case can be taken up
    where that file is not.
    """

    kind: Literal["opened"] = "opened"
    case: CaseId
    machine: Text
    title: Words | None = None
    layout: Annotated[str, StringConstraints(max_length=100_000)] | None = None


class History(Strict):
    """What is known of the machine's past, by circumstance."""

    kind: Literal["history"] = "history"
    values: Mapping[str, Text]


class Circumstances(Strict):
    """Circumstances that hold for the runs that follow; None takes back what was said."""

    kind: Literal["circumstances"] = "circumstances"
    values: Mapping[str, Value | None]


class Checked(Strict):
    """A run of a check: one letter per row, and the circumstances that it had."""

    kind: Literal["run"] = "run"
    check: Text
    pattern: Pattern
    circumstances: Mapping[str, Value] = Field(default_factory=dict)


class Measured(Strict):
    """A measurement of, or a look at, a part."""

    kind: Literal["reading"] = "reading"
    measurement: Text
    part: Text
    value: Value


class Answered(Strict):
    """What somebody remembers of an earlier run's circumstance; ``run`` is that run's event."""

    kind: Literal["answer"] = "answer"
    run: EventId
    circumstance: Text
    value: Value


class Mended(Strict):
    """A remedy that was done to a part."""

    kind: Literal["remedy"] = "remedy"
    remedy: Text
    part: Text


class Exchanged(Strict):
    """A swap with the like part of another row."""

    kind: Literal["swap"] = "swap"
    swap: Text
    part: Text
    other: Text = Field(alias="with")


class Noted(Strict):
    """Words for whoever reads the case; they move no probability."""

    kind: Literal["note"] = "note"
    text: Words


class Skipped(Strict):
    """An act that cannot be done here; the plan leaves it out from then on."""

    kind: Literal["skip"] = "skip"
    act: Text
    reason: Words | None = None


class AtHand(Strict):
    """Which tools are not at hand, and whether there is no second person."""

    kind: Literal["means"] = "means"
    without: tuple[Text, ...] = ()
    alone: Flag = False


class Concluded(Strict):
    """How the case ends: the causes that were found, and on what evidence.

    ``causes`` are ids such as ``row-6/valve:coil_open``; empty when none was found.
    """

    kind: Literal["conclusion"] = "conclusion"
    outcome: Literal["proven", "handed-over", "given-up"]
    causes: tuple[Text, ...] = ()
    says: Words | None = None


Fact = (
    History
    | Circumstances
    | Checked
    | Measured
    | Answered
    | Mended
    | Exchanged
    | Noted
    | Skipped
    | AtHand
    | Concluded
)
"""What can be corrected: everything but the opening and corrections."""


class Correction(Strict):
    """An event was wrong: ``instead`` counts in its place, or nothing does.

    A correction can be withdrawn by another one; what it corrected then counts again.
    ``step`` marks those that `diagnose.story.undo` made.
    """

    kind: Literal["correction"] = "correction"
    event: EventId
    instead: Annotated[Fact, Field(discriminator="kind")] | None = None
    reason: Words | None = None
    step: Literal["undo", "redo"] | None = None


What = Opened | Fact | Correction


class Event(Strict):
    """One thing that was told, by whom and when (UTC)."""

    id: EventId
    at: AwareDatetime
    who: Words
    what: Annotated[What, Field(discriminator="kind")]

    def faults(self) -> Iterator[Fault]:
        """A correction of itself.

        >>> at = datetime(2026, 3, 1, tzinfo=UTC)
        >>> event = Event(id=32 * "0", at=at, who="A", what=Correction(event=32 * "0"))
        >>> [(path, wrong.expected, wrong.got) for path, wrong in event.faults()]
        [(('what', 'event'), 'an earlier event', 'this one')]
        """
        if isinstance(self.what, Correction) and self.what.event == self.id:
            yield ("what", "event"), Wrong("an earlier event", "this one")


def told(what: What, who: str, at: datetime | None = None) -> Event:
    """A new event, now unless ``at`` is given.

    >>> event = told(Noted(text="hose chafed"), "A. Helper", datetime(2026, 3, 1, tzinfo=UTC))
    >>> event.what.text, len(event.id)
    ('hose chafed', 32)
    """
    when = (at or datetime.now(UTC)).astimezone(UTC)
    return Event(id=uuid4().hex, at=when, who=who, what=what)


def new_case_id(machine: str, at: datetime | None = None) -> str:
    """An id that no other case has: the day, the machine, six random signs.

    >>> new_case_id("mounted-12", datetime(2026, 3, 1, tzinfo=UTC))[:20]
    '20260301-mounted-12-'
    """
    day = (at or datetime.now(UTC)).astimezone(UTC).strftime("%Y%m%d")
    return f"{day}-{machine}-{secrets.token_hex(3)}"


def people_in(events: Iterable[Event]) -> tuple[str, ...]:
    """Who told something, in the order in which they first did.

    >>> people_in([told(Noted(text="a"), "Ann"), told(Noted(text="b"), "Ann")])
    ('Ann',)
    """
    return tuple(dict.fromkeys(event.who for event in events))
