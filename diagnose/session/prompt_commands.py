"""Commands at a prompt: why, undo, note, hand-over and the rest."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from diagnose.errors import quoted
from diagnose.formats.value_problem import Wrong, unknown
from diagnose.observations.entries import (
    AtHand,
    Concluded,
    Correction,
    HandedOver,
    Noted,
    Skipped,
    Statement,
)
from diagnose.observations.forms import spoken
from diagnose.observations.guard import redo, undo
from diagnose.observations.typed import parse_statements
from diagnose.record import record
from diagnose.session.answers import Question
from diagnose.session.runs import accepting
from diagnose.session.session import Session

_TOOLS = ("gauge", "meter", "display")
HELPER = "helper"

SAYINGS: Mapping[str, str] = {
    "why": "what speaks for and against the likeliest causes",
    "causes": "the likeliest causes",
    "rows": "the rows with their last results",
    "plan": "what comes after this step",
    "note": "note WORDS: keep words with the case",
    "else": "else WORDS: something else was done, such as coil-resistance@row-6=7.4ohm",
    "correct": "correct NUMBER [WORDS]: that entry of cases show was wrong; WORDS count instead",
    "skip": "skip [WHY]: this step cannot be done here; the plan goes round it",
    "missing": "missing gauge, meter, display or helper: not at hand",
    "undo": "take back what was told last; redo takes that back",
    "hand-over": "hand-over [NAME: WHY]: somebody else goes on; the case stays open",
    "give-up": "give-up [WHY]: nobody goes on",
    "quit": "stop here; the case is kept and work --case last goes on",
    "help": "these words",
}
"""The words, and what each does."""

_STEPS = ("undo", "redo")

SHOWN = ("why", "causes", "rows", "plan", "help")
"""Those that only show something."""


@record
class _Said:
    """A word with what followed it."""

    word: str
    rest: str


def said_in(text: str) -> _Said | None:
    """The word that a line begins with, if it is one of `SAYINGS`.

    >>> said_in("note hose chafed"), said_in("6"), said_in("hand over, it is late").word
    (_Said(word='note', rest='hose chafed'), None, 'hand-over')
    """
    plain = text.strip()
    for two in ("hand over", "give up"):
        if plain.lower().startswith(two):
            plain = two.replace(" ", "-") + plain[len(two) :]
    word, _, rest = plain.partition(" ")
    word = word.lower().rstrip(":,.!?") or word
    known = word in SAYINGS or word == "redo"
    return _Said(word, rest.strip(" ,")) if known else None


def statements_of(
    said: _Said, job: Session, question: Question
) -> Sequence[Statement | Correction]:
    """What a word tells. Raises `Wrong`, or `FileProblems` for the words after ``else``.

    >>> statements_of(_Said("note", "hose chafed"), None, None)
    [Noted(text='hose chafed')]
    >>> statements_of(_Said("give-up", "it rains"), None, None)[0].says
    'it rains'
    """
    why = spoken(said.rest) or None
    match said.word:
        case "note":
            return [Noted(spoken(_needed(said, "the words of the note")))]
        case "else":
            words = _needed(said, "what was done, such as response=....PF......").split()
            return parse_statements(
                words, job.view.state.circumstances, job.view.machine, job.view.knowledge
            )
        case "missing" | "correct":
            return [_missing(said, job) if said.word == "missing" else _corrected(said, job)]
        case "hand-over":
            return _handed_over(said)
        case "skip":
            return [Skipped(act=_skippable(question), reason=why)]
        case _:
            return [_step(said, job) if said.word in _STEPS else _given_up(why)]


def leads_to(said: _Said | None, line: str, question: Question) -> Question | None:
    """The question that a line leads to, where it tells nothing yet. Raises `Wrong`.

    >>> leads_to(_Said("hand-over", "it is late"), "", None).asks
    'To whom?'
    """
    if said is not None:
        asked = hand_over(said.rest) if said.word == "hand-over" else None
        return asked if isinstance(asked, Question) else None
    return question.leads_to(line) if question.leads_to is not None else None


def _handed_over(said: _Said) -> Sequence[Statement]:
    handed = hand_over(said.rest)
    if isinstance(handed, Question):
        raise Wrong(
            got=quoted(said.rest),
            expected="to whom and why",
            remedy="write for example hand-over Ben: late",
        )
    return [handed]


def _given_up(why: str | None) -> Concluded:
    return Concluded(outcome="given-up", says=why)


def _needed(said: _Said, what: str) -> str:
    if not said.rest:
        raise Wrong(what, "nothing", f"write {said.word} and then the words")
    return said.rest


def _skippable(question: Question) -> str:
    if question.act is None:
        raise Wrong("a step that can be skipped", "this one", "answer ? or undo instead")
    return question.act.id


def _missing(said: _Said, job: Session) -> AtHand:
    """What is not at hand any more, with what was not before."""
    state = job.view.state
    words = said.rest.lower().replace(",", " ").split()
    for word in words or [""]:
        for _, wrong in unknown((), "a tool or helper", word, (*_TOOLS, HELPER)):
            raise wrong
    without = sorted(state.without | {word for word in words if word in _TOOLS})
    return AtHand(without=tuple(without), alone=state.alone or HELPER in words)


def _corrected(said: _Said, job: Session) -> Correction:
    """An earlier entry, by its number, put right by words or taken back."""
    number, _, rest = _needed(said, "the number of an entry").partition(" ")
    told = job.view.state.told
    if not (number.isdecimal() and len(number) < 9) or not 1 < int(number) <= len(told):
        raise Wrong(f"an entry from 2 to {len(told)}", quoted(number), "see rowfault cases show")
    entry = told[int(number) - 1]
    if entry.same_as and rest.strip():
        ids = [each.event.id for each in told]
        counting = ids.index(entry.same_as) + 1
        raise Wrong(
            got=number,
            expected="the entry that counts",
            remedy=f"correct {counting}, which is the same run",
        )
    event = entry.event.id
    if not rest.strip():
        return Correction(event=event)
    view = job.view
    facts = parse_statements(rest.split(), view.state.circumstances, view.machine, view.knowledge)
    if len(facts) != 1:
        raise Wrong(
            got=f"{len(facts)} things",
            expected="one thing in its place",
            remedy="correct one by one",
        )
    return Correction(event=event, instead=facts[0])


def _step(said: _Said, job: Session) -> Correction:
    events = [each.event for each in job.view.state.told]
    step = undo(events) if said.word == "undo" else redo(events)
    if step is None:
        raise Wrong(f"something to {said.word}", "nothing that was told", "go on from here")
    return step


ANYWAY = "anyway"


def accepted(text: str, job: Session, question: Question) -> Session | None:
    """The job in which a run is made as things are, if that is what was said. Raises `Wrong`.

    >>> accepted("6", None, None) is None
    True
    >>> accepted("anyway", None, Question("Done?", "done", None))
    Traceback (most recent call last):
    diagnose.formats.value_problem.Wrong: expected an answer to this question, got 'anyway'
    """
    if text.strip().lower() != ANYWAY:
        return None
    if not question.check:
        raise Wrong(got=quoted(text), expected="an answer to this question", remedy=question.form)
    return accepting(job, question.check)


NO_NAMES = ("yes", "y", "no", "n", "done", "none", "?")

BOTH = re.compile(r"(?:to\s+)?(?P<to>[^:]{1,80}):\s*(?P<why>\S.*)", re.IGNORECASE | re.DOTALL)
ONLY_WHOM = re.compile(r"to\s+(?P<to>[^:]{1,80}?):?\s*", re.IGNORECASE)


def hand_over(rest: str) -> HandedOver | Question:
    """What follows the words hand over: all of it, or the question for what is left out.

    >>> hand_over("to Ben: it is late")
    HandedOver(to='Ben', why='it is late')
    >>> [hand_over(rest).asks for rest in ("it is late", "to Ben", "")]
    ['To whom?', 'Why?', 'To whom?']
    """
    both, only = BOTH.fullmatch(rest), ONLY_WHOM.fullmatch(rest)
    if both:
        return HandedOver(to=named(both["to"]), why=spoken(both["why"]))
    return why_to(named(only["to"])) if only else to_whom(rest)


def to_whom(because: str = "") -> Question:
    """To whom; and why, unless that was said.

    >>> to_whom("it is late").read("Ben")
    [HandedOver(to='Ben', why='it is late')]
    >>> to_whom().leads_to("Ben").asks
    'Why?'
    """

    def read(text: str) -> Sequence[Statement]:
        return [HandedOver(to=named(text), why=spoken(because))]

    leads_to = None if because else lambda text: why_to(named(text))
    return Question("To whom?", "a name; Enter to go back", read, leads_to=leads_to)


def why_to(to: str, kept: str = "") -> Question:
    """Why the case goes to somebody; ``kept`` is the reason when none is typed.

    >>> why_to("Ben", "no meter here").read("")
    [HandedOver(to='Ben', why='no meter here')]
    """

    def read(text: str) -> Sequence[Statement]:
        return [HandedOver(to=to, why=spoken(text.strip() or kept))]

    return Question("Why?", "a few words", read, kept=kept)


def named(text: str) -> str:
    """Who goes on, by name. Raises `Wrong`.

    >>> named(" Ben ")
    'Ben'
    >>> named("yes")
    Traceback (most recent call last):
    diagnose.formats.value_problem.Wrong: expected the name of the person who goes on, got 'yes'
    """
    name = spoken(text.strip())
    if not name or name.lower() in NO_NAMES:
        raise Wrong(got=quoted(text.strip()), expected="the name of the person who goes on")
    return name
