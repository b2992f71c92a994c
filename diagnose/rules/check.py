"""Is a rule one that can work? Names, types, and whether it can ever fire.

Each check is a small generator of problems; `problems_of` runs them all over one rule.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from pathlib import PurePath

from diagnose.errors import Problem
from diagnose.rules.compatibility import Complaint, Step, out_of_place, unknown_name
from diagnose.rules.names import Names
from diagnose.rules.rulefile import (
    FORMS,
    NUMBER_FORMS,
    ORDERED,
    Condition,
    FieldTest,
    Hole,
    RuleFile,
    holes,
    only_hole,
    stray_brace,
)
from diagnose.rules.satisfiable import Field, Kind, can_hold, complaint_about
from diagnose.rules.vocabulary import FACT_KINDS, FACTS, FINDINGS, RULE_GROUPS, fields_to_match
from diagnose.tolerances import LONGEST_SENTENCE, MOST_CHOICES, MOST_CONCLUSIONS, MOST_EXAMPLES

MOST_CONDITIONS = 12
"""The rule engine holds at most 16 facts together; the gate takes one."""


def problems_of(file: RuleFile, names: Names | None = None) -> list[Problem]:
    """Everything that is wrong with one rule by itself; without ``names`` any id will do.

    >>> from diagnose.paths import shipped
    >>> from diagnose.rules.rulefile import read_rule
    >>> file, _ = read_rule(shipped().rules / "circumstances" / "engine-stopped.yaml")
    >>> renamed = RuleFile(file.rule.model_copy(update={"id": "mine"}), file.document)
    >>> problems_of(file), [(each.expected, each.got) for each in problems_of(renamed)]
    ([], [("the file's name, engine-stopped", 'mine')])
    """
    found = [
        *_placed_wrongly(file),
        *_wrong_conditions(file, names),
        *_never_true(file),
        *_made_too_late(file),
        *_wrong_conclusions(file, names),
        *_wrong_sentence(file),
        *_too_long(file),
        *_wrong_acts(file),
        *(out_of_place(file.rule, names) if names else ()),
    ]
    return [complaint.at(file.document) for complaint in found]


def _placed_wrongly(file: RuleFile) -> Iterator[Complaint]:
    path = PurePath(file.document.source)
    rule = file.rule
    if path.suffix not in (".yaml", ".yml"):
        return
    if path.stem != rule.id:
        yield Complaint(("id",), f"the file's name, {path.stem}", rule.id, "rename one of the two")
    if path.parent.name in RULE_GROUPS and path.parent.name != rule.group:
        expected = f"the folder's name, {path.parent.name}"
        yield Complaint(("group",), expected, rule.group, "move the file or change the group")


def _wrong_conditions(file: RuleFile, names: Names | None) -> Iterator[Complaint]:
    bound: dict[str, Kind] = {}
    conditions = file.rule.when
    if len(file.rule.needed) > MOST_CONDITIONS:
        yield Complaint(("when",), f"at most {MOST_CONDITIONS} facts", str(len(file.rule.needed)))
    if not file.rule.needed:
        yield Complaint(("when",), "at least one fact that must be there", "only none:")
    for place, condition in _needed_first(conditions):
        kind = FACT_KINDS.get(condition.kind)
        if kind is None:
            word = "fact" if condition.fact else "none"
            yield unknown_name((*place, word), condition.kind, FACT_KINDS)
            continue
        yield from _wrong_tests((*place, "where"), condition, kind, bound, names)
        if condition.as_ in bound:
            yield Complaint((*place, "as"), "each name once", f"a second {condition.as_}")
        if condition.as_:
            bound[condition.as_] = kind


def _needed_first(
    conditions: Iterable[Condition],
) -> list[tuple[tuple[Step, ...], Condition]]:
    """Conditions in the order in which they are matched: what must not be there comes last."""
    numbered = [(("when", number), condition) for number, condition in enumerate(conditions)]
    return sorted(numbered, key=lambda pair: pair[1].none is not None)


def _wrong_tests(
    path: tuple[Step, ...],
    condition: Condition,
    kind: Kind,
    bound: Mapping[str, Kind],
    names: Names | None,
) -> Iterator[Complaint]:
    fields = fields_to_match(kind)
    for name, test in condition.tests():
        here = (*path, name)
        if name not in fields:
            yield unknown_name(here, name, fields, f"a field of {kind.name}")
        elif test.operator in ORDERED and not fields[name].numeric:
            got = f"{test.operator} on {kind.name}.{name}, which is text"
            yield Complaint(here, "a number on both sides of an order", got)
        elif isinstance(test.value, Hole):
            yield from _wrong_hole(here, test.value, fields[name], bound)
        else:
            yield from _wrong_constants(here, test.constants, fields[name], names)


def _wrong_hole(
    path: tuple[Step, ...], hole: Hole, field: Field | None, bound: Mapping[str, Kind]
) -> Iterator[Complaint]:
    if hole.name not in bound:
        remedy = f"names bound before it: {', '.join(bound)}" if bound else "bind one with as:"
        yield Complaint(path, "a name bound by an earlier fact", repr(hole.name), remedy)
        return
    fields = fields_to_match(bound[hole.name])
    if hole.field not in fields:
        yield unknown_name(path, hole.field, fields, f"a field of {bound[hole.name].name}")
    elif hole.form not in FORMS:
        yield unknown_name(path, hole.form, filter(None, FORMS), "a form")
    elif hole.form in NUMBER_FORMS and not fields[hole.field].numeric:
        yield Complaint(path, "a number to write so", f"{hole.name}.{hole.field}, which is text")
    elif field is not None and not _same_sort(field, fields[hole.field]):
        got = f"{hole.name}.{hole.field}, a {fields[hole.field].type}"
        yield Complaint(path, f"something of type {field.type}", got)


def _same_sort(one: Field, other: Field) -> bool:
    return one.type == other.type or (one.type in _LOOSE and not other.numeric)


_LOOSE = frozenset({"place", "where", "name", "choice"})
"""Text types that can take any id."""


def _wrong_constants(
    path: tuple[Step, ...], constants: Iterable[object], field: Field, names: Names | None
) -> Iterator[Complaint]:
    for constant in constants:
        complaint = complaint_about(field, constant)
        ids = names.of_type(field.type) if names else None
        if complaint and field.choices:
            yield unknown_name(path, str(constant), field.choices, "one of the choices")
        elif complaint:
            yield Complaint(path, complaint, repr(constant))
        elif ids is not None and constant not in ids and constant != field.default:
            yield unknown_name(path, str(constant), ids, f"a known {field.type.replace('-', ' ')}")


def _never_true(file: RuleFile) -> Iterator[Complaint]:
    for number, condition in enumerate(file.rule.when):
        kind = FACT_KINDS.get(condition.kind)
        if kind is None:
            continue
        for name, tests in condition.where.items():
            field = fields_to_match(kind).get(name)
            if field and _comparable(field, tests) and not can_hold(field, tests):
                expected = f"tests on {name} that some value passes"
                yield Complaint(
                    ("when", number, "where", name), expected, "none can", "the rule never fires"
                )


def _comparable(field: Field, tests: Iterable[FieldTest]) -> bool:
    return not any(complaint_about(field, c) for test in tests for c in test.constants) and (
        field.numeric or not any(test.operator in ORDERED for test in tests)
    )


def _made_too_late(file: RuleFile) -> Iterator[Complaint]:
    now = RULE_GROUPS.index(file.rule.group)
    for number, condition in enumerate(file.rule.when):
        kind = FINDINGS.get(condition.kind)
        if kind and all(RULE_GROUPS.index(group) >= now for group in kind.made_by):
            expected = f"only findings of groups before {file.rule.group}"
            got = f"{kind.name}, which is made in {', '.join(kind.made_by)}"
            yield Complaint(("when", number), expected, got, "the rule never fires")


def _wrong_conclusions(file: RuleFile, names: Names | None) -> Iterator[Complaint]:
    bound = _bound(file)
    for number, conclusion in enumerate(file.rule.then):
        path = ("then", number)
        kind = FINDINGS.get(conclusion.finding)
        if kind is None:
            where = (*path, "finding")
            yield unknown_name(where, conclusion.finding, FINDINGS, "a kind of finding")
            continue
        if file.rule.group not in kind.made_by:
            got = f"{kind.name} in {file.rule.group}"
            expected = f"findings that {file.rule.group} may make"
            yield Complaint((*path, "finding"), expected, got, f"{_may_make(file.rule.group)}")
        for name, value in conclusion.values.items():
            here = (*path, "values", name)
            if name not in kind.fields:
                yield unknown_name(here, name, kind.fields, f"a field of {kind.name}")
            else:
                yield from _wrong_value(here, value, kind.fields[name], bound, names)
        for name, field in kind.fields.items():
            if field.default is None and name not in conclusion.values:
                yield Complaint((*path, "values"), f"{name}: in {kind.name}", "nothing")


def _may_make(group: str) -> str:
    return "it may make: " + ", ".join(n for n, kind in FINDINGS.items() if group in kind.made_by)


def _wrong_value(
    path: tuple[Step, ...],
    value: object,
    field: Field,
    bound: Mapping[str, Kind],
    names: Names | None,
) -> Iterator[Complaint]:
    if not isinstance(value, str) or not ("{" in value or "}" in value):
        yield from _wrong_constants(path, (value,), field, names)
        return
    hole = only_hole(value)
    if hole:
        yield from _wrong_hole(path, hole, field, bound)
        return
    if field.numeric:
        yield Complaint(path, "a number or {name.field} alone", repr(value))
    yield from _wrong_template(path, value, bound)


def _wrong_sentence(file: RuleFile) -> Iterator[Complaint]:
    yield from _wrong_template(("says",), file.rule.says, _bound(file))


def _wrong_template(
    path: tuple[Step, ...], text: str, bound: Mapping[str, Kind]
) -> Iterator[Complaint]:
    if stray_brace(text):
        yield Complaint(path, "braces only around {name.field}", repr(text))
    for hole in holes(text):
        yield from _wrong_hole(path, hole, None, bound)


def _wrong_acts(file: RuleFile) -> Iterator[Complaint]:
    """The acts in the examples must be facts that can exist."""
    for block in ("fires", "near_miss"):
        for number, example in enumerate(getattr(file.rule, block)):
            for name, value in (example.act or {}).items():
                path = (block, number, "act", name)
                field = FACTS["act"].fields.get(name)
                if field is None:
                    yield unknown_name(path, name, FACTS["act"].fields, "a field of act")
                elif complaint_about(field, value):
                    yield Complaint(path, complaint_about(field, value), repr(value))
            for name, field in FACTS["act"].fields.items():
                if example.act and field.default is None and name not in example.act:
                    yield Complaint((block, number, "act"), f"{name}: in an act", "nothing")


def _too_long(file: RuleFile) -> Iterator[Complaint]:
    """Lists and sentences that no rule needs and that would be gone through at every firing."""
    rule = file.rule
    for name, many, most, what in (
        ("then", len(rule.then), MOST_CONCLUSIONS, "findings"),
        ("fires", len(rule.fires), MOST_EXAMPLES, "examples"),
        ("near_miss", len(rule.near_miss), MOST_EXAMPLES, "examples"),
        ("says", len(rule.says), LONGEST_SENTENCE, "letters"),
    ):
        if many > most:
            yield Complaint((name,), f"at most {most:,} {what}", f"{many:,}", "write less")
    for place, condition in enumerate(rule.when):
        for name, test in condition.tests():
            if len(test.constants) > MOST_CHOICES:
                got = f"{len(test.constants):,}"
                where = ("when", place, "where", name)
                yield Complaint(where, f"at most {MOST_CHOICES} values", got, "write less")


def _bound(file: RuleFile) -> dict[str, Kind]:
    named = ((one.as_, FACT_KINDS.get(one.kind)) for one in file.rule.needed)
    return {name: kind for name, kind in named if name and kind}
