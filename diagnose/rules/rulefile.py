"""A rule as a file states it: when it fires, what it concludes and why, in typed fields."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, model_validator

from diagnose.errors import Problem
from diagnose.formats.model import Id, Strict, Text, check_model
from diagnose.formats.strictyaml import Document, read_file
from diagnose.formats.units import NO_CODE, OVER_RANGE_OHM
from diagnose.formats.value_problem import Wrong
from diagnose.record import record
from diagnose.rules.finding import FactValue

_Group = Literal["circumstances", "context", "measurements", "patterns", "contradictions", "advice"]
Operator = Literal["equals", "not", "below", "at_least", "above", "at_most", "one_of"]

ORDERED: frozenset[str] = frozenset({"below", "at_least", "above", "at_most"})
_OPERATORS: tuple[str, ...] = ("equals", "not", "one_of", *sorted(ORDERED))
_NAME = re.compile(r"[a-z][a-z0-9_]{0,30}")


@record
class FieldTest:
    """One test on a field: an operator and a constant, several (``one_of``), or a `Hole`."""

    operator: str
    value: FactValue | tuple[FactValue, ...] | Hole

    @property
    def constants(self) -> tuple[FactValue, ...]:
        """The constants that the test names; none when it names another fact's field.

        >>> FieldTest("one_of", ("off", "on")).constants, FieldTest("equals", 3).constants
        (('off', 'on'), (3,))
        """
        if isinstance(self.value, Hole):
            return ()
        return self.value if isinstance(self.value, tuple) else (self.value,)


def read_tests(value: object) -> tuple[FieldTest, ...]:
    """What stands behind a field: a constant, ``{name.field}``, or operators with operands.

    >>> read_tests({"at_least": 20, "below": "{warm.celsius}"})[0]
    FieldTest(operator='at_least', value=20)
    >>> read_tests("bleed")
    (FieldTest(operator='equals', value='bleed'),)
    """
    if isinstance(value, dict):
        return tuple(_test(operator, operand) for operator, operand in value.items())
    return (_test("equals", value),)


def _test(operator: str, operand: object) -> FieldTest:
    if operator not in _OPERATORS:
        raise Wrong(f"one of {', '.join(_OPERATORS)}", repr(operator))
    if operator == "one_of":
        if not isinstance(operand, list) or len(operand) < 2:
            raise Wrong(got=repr(operand), expected="a list of at least two values for one_of")
        return FieldTest(operator, tuple(_constant(item) for item in operand))
    hole = only_hole(operand) if isinstance(operand, str) else None
    return FieldTest(operator, hole or _constant(operand))


def _constant(value: object) -> FactValue:
    if isinstance(value, bool) or not isinstance(value, (int, float, str)):
        raise Wrong(
            got=repr(value), expected="a number, a text or {name.field}", remedy="quote yes and no"
        )
    return value


def _value(value: object) -> FactValue:
    return _constant(value)


def _name(value: object) -> object:
    if isinstance(value, str) and not _NAME.fullmatch(value):
        raise Wrong(got=repr(value), expected="a name of small letters, digits and underscores")
    return value


Name = Annotated[str, BeforeValidator(_name)]
_Tests = Annotated[tuple[FieldTest, ...], BeforeValidator(read_tests)]
Constant = Annotated[Any, BeforeValidator(_value)]


class Condition(Strict):
    """A fact or finding that must be there (``fact``), or that must not (``none``)."""

    fact: Text | None = None
    none: Text | None = None
    as_: Name | None = Field(default=None, alias="as")
    where: Mapping[str, _Tests] = Field(default_factory=dict)

    @property
    def kind(self) -> str:
        """The kind of fact or finding.

        >>> Condition(none="standing").kind
        'standing'
        """
        return self.fact or self.none or ""

    def tests(self) -> Iterator[tuple[str, FieldTest]]:
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
    group: _Group
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

        >>> from diagnose.rules.loading import load_rules
        >>> rule = load_rules().by_id["swap-before-buying"]
        >>> [condition.kind for condition in rule.needed]
        ['act']
        """
        return tuple(condition for condition in self.when if condition.fact)

    @property
    def forbidden(self) -> tuple[Condition, ...]:
        """The conditions on facts that must not be there, in order.

        >>> from diagnose.rules.loading import load_rules
        >>> rule = load_rules().by_id["swap-before-buying"]
        >>> [condition.kind for condition in rule.forbidden]
        ['swapped']
        """
        return tuple(condition for condition in self.when if condition.none)

    @property
    def about_acts(self) -> bool:
        """Whether the rule speaks about proposed acts and not about the case alone.

        >>> from diagnose.rules.loading import load_rules
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

    >>> from diagnose.paths import shipped
    >>> file, problems = read_rule(shipped().rules / "circumstances" / "engine-stopped.yaml")
    >>> file.rule.id, file.document.place(("group",)).line, problems
    ('engine-stopped', 2, [])
    """
    return rule_of(read_file(path))


def rule_of(document: Document) -> tuple[RuleFile | None, list[Problem]]:
    """The same for a document in hand.

    >>> from diagnose.formats.strictyaml import read_text
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


_HOLE = re.compile(r"\{([a-z][a-z0-9_]*)(?:\.([a-z][a-z0-9_]*))?(?::([a-z]+))?\}")
_BRACE = re.compile(r"[{}]")


@record
class Hole:
    """One hole: the name before the dot (or alone), the field after it, the form."""

    name: str
    field: str = ""
    form: str = ""


def _temperature(celsius: FactValue) -> str:
    return f"{float(celsius):.0f} °C ({float(celsius) * 1.8 + 32:.0f} °F)"


def _pressure(bar: FactValue) -> str:
    return f"{float(bar):.0f} bar ({float(bar) * 14.503773773:.0f} psi)"


def _plain(value: FactValue) -> str:
    if isinstance(value, str) or abs(value) >= 1000:
        return value if isinstance(value, str) else f"{value:,.0f}"
    return f"{value:.3g}"


def _about(value: FactValue) -> str:
    return f"{float(value):.1f}" if float(value) < 3 else f"{float(value):.0f}"


def _ohms(ohm: FactValue) -> str:
    """Over its range a meter shows OL."""
    return "OL" if float(ohm) >= OVER_RANGE_OHM else f"{_plain(ohm)} ohm"


def _read(number: FactValue) -> str:
    if isinstance(number, str) or NO_CODE < number < OVER_RANGE_OHM:
        return _plain(number)
    return "no stored" if number <= NO_CODE else "OL"


NUMBER_FORMS = frozenset({"temperature", "pressure", "about", "ohms", "read", "aside"})
FORMS: Mapping[str, Callable[[FactValue], str]] = {
    "": _plain,
    "temperature": _temperature,
    "pressure": _pressure,
    "about": _about,
    "ohms": _ohms,
    "read": _read,
    "aside": lambda run: f" (run {run})" if run else "",
    "words": lambda value: str(value).replace("-", " ").replace("_", " "),
}


def holes(text: str) -> Iterator[Hole]:
    """The holes of a template, in order.

    >>> list(holes("Row {bad.row} of {rows}"))
    [Hole(name='bad', field='row', form=''), Hole(name='rows', field='', form='')]
    """
    for match in _HOLE.finditer(text):
        yield Hole(match[1], match[2] or "", match[3] or "")


def stray_brace(text: str) -> bool:
    """Whether a brace stands outside a well-formed hole.

    >>> stray_brace("{a.b} and {"), stray_brace("{a.b}")
    (True, False)
    """
    return bool(_BRACE.search(_HOLE.sub("", text)))


def only_hole(text: str) -> Hole | None:
    """The hole when the template is nothing but one hole without a form, else None.

    >>> only_hole("{bad.row}")
    Hole(name='bad', field='row', form='')
    >>> only_hole("row-{bad.row}")
    """
    match = _HOLE.fullmatch(text)
    return Hole(match[1], match[2] or "") if match and not match[3] else None


def filled(text: str, look_up: Callable[[Hole], FactValue]) -> str:
    """The template with every hole filled.

    >>> filled("oil at {oil.celsius:temperature}", lambda hole: 15.0)
    'oil at 15 °C (59 °F)'
    >>> filled("{coil.number:ohms}", lambda hole: 1e6), filled("{n.number:ohms}", lambda hole: 7.4)
    ('OL', '7.4 ohm')
    """

    def fill(match: re.Match[str]) -> str:
        hole = Hole(match[1], match[2] or "", match[3] or "")
        return FORMS[hole.form](look_up(hole))

    return _HOLE.sub(fill, text)
