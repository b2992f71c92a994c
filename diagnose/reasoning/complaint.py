"""What is wrong inside a rule, before its line is known."""

from __future__ import annotations

from collections.abc import Iterable

from diagnose.errors import Problem, offer
from diagnose.knowledge.strictyaml import Document
from diagnose.record import record

Step = str | int


@record
class Complaint:
    """A problem before its line is known: the path inside the file, and the sentence's parts."""

    path: tuple[Step, ...]
    expected: str
    got: str
    remedy: str = ""

    def at(self, document: Document) -> Problem:
        r"""The same with its line.

        >>> from diagnose.knowledge.strictyaml import read_text
        >>> document = read_text("id: mine\nsays: x", "mine.yaml")
        >>> print(Complaint(("says",), "a sentence", "'x'").at(document))
        mine.yaml:2: expected a sentence, got 'x'
        """
        return Problem(document.place(self.path), self.expected, self.got, self.remedy)


def unknown_name(
    path: tuple[Step, ...], name: str, names: Iterable[str], what: str = "a kind of fact"
) -> Complaint:
    """A name that is not among those known, with the nearest of them.

    >>> unknown_name(("when", 0, "fact"), "rum", ["run", "row"]).remedy
    'did you mean run?'
    """
    return Complaint(path, what, repr(name), offer(name, names))
