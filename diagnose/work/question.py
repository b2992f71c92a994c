"""What the conversation asks: words for the person, and a reader of the answer."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from diagnose.observations.entries import Statement
from diagnose.record import record
from diagnose.retest.candidates import Candidate

Reader = Callable[[str], Sequence[Statement]]
"""What an answer tells. Raises `Wrong`, `InputError` or `FileProblems`."""


@record
class Question:
    """One thing that is asked.

    Parameters
    ----------
    asks: the question.
    form: how to answer it, in short.
    read: what an answer tells.
    says: what is to be done first, if anything.
    because: why that, a line for each reason.
    needs, cautions: what it takes, and what to beware of.
    minutes: about how long it takes.
    act: the act of the plan that it is about; None where it cannot be skipped.
    check: the check that can be run anyway, though something is bad.
    words: whether ``read`` itself takes words such as engine=off.
    kept: what an empty answer stands for, in words; empty where an answer is needed.
    over: nothing more is asked: the case is closed.
    leads_to: the question that an answer leads to, where it tells nothing yet.
    """

    asks: str
    form: str
    read: Reader
    says: str = ""
    because: tuple[str, ...] = ()
    needs: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    minutes: float = 0.0
    act: Candidate | None = None
    check: str = ""
    words: bool = False
    kept: str = ""
    over: bool = False
    leads_to: Callable[[str], Question] | None = None
