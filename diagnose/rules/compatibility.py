"""Which ids of a rule belong together: a mode to its part kind, a result to its check."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from diagnose.errors import Problem, offer
from diagnose.formats.strictyaml import Document
from diagnose.record import record
from diagnose.rules.names import Names, Table
from diagnose.rules.rulefile import Conclusion, Condition, FieldTest, Hole, Rule, only_hole
from diagnose.rules.vocabulary import FACT_KINDS

_Tests = Mapping[str, Sequence[FieldTest]]
_Bound = Mapping[str, tuple[str, _Tests]]
"""By name, the kind of a fact that the rule matched and the tests on it."""


def out_of_place(rule: Rule, names: Names) -> Iterator[Complaint]:
    """Names in conditions, conclusions and examples that no case can show together.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.rules.loading import load_rules
    >>> rule = load_rules().by_id["oil-cold"]
    >>> list(out_of_place(rule, Names(load_knowledge())))
    []
    """
    bound: dict[str, tuple[str, _Tests]] = {}
    for number, condition in enumerate(rule.when):
        tests = _with_bound(condition, bound, names)
        yield from _misfits(("when", number, "where"), condition.kind, tests, names)
        if condition.as_:
            bound[condition.as_] = (condition.kind, tests)
    for number, conclusion in enumerate(rule.then):
        given = _given(conclusion, bound, names)
        yield from _misfits(("then", number, "values"), conclusion.finding, given, names)
    for block in ("fires", "near_miss"):
        for number, example in enumerate(getattr(rule, block)):
            act = {
                name: (FieldTest("equals", value),) for name, value in (example.act or {}).items()
            }
            if act:
                yield from _misfits((block, number, "act"), "act", act, names)


def _with_bound(condition: Condition, bound: _Bound, names: Names) -> _Tests:
    """The condition's tests; one that names another fact's field takes what that can hold."""
    return {
        field: [
            found
            for test in tests
            for found in (
                _of_hole(test.value.name, test.value.field, bound, names)
                if isinstance(test.value, Hole) and test.operator == "equals"
                else [test]
            )
        ]
        for field, tests in condition.where.items()
    }


def _given(conclusion: Conclusion, bound: _Bound, names: Names) -> _Tests:
    given: dict[str, list[FieldTest]] = {}
    for field, value in conclusion.values.items():
        hole = only_hole(value) if isinstance(value, str) else None
        if hole:
            given[field] = _of_hole(hole.name, hole.field, bound, names)
        elif not isinstance(value, str) or "{" not in value:
            given[field] = [FieldTest("equals", value)]
    return given


def _of_hole(name: str, field: str, bound: _Bound, names: Names) -> list[FieldTest]:
    """What the field of a fact that the rule matched can hold, as tests."""
    kind, tests = bound.get(name, ("", {}))
    table = names.together.get(kind)
    if table and field in table.fields:
        return [FieldTest("one_of", table.that_pass(tests).column(field))]
    return [test for test in tests.get(field, ()) if test.constants]


def _misfits(path: tuple[Step, ...], kind: str, tests: _Tests, names: Names) -> Iterator[Complaint]:
    """The first field whose tests leave none of the combinations that earlier fields allow."""
    left = names.together.get(kind, Table((), ()))
    so_far: dict[str, Sequence[FieldTest]] = {}
    for field in left.fields:
        own = {field: tests.get(field, ())}
        before, left = left, left.that_pass(own)
        if not left.rows:
            if not _told(kind, field, own[field], names):
                yield _misfit((*path, field), kind, before, own[field], so_far)
            return
        so_far |= own


def _told(kind: str, field: str, tests: Sequence[FieldTest], names: Names) -> bool:
    """Whether nobody has any of the names, which is told elsewhere."""
    known = names.of_type(FACT_KINDS[kind].fields[field].type)
    return known is not None and not any(set(test.constants) & known for test in tests)


def _misfit(
    path: tuple[Step, ...], kind: str, left: Table, tests: Sequence[FieldTest], so_far: _Tests
) -> Complaint:
    owner = [str(c) for tests in so_far.values() for test in tests for c in test.constants]
    what = f"{_article(path[-1])} of {owner[-1] if owner else kind}"
    got = " or ".join(str(c) for test in tests for c in test.constants)
    return unknown_name(path, got, left.column(str(path[-1])), what)


def _article(field: Step) -> str:
    word = str(field).replace("_", " ")
    return f"{'an' if word[0] in 'aeio' else 'a'} {word}"


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

        >>> from diagnose.formats.strictyaml import read_text
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
