"""What a casebook keeps of a case: events with their time and who told them, never changed after.

Beside what was observed (`diagnose.observations.events`) there is what was said: notes, answers,
what is at hand, how the case ended. A mistake is put right by a `Correction`, which takes the place
of what it corrects and erases nothing.
"""

from __future__ import annotations

import secrets
from collections.abc import Iterable, Iterator
from dataclasses import field
from datetime import UTC, datetime
from typing import Annotated, Literal
from uuid import uuid4

from pydantic import AwareDatetime, Field

from diagnose.formats.model import Flag, Text
from diagnose.formats.value_problem import FieldFault, Wrong
from diagnose.observations.events import Circumstances, History, Reading, Remedied, Run, Swapped
from diagnose.observations.fields import Stored, Value
from diagnose.observations.forms import CaseId, EventId, FreeText, LayoutText
from diagnose.record import record


@record
class Opened(Stored):
    """A case begins: on which machine, and what is complained of.

    ``layout`` is the text of a layout file that did not ship, so that the case can be taken up
    where that file is not.
    """

    case: CaseId
    machine: Text
    title: FreeText | None = None
    layout: LayoutText | None = None
    kind: Literal["opened"] = field(default="opened", kw_only=True, repr=False)


@record
class Answered(Stored):
    """What somebody remembers of an earlier run's circumstance; ``run`` is that run's event."""

    run: EventId
    circumstance: Text
    value: Value
    kind: Literal["answer"] = field(default="answer", kw_only=True, repr=False)


@record
class Noted(Stored):
    """Words for whoever reads the case; they move no probability."""

    text: FreeText
    kind: Literal["note"] = field(default="note", kw_only=True, repr=False)


@record
class Skipped(Stored):
    """An act that cannot be done here; the plan leaves it out from then on."""

    act: Text
    reason: FreeText | None = None
    kind: Literal["skip"] = field(default="skip", kw_only=True, repr=False)


@record
class AtHand(Stored):
    """Which tools are not at hand, and whether there is no second person."""

    without: tuple[Text, ...] = ()
    alone: Flag = False
    kind: Literal["means"] = field(default="means", kw_only=True, repr=False)


@record
class Concluded(Stored):
    """How the case ends: the causes that were found, and on what evidence.

    ``causes`` are ids such as ``row-6/valve:coil_open``; empty when none was found. The outcome
    ``handed-over`` is only read, from older casebooks: such a case goes on, see `HandedOver`.
    """

    outcome: Literal["proven", "handed-over", "given-up"]
    causes: tuple[Text, ...] = ()
    says: FreeText | None = None
    kind: Literal["conclusion"] = field(default="conclusion", kw_only=True, repr=False)


@record
class HandedOver(Stored):
    """The case goes on with somebody else; ``to`` has it from now on."""

    to: FreeText
    why: FreeText
    kind: Literal["hand-over"] = field(default="hand-over", kw_only=True, repr=False)


@record
class Reopened(Stored):
    """A closed case goes on, and needs a new conclusion."""

    reason: FreeText
    kind: Literal["reopened"] = field(default="reopened", kw_only=True, repr=False)


Statement = (
    History
    | Circumstances
    | Run
    | Reading
    | Answered
    | Remedied
    | Swapped
    | Noted
    | Skipped
    | AtHand
    | Concluded
    | HandedOver
    | Reopened
)
"""What can be corrected: everything but the opening and corrections."""


@record
class Correction(Stored):
    """An event was wrong: ``instead`` counts in its place, or nothing does.

    A correction can be withdrawn by another one; what it corrected then counts again.
    ``step`` marks those that `diagnose.observations.guard` made.
    """

    event: EventId
    instead: Annotated[Statement, Field(discriminator="kind")] | None = None
    reason: FreeText | None = None
    step: Literal["undo", "redo"] | None = None
    kind: Literal["correction"] = field(default="correction", kw_only=True, repr=False)


What = Opened | Statement | Correction
"""What an event can tell."""


@record
class Event(Stored):
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
    who: FreeText
    what: Annotated[What, Field(discriminator="kind")]
    question: FreeText | None = None
    seen: EventId | None = None
    before: tuple[EventId, ...] = ()
    same_as: EventId | None = None

    def faults(self) -> Iterator[FieldFault]:
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


def new_event(what: What, who: str, at: datetime | None = None) -> Event:
    """A new event, now unless ``at`` is given.

    >>> event = new_event(Noted("hose chafed"), "Ann", datetime(2026, 3, 1, tzinfo=UTC))
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

    >>> people_in([new_event(Noted("a"), "Ann"), new_event(Noted("b"), "Ann")])
    ('Ann',)
    """
    return tuple(dict.fromkeys(event.who for event in events))
