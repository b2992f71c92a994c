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
from typing import Annotated, Any, Literal
from uuid import uuid4

from pydantic import (
    AfterValidator,
    AwareDatetime,
    Field,
    SerializerFunctionWrapHandler,
    StringConstraints,
    model_serializer,
)

from diagnose.errors import quoted
from diagnose.knowledge.model import Flag, Strict, Text
from diagnose.knowledge.wrong import Fault, Wrong

LONGEST_TEXT = 4000
"""Letters that a note, a name or a reason may have."""


def _printable(text: str) -> str:
    r"""The text, when a terminal and a file can carry it. Raises `Wrong`.

    >>> _printable("hose \x1b[31m")
    Traceback (most recent call last):
    diagnose.knowledge.wrong.Wrong: expected text without control characters, got 'hose \x1b[31m'
    >>> _printable("hose \udcff")
    Traceback (most recent call last):
    diagnose.knowledge.wrong.Wrong: expected text in UTF-8, got 'hose \udcff'
    """
    kinds = {unicodedata.category(sign) for sign in text if sign not in "\n\t"}
    if "Cc" in kinds:
        raise Wrong(got=quoted(text), expected="text without control characters")
    if "Cs" in kinds:
        raise Wrong(got=quoted(text), expected="text in UTF-8")
    return text


def spoken(text: str) -> str:
    """What a person wrote, when it can be kept as `Words`. Raises `Wrong`.

    >>> spoken("hose chafed")
    'hose chafed'
    >>> spoken("x" * 4001)
    Traceback (most recent call last):
    diagnose.knowledge.wrong.Wrong: expected at most 4,000 letters, got 4,001
    """
    if len(text) > LONGEST_TEXT:
        raise Wrong(f"at most {LONGEST_TEXT:,} letters", f"{len(text):,}")
    return _printable(text)


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

    ``causes`` are ids such as ``row-6/valve:coil_open``; empty when none was found. The outcome
    ``handed-over`` is only read, from older casebooks: such a case goes on, see `HandedOver`.
    """

    kind: Literal["conclusion"] = "conclusion"
    outcome: Literal["proven", "handed-over", "given-up"]
    causes: tuple[Text, ...] = ()
    says: Words | None = None


class HandedOver(Strict):
    """The case goes on with somebody else; ``to`` has it from now on."""

    kind: Literal["hand-over"] = "hand-over"
    to: Words
    why: Words


class Reopened(Strict):
    """A closed case goes on, and needs a new conclusion."""

    kind: Literal["reopened"] = "reopened"
    reason: Words


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
    | HandedOver
    | Reopened
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

LATER = ("question", "seen", "before", "same_as")
"""Fields of an event that older casebooks do not have."""


class Event(Strict):
    """One thing that was told, by whom and when (UTC).

    The other fields are absent from events of older casebooks, and from what is written where
    they say nothing.

    Parameters
    ----------
    question: what was asked, in words, when this was the answer.
    seen: the last event of the case that whoever told it had seen.
    before: events that were told earlier, though what they tell came after this.
    same_as: an event that tells of the very same run, reading or work. It counts, this does not.
    """

    id: EventId
    at: AwareDatetime
    who: Words
    what: Annotated[What, Field(discriminator="kind")]
    question: Words | None = None
    seen: EventId | None = None
    before: tuple[EventId, ...] = ()
    same_as: EventId | None = None

    @model_serializer(mode="wrap")
    def _without_what_is_not_said(self, write: SerializerFunctionWrapHandler) -> dict[str, Any]:
        """As older casebooks have it, with the later fields only where they say something."""
        written: dict[str, Any] = write(self)
        return {name: value for name, value in written.items() if name not in LATER or value}

    def faults(self) -> Iterator[Fault]:
        """A correction of itself, and a place beside itself.

        >>> at = datetime(2026, 3, 1, tzinfo=UTC)
        >>> event = Event(id=32 * "0", at=at, who="A", what=Correction(event=32 * "0"))
        >>> [(path, wrong.expected, wrong.got) for path, wrong in event.faults()]
        [(('what', 'event'), 'an earlier event', 'this one')]
        """
        named: dict[tuple[str, ...], tuple[str | None, ...]] = {
            ("seen",): (self.seen,),
            ("before",): self.before,
            ("same_as",): (self.same_as,),
        }
        if isinstance(self.what, Correction):
            named["what", "event"] = (self.what.event,)
        for path, ids in named.items():
            if self.id in ids:
                yield path, Wrong("an earlier event", "this one")


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
