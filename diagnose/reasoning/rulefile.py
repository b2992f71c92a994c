"""One rule, one file: the data model of a rule and how the file becomes one.

What a rule may name is checked afterwards, in `diagnose.reasoning.rulecheck`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, model_validator

from diagnose.errors import Problem
from diagnose.knowledge.model import Id, Strict, Text, check_model
from diagnose.knowledge.strictyaml import Document, read_file
from diagnose.knowledge.wrong import Wrong
from diagnose.reasoning.finding import Value
from diagnose.reasoning.template import Hole, only_hole
from diagnose.record import record

Group = Literal["circumstances", "context", "measurements", "patterns", "contradictions", "advice"]
Operator = Literal["equals", "not", "below", "at_least", "above", "at_most", "one_of"]

ORDERED: frozenset[str] = frozenset({"below", "at_least", "above", "at_most"})
OPERATORS: tuple[str, ...] = ("equals", "not", "one_of", *sorted(ORDERED))
_NAME = re.compile(r"[a-z][a-z0-9_]{0,30}")


@record
class Test:
    """One test on a field: an operator and a constant, several (``one_of``), or a `Hole`."""

    operator: str
    value: Value | tuple[Value, ...] | Hole

    @property
    def constants(self) -> tuple[Value, ...]:
        """The constants that the test names; none when it names another fact's field.

        >>> Test("one_of", ("off", "on")).constants, Test("equals", 3).constants
        (('off', 'on'), (3,))
        """
        if isinstance(self.value, Hole):
            return ()
        return self.value if isinstance(self.value, tuple) else (self.value,)


def read_tests(value: object) -> tuple[Test, ...]:
    """What stands behind a field: a constant, ``{name.field}``, or operators with operands.

    >>> read_tests({"at_least": 20, "below": "{warm.celsius}"})[0]
    Test(operator='at_least', value=20)
    >>> read_tests("bleed")
    (Test(operator='equals', value='bleed'),)
    """
    if isinstance(value, dict):
        return tuple(_test(operator, operand) for operator, operand in value.items())
    return (_test("equals", value),)


def _test(operator: str, operand: object) -> Test:
    if operator not in OPERATORS:
        raise Wrong(f"one of {', '.join(OPERATORS)}", repr(operator))
    if operator == "one_of":
        if not isinstance(operand, list) or len(operand) < 2:
            raise Wrong(got=repr(operand), expected="a list of at least two values for one_of")
        return Test(operator, tuple(_constant(item) for item in operand))
    hole = only_hole(operand) if isinstance(operand, str) else None
    return Test(operator, hole or _constant(operand))


def _constant(value: object) -> Value:
    if isinstance(value, bool) or not isinstance(value, (int, float, str)):
        raise Wrong(
            got=repr(value), expected="a number, a text or {name.field}", remedy="quote yes and no"
        )
    return value


def _value(value: object) -> Value:
    return _constant(value)


def _name(value: object) -> object:
    if isinstance(value, str) and not _NAME.fullmatch(value):
        raise Wrong(got=repr(value), expected="a name of small letters, digits and underscores")
    return value


Name = Annotated[str, BeforeValidator(_name)]
Tests = Annotated[tuple[Test, ...], BeforeValidator(read_tests)]
Constant = Annotated[Any, BeforeValidator(_value)]


class Condition(Strict):
    """A fact or finding that must be there (``fact``), or that must not (``none``)."""

    fact: Text | None = None
    none: Text | None = None
    as_: Name | None = Field(default=None, alias="as")
    where: Mapping[str, Tests] = Field(default_factory=dict)

    @property
    def kind(self) -> str:
        """The kind of fact or finding.

        >>> Condition(none="standing").kind
        'standing'
        """
        return self.fact or self.none or ""

    def tests(self) -> Iterator[tuple[str, Test]]:
        """Every test with the field it is about.

        >>> condition = Condition(fact="run", where={"failed": {"above": 0}})
        >>> [(field, test.operator, test.value) for field, test in condition.tests()]
        [('failed', 'above', 0)]
        """
        for field, tests in self.where.items():
            for test in tests:
                yield field, test

    @model_validator(mode="after")
    def _one_of_the_two(self) -> Condition:
        if (self.fact is None) == (self.none is None):
            got = "neither" if self.fact is None else "both"
            raise Wrong(got=got, expected="either fact: or none: in a condition")
        if self.none is not None and self.as_ is not None:
            raise Wrong(
                got=f"as: {self.as_}",
                expected="no name for what must not be there",
                remedy="leave it out",
            )
        return self


class Conclusion(Strict):
    """A finding that the rule makes; text values may be templates."""

    finding: Text
    values: Mapping[str, Constant] = Field(default_factory=dict)


class Example(Strict):
    """A situation: a machine, what is typed about it, and perhaps a proposed act."""

    machine: Text
    typed: str = ""
    act: Mapping[str, Constant] | None = None


class Firing(Example):
    """A situation in which the rule must fire, and what it must say or conclude then."""

    says: Text | None = None
    values: Mapping[str, Constant] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _expects_something(self) -> Firing:
        if self.says is None and not self.values:
            raise Wrong("says: or values: that the case must come to", "neither")
        return self


class Rule(Strict):
    """One piece of experience, with its reason, its limits and its examples."""

    id: Id
    group: Group
    says: Text
    when: tuple[Condition, ...] = Field(min_length=1)
    then: tuple[Conclusion, ...] = Field(min_length=1)
    why: Text
    wrong_when: Text
    source: Text
    status: Literal["settled", "on-trial"] = "settled"
    fires: tuple[Firing, ...] = Field(min_length=1)
    near_miss: tuple[Example, ...] = Field(min_length=1)

    @property
    def needed(self) -> tuple[Condition, ...]:
        """The conditions on facts that must be there, in order.

        >>> from diagnose.reasoning.loading import load_rules
        >>> rule = load_rules().by_id["swap-before-buying"]
        >>> [condition.kind for condition in rule.needed]
        ['act']
        """
        return tuple(condition for condition in self.when if condition.fact)

    @property
    def forbidden(self) -> tuple[Condition, ...]:
        """The conditions on facts that must not be there, in order.

        >>> from diagnose.reasoning.loading import load_rules
        >>> rule = load_rules().by_id["swap-before-buying"]
        >>> [condition.kind for condition in rule.forbidden]
        ['swapped']
        """
        return tuple(condition for condition in self.when if condition.none)

    @property
    def about_acts(self) -> bool:
        """Whether the rule speaks about proposed acts and not about the case alone.

        >>> from diagnose.reasoning.loading import load_rules
        >>> [load_rules().by_id[id].about_acts for id in ("swap-before-buying", "engine-stopped")]
        [True, False]
        """
        return any(condition.kind == "act" for condition in self.needed)


@record
class RuleFile:
    """A rule with the document it came from, which knows the lines."""

    rule: Rule
    document: Document


def read_rule(path: Path | str) -> tuple[RuleFile | None, list[Problem]]:
    """The file as a rule as far as its form goes, and every problem of form in it.

    Raises `FileProblems` when nothing at all can be read from the file.

    >>> from diagnose.knowledge.places import shipped
    >>> file, problems = read_rule(shipped().rules / "circumstances" / "engine-stopped.yaml")
    >>> file.rule.id, file.document.place(("group",)).line, problems
    ('engine-stopped', 2, [])
    """
    return rule_of(read_file(path))


def rule_of(document: Document) -> tuple[RuleFile | None, list[Problem]]:
    """The same for a document in hand.

    >>> from diagnose.knowledge.strictyaml import read_text
    >>> rule, problems = rule_of(read_text("id: sample", "sample.yaml"))
    >>> rule is None, len(problems) > 5
    (True, True)
    """
    rule, problems = check_model(document, Rule)
    problems += _out_of_order(document)
    return (RuleFile(rule, document) if rule else None), problems


def _out_of_order(document: Document) -> Iterator[Problem]:
    """The one reading order that makes rules easy to compare."""
    wanted = [name for name in Rule.model_fields if name in document.data]
    given = [name for name in document.data if name in Rule.model_fields]
    for name, expected in zip(given, wanted, strict=True):
        if name != expected:
            remedy = f"keep the order {', '.join(Rule.model_fields)}"
            yield Problem(document.place((name,)), f"{expected}: here", f"{name}:", remedy)
            return
