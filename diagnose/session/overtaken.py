"""An answer whose giver had not seen the end of the case: what came between, and how it counts."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import replace
from typing import Any, Protocol

from diagnose.errors import Overtaken, quoted
from diagnose.formats.value_problem import Wrong
from diagnose.observations.entries import (
    Answered,
    AtHand,
    Concluded,
    Correction,
    Event,
    HandedOver,
    Noted,
    Skipped,
    Statement,
    What,
    new_event,
)
from diagnose.observations.events import Circumstances, History, Reading, Remedied, Run, Swapped
from diagnose.observations.guard import after
from diagnose.observations.order import in_order_done
from diagnose.observations.result import results_of
from diagnose.observations.state import Counted, counted, replay
from diagnose.record import record
from diagnose.session.answers import Answer
from diagnose.session.scratch import Keeper

_ASIDE = (Noted, Skipped, AtHand, HandedOver)
"""What others may tell without a conclusion being any the less right."""


@record
class Doubt:
    """One thing that only the giver of an answer can say.

    Parameters
    ----------
    asks, form: the question, and how to answer it.
    others: what others told that it is about, in the order in which it was done.
    mine: what the giver told that it is about.
    read: the answer with what was said. Raises `Wrong`.
    """

    asks: str
    form: str
    others: tuple[Counted, ...]
    mine: What
    read: Callable[[str], Answer]


class Giver(Protocol):
    """Whoever gave an answer, to be asked about it."""

    def shown(self, others: Sequence[Counted]) -> None:
        """See what others told meanwhile."""

    def settled(self, doubt: Doubt) -> Answer | None:
        """Say what is in doubt; None when the answer is not to be kept after all."""


def keep(keeper: Keeper, case: str, answer: Answer, giver: Giver) -> Answer | None:
    """Add an answer to a case, after asking its giver what is needed; what was added in the end.

    None when it was not: the giver would not say, or it was a conclusion from what no longer is.
    Raises what the keeper raises but `Overtaken`.
    """
    while True:
        try:
            seen = None if answer.harmless else answer.known
            keeper.add(case, *answer.events, seen=seen)
        except Overtaken:
            settled = _settled(keeper.events(case), answer, giver)
            if settled is None:
                return None
            answer = settled
        else:
            return answer


def _settled(story: Sequence[Event], answer: Answer, giver: Giver) -> Answer | None:
    """The answer after the giver has seen the story so far."""
    new = {event.id for event in after(story, answer.known)}
    giver.shown([each for each in counted(story) if each.event.id in new])
    found = weighed(answer, story)
    while isinstance(found, Doubt):
        said = giver.settled(found)
        if said is None:
            return None
        found = weighed(said, story)
    return found


def weighed(answer: Answer, story: Sequence[Event]) -> Answer | Doubt | None:
    """The answer as it can be added to a story, or what is to be asked first.

    None when it is a conclusion, and no longer one from all that is known.

    >>> from diagnose.observations.entries import Opened
    >>> from diagnose.session.answers import answered
    >>> opening = new_event(Opened(case="20260301-a", machine="mounted-6"), "Ann")
    >>> quicker = new_event(Remedied("replace-coil", "row-6/valve"), "Ann")
    >>> run = Run.of("response", "PPPPPF")
    >>> doubt = weighed(answered([run], "Ben", None, None, opening.id), [opening, quicker])
    >>> doubt.asks, doubt.read("before").later == {quicker.id}
    ('Was yours before or after the repair?', True)
    """
    others = _others(answer, story)
    if _outdated(answer, others):
        return None
    for mine in answer.events:
        found = _same(answer, mine, others, story)
        if isinstance(found, Doubt):
            return found
        answer = found
    return _order(answer, others) or _finished(answer, others, story)


def _others(answer: Answer, story: Sequence[Event]) -> list[Counted]:
    """What counts of all that others told since the question, in the order in which it was done."""
    since = {event.id for event in after(story, answer.events[0].seen or "")}
    done = in_order_done(counted(story))
    return [each for each in done if each.event.id in since and each.counts is not None]


def _outdated(answer: Answer, others: Sequence[Counted]) -> bool:
    ends = any(isinstance(event.what, Concluded) for event in answer.events)
    return ends and any(not isinstance(each.counts, _ASIDE) for each in others)


def _same(
    answer: Answer, mine: Event, others: Sequence[Counted], story: Sequence[Event]
) -> Answer | Doubt:
    """Whether somebody else told of the very same thing, and which of them is right."""
    for other in others:
        if (mine.id, other.event.id) in answer.disputed:
            return _which(answer, mine, other, story)
    near = [
        each
        for each in others
        if alike(mine.what, each.counts) and (mine.id, each.event.id) not in answer.apart
    ]
    if mine.same_as or not near:
        return answer
    if not isinstance(mine.what, MAY_BE_TWO):
        found = _one_matter(answer, mine, near[-1], story)
        return found if found.disputed == answer.disputed else _which(found, mine, near[-1], story)
    noun = NOUNS[mine.what.kind]
    one = len(near) == 1

    def read(text: str) -> Answer:
        chosen = _chosen(text, near)
        if chosen is None:
            pairs = {(mine.id, each.event.id) for each in near}
            return replace(answer, apart=answer.apart | pairs)
        return _one_matter(answer, mine, chosen, story)

    return Doubt(
        f"Same {noun}?" if one else f"Same {noun} as one of these?",
        "yes or no" if one else "its number, or no",
        tuple(near),
        mine.what,
        read,
    )


def _chosen(text: str, near: Sequence[Counted]) -> Counted | None:
    said = text.strip().lower().rstrip(".!")
    if said in ("no", "n", "none"):
        return None
    if len(near) == 1:
        if said in ("yes", "y", "1"):
            return near[0]
        raise Wrong(got=quoted(text), expected="yes or no")
    numbers = _numbers(text, len(near))
    if len(numbers) != 1:
        raise Wrong(got=quoted(text), expected="one number, or no")
    return near[numbers[0] - 1]


def _numbers(text: str, most: int) -> list[int]:
    """The numbers in a list. Raises `Wrong`."""
    words = text.replace(",", " ").split()
    numbers = [int(word) for word in words if word.isdecimal() and len(word) < 9]
    if len(numbers) < len(words) or not words or not all(1 <= n <= most for n in numbers):
        raise Wrong(f"numbers from 1 to {most}", quoted(text))
    return numbers


def _one_matter(answer: Answer, mine: Event, other: Counted, story: Sequence[Event]) -> Answer:
    """The answer when both told of one thing; in dispute where they do not agree."""
    assert other.counts is not None
    if not agree(mine.what, other.counts):
        return replace(answer, disputed=answer.disputed | {(mine.id, other.event.id)})
    return _counting_once(answer, mine, other, "theirs", story)


def _which(answer: Answer, mine: Event, other: Counted, story: Sequence[Event]) -> Doubt:
    unsure = isinstance(mine.what, Run)

    def read(text: str) -> Answer:
        said = text.strip().lower()
        if said not in ("mine", "theirs", "?")[: 3 if unsure else 2]:
            raise Wrong("mine or theirs" + (", or ?" if unsure else ""), quoted(text))
        left = replace(answer, disputed=answer.disputed - {(mine.id, other.event.id)})
        if said == "mine" and not isinstance(mine.what, MAY_BE_TWO):
            return replace(left, apart=left.apart | {(mine.id, other.event.id)})
        return _counting_once(left, mine, other, said, story)

    form = "mine, theirs, or ? when nobody is sure" if unsure else "mine or theirs"
    return Doubt("Which is right?", form, (other,), mine.what, read)


def _counting_once(
    answer: Answer, mine: Event, other: Counted, right: str, story: Sequence[Event]
) -> Answer:
    """Both on record, the other one counting; put right where that is what was said."""
    assert other.counts is not None
    answer = answer.with_event(replace(mine, same_as=other.event.id, before=()))
    instead = _joined(mine.what, other.counts, right)
    if instead is None:
        return answer
    reason = f"the same {NOUNS[mine.what.kind]}, told by {other.event.who} and {mine.who}"
    correction = new_event(
        Correction(event=other.event.id, instead=instead, reason=reason), mine.who, mine.at
    )
    seen = replace(correction, question=mine.question, seen=story[-1].id)
    return replace(answer, events=(*answer.events, seen))


def _order(answer: Answer, others: Sequence[Counted]) -> Doubt | None:
    """What was done first, where that makes a difference and is not said yet."""
    said = answer.sooner | answer.later
    own = [event for event in answer.events if not event.same_as]
    open_ = [
        (event, each)
        for each in others
        for event in own
        if each.event.id not in said and order_matters(event.what, each.counts)
    ]
    if not open_:
        return None
    asked = tuple({each.event.id: each for _, each in open_}.values())

    def read(text: str) -> Answer:
        sooner = _sooner(text, asked)
        later = [each.event.id for each in asked if each.event.id not in sooner]
        return answer.placed(sooner, later)

    one = len(asked) == 1
    assert asked[0].counts is not None
    return Doubt(
        f"Was yours before or after the {NOUNS[asked[0].counts.kind]}?"
        if one
        else "Which of these were done before yours?",
        "before or after" if one else "none, all, or their numbers, such as 1,2",
        asked,
        open_[0][0].what,
        read,
    )


def _sooner(text: str, asked: Sequence[Counted]) -> list[str]:
    """Those that were done before the answer. Raises `Wrong` where that cannot be."""
    said = text.strip().lower().rstrip(".!")
    ids = [each.event.id for each in asked]
    if said in ("none", "before"):
        return []
    if said in ("all", "after"):
        return ids
    if len(ids) == 1:
        raise Wrong(got=quoted(text), expected="before or after")
    numbers = _numbers(said, len(ids))
    for number, one in enumerate(asked, 1):
        after_it = [n for n in numbers if n > number and one.touch.meets(asked[n - 1].touch)]
        if number not in numbers and after_it:
            wanted = f"{number} too, which was done before {after_it[0]}"
            raise Wrong(wanted, quoted(text), f"write for example {number},{after_it[0]}")
    return [ids[number - 1] for number in numbers]


def _finished(answer: Answer, others: Sequence[Counted], story: Sequence[Event]) -> Answer:
    """The answer, with what follows from what others told meanwhile."""
    work = [each.event.id for each in others if isinstance(each.counts, Remedied | Swapped)]
    fresh = [id for id in work if id not in answer.sooner | answer.later]
    if fresh and any(isinstance(event.what, Circumstances) for event in answer.events):
        answer = answer.placed((), fresh)  # how it was before the work; that turns the set-up
    for event in answer.events:
        if isinstance(event.what, AtHand):
            answer = answer.with_event(_lacking(event, event.what, others))
        elif isinstance(event.what, Run) and not event.same_as:
            sooner = [each for each in others if each.event.id in answer.sooner]
            answer = answer.with_event(_as_it_was(event, event.what, sooner, story))
    return replace(answer, known=story[-1].id)


def _lacking(event: Event, what: AtHand, others: Sequence[Counted]) -> Event:
    """What is not at hand by either of them."""
    said = [each.counts for each in others if isinstance(each.counts, AtHand)]
    without = sorted({*what.without}.union(*(each.without for each in said)))
    alone = what.alone or any(each.alone for each in said)
    return replace(event, what=AtHand(tuple(without), alone))


def _as_it_was(event: Event, run: Run, sooner: Sequence[Counted], story: Sequence[Event]) -> Event:
    """The run under what others said before it, where its giver went by what held earlier."""
    place = next((n for n, each in enumerate(story, 1) if each.id == event.seen), 0)
    held = replay(story[:place]).circumstances if place else {}
    known = dict(run.circumstances)
    for each in sooner:
        if isinstance(each.counts, Circumstances):
            for name, value in each.counts.values.items():
                if known.get(name) == held.get(name):
                    known.pop(name, None)
                    known |= {} if value is None else {name: value}
    return replace(event, what=replace(run, circumstances=known))


NOT_RUN, UNSURE = ".", "?"

NOUNS: Mapping[str, str] = {
    "run": "run",
    "reading": "reading",
    "remedy": "repair",
    "swap": "swap",
    "circumstances": "set-up",
    "history": "answer",
    "answer": "answer",
    "correction": "correction",
    "hand-over": "hand-over",
}
"""What a thing told is called when it is asked about."""

MAY_BE_TWO = (Run, Reading, Remedied, Swapped)
"""What can be done twice, so that somebody has to say whether it was."""


def alike(mine: What, other: What | None) -> bool:
    """Whether two things told may be of the very same run, reading or work, or are of one matter.

    >>> first, second = (Run.of("bleed", p) for p in ("PPPF..", "....FP"))
    >>> alike(first, first), alike(first, second)
    (True, False)
    """
    matter = MATTERS.get(type(mine))
    if matter is None or type(mine) is not type(other) or matter(mine) != matter(other):
        return False
    if isinstance(mine, Run) and isinstance(other, Run):
        pairs = zip(mine.pattern, other.pattern, strict=False)
        return any(NOT_RUN not in pair for pair in pairs)
    return True


MATTERS: Mapping[type, Callable[[Any], Hashable]] = {
    Run: lambda run: run.check,
    Reading: lambda reading: (reading.measurement, reading.part),
    Remedied: lambda work: (work.remedy, work.part),
    Swapped: lambda swap: (swap.swap, frozenset((swap.part, swap.other))),
    History: lambda past: frozenset(past.values),
    Answered: lambda answer: (answer.run, answer.circumstance),
    Correction: lambda correction: correction.event,
    HandedOver: lambda _: "",
}
"""What a thing told is about, for what can be told twice."""


def agree(mine: What, other: What) -> bool:
    """Whether two things told of the same matter say the same, as far as both say something.

    >>> one, two, three = (Run.of("bleed", p) for p in ("PF?", "PFP", "FFP"))
    >>> agree(one, two), agree(two, three)
    (True, False)
    """
    match mine, other:
        case Run(), Run():
            pairs = zip(mine.pattern, other.pattern, strict=False)
            return all(len({*pair} - {NOT_RUN, UNSURE}) < 2 for pair in pairs)
        case Reading(), Reading():
            return mine.value == other.value
        case Correction(), Correction():
            return mine.instead == other.instead
        case ((Remedied() | Swapped()), _):
            return True
        case _:
            return mine == other


def _joined(mine: What, other: What, differing: str) -> Statement | None:
    """What counts for both: one run with what each of them saw; None when it is as the other said.

    ``differing`` says what counts where they do not agree: ``mine``, ``theirs`` or ``?``.

    >>> one, two = (Run.of("bleed", p) for p in ("PF..", "PPF."))
    >>> [_joined(one, two, each).pattern for each in ("mine", "?")], _joined(one, two, "theirs")
    (['PFF.', 'P?F.'], None)
    """
    if isinstance(mine, Run) and isinstance(other, Run):
        letters = zip(mine.pattern, other.pattern, strict=True)
        pattern = "".join(_letter(own, theirs, differing) for own, theirs in letters)
        known = {**mine.circumstances, **other.circumstances}
        both = replace(mine, results=results_of(pattern), circumstances=known)
        return None if both == other else both
    if isinstance(mine, Reading) and differing == "mine":
        return mine
    return None


def _letter(own: str, theirs: str, differing: str) -> str:
    for blank in (NOT_RUN, UNSURE):
        if own == theirs or blank in (own, theirs):
            return theirs if own == blank else own
    return {"mine": own, "theirs": theirs}.get(differing, UNSURE)


def order_matters(mine: What, other: What | None) -> bool:
    """Whether somebody has to say which of two things was done first.

    >>> run, swap = Run.of("bleed", "P"), Remedied("bleed", "row-1/valve")
    >>> order_matters(run, swap), order_matters(swap, run), order_matters(run, run)
    (True, True, False)
    """
    work, seen = (Remedied, Swapped), (Run, Reading)
    if isinstance(mine, work):
        return isinstance(other, (*work, *seen))
    if isinstance(mine, Circumstances | Run) and isinstance(other, Circumstances):
        said = mine.values if isinstance(mine, Circumstances) else mine.circumstances
        return any(name in said and said[name] != value for name, value in other.values.items())
    return isinstance(mine, seen) and isinstance(other, work)
