"""In how many ways the facts of a large case can come together in a rule, before it is ever run.

The engine builds every combination of facts that fits a rule, one condition after another, so five
runs that nothing ties together are 40 × 40 × 40 × 40 × 40 of them. What is counted here is an upper
bound: for each condition the most facts of its kind that a case of `SIZES` has, less what is fixed
by a constant or by an earlier fact.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence, Set
from dataclasses import field
from math import log10, prod

from diagnose.record import record
from diagnose.rules.compatibility import Complaint
from diagnose.rules.rulefile import Conclusion, Condition, Hole, Rule, only_hole
from diagnose.rules.vocabulary import RULE_GROUPS
from diagnose.tolerances import MOST_JOINED, MOST_TRIED

SIZES: Mapping[str, int] = {
    "runs": 40,
    "rows": 48,
    "places": 80,
    "holders": 8,
    "pairs": 2,
    "noted": 10,
    "readings": 60,
    "swaps": 24,
    "acts": 500,
}
"""The case that rules must be quick in: a planter of 48 rows with 40 runs, what each has in common,
what was noted of a run, what was read and exchanged, and the acts that are weighed at a time."""

CASE = f"in a case of {SIZES['rows']} rows and {SIZES['runs']} runs"
"""The same in words."""


@record
class _Key:
    """Fields that tell facts of a kind apart, with how many values each can have.

    No two facts agree in all of them, where ``given`` says what the fact must have in others.
    """

    fields: Mapping[str, str]
    given: Mapping[str, str]

    def most(self, fixed: frozenset[str]) -> int:
        """The most facts there can be when some of the fields are fixed.

        >>> _Key({"run": "runs", "row": "rows"}, {}).most(frozenset({"run"})) == SIZES["rows"]
        True
        """
        return prod(SIZES[size] for name, size in self.fields.items() if name not in fixed)


def _key(given: Mapping[str, str] | None = None, **fields: str) -> _Key:
    return _Key(fields, given or {})


_HOLDERS = ("section", "branch", "controller", "port")
_NOTED = (_key(run="runs", circumstance="noted"),)
_READ = (_key(nth="readings"),)

KEYS: Mapping[str, Sequence[_Key]] = {
    "machine": (_key(),),
    "run": (_key(run="runs"), _key({"latest": "yes"}, check="noted")),
    "temperature": _NOTED,
    "pressure": _NOTED,
    "setting": _NOTED,
    "unknown": _NOTED,
    "history": (_key(circumstance="noted"),),
    "group": (
        _key(run="runs", place="places"),
        *(_key({"group": name}, run="runs", place="holders") for name in _HOLDERS),
        _key({"group": "alternate"}, run="runs", place="pairs"),
        _key({"group": "ends"}, run="runs"),
        _key({"group": "machine"}, run="runs"),
    ),
    "failed_row": (_key(run="runs", row="rows"),),
    "pair": (_key(run="runs"),),
    "changed": (
        _key(row="rows", failed_run="runs"),
        _key(row="rows", passed_run="runs"),
        _key({"lowest": "yes"}, failed_run="runs", passed_run="runs"),
    ),
    "measured": _READ,
    "compared": _READ,
    "looked": _READ,
    "swapped": (_key(nth="swaps"),),
    "repeated": (_key(nth="readings", earlier="readings"),),
    "act": (_key(act="acts"),),
    "state": _NOTED,
    "reading": _READ,
}
"""By kind, what tells its facts apart; of findings only those that count once for each of these."""


@record
class Joins:
    """The rules of a base, whose findings later rules match."""

    rules: Sequence[Rule]
    _known: dict[tuple[int, frozenset[tuple[str, str]]], int] = field(
        default_factory=dict, repr=False, compare=False
    )

    def sizes(self, rule: Rule) -> Iterator[int]:
        """How many combinations there can be after each condition of a rule, in their order.

        >>> from diagnose.rules.loading import load_rules
        >>> rules = load_rules()
        >>> list(Joins(rules.rules).sizes(rules.by_id["two-neighbours"]))
        [40, 40]
        """
        yield from self._sizes(rule, frozenset())

    def too_many(self, rule: Rule) -> Complaint | None:
        """What is to be said of a rule whose facts can come together too often.

        >>> from diagnose.rules.loading import load_rules
        >>> rules = load_rules()
        >>> [rule.id for rule in rules.rules if Joins(rules.rules).too_many(rule)]
        []
        """
        places = [place for place, condition in enumerate(rule.when) if condition.fact]
        ways = 1
        for place, ways in zip(places, self.sizes(rule), strict=True):
            if ways > MOST_JOINED:
                expected = f"facts that come together in at most {MOST_JOINED:,} ways {CASE}"
                return Complaint(("when", place), expected, _about(ways), _remedy(rule, place))
        for place, condition in enumerate(rule.when):
            tried = ways * self._most(rule, condition, frozenset())
            if condition.none and tried > MOST_TRIED:
                expected = f"at most {MOST_TRIED:,} facts to look through {CASE}"
                return Complaint(("when", place), expected, _about(tried), _remedy(rule, place))
        return None

    def _sizes(self, rule: Rule, fixed: frozenset[tuple[str, str]]) -> Iterator[int]:
        """The same when fields of named facts are fixed from without."""
        fixed = _closed(rule, fixed)
        ways = 1
        for condition in rule.needed:
            ways *= self._most(rule, condition, fixed)
            yield ways

    def _most(self, rule: Rule, condition: Condition, fixed: frozenset[tuple[str, str]]) -> int:
        """The most facts or findings that can stand for a condition, given those before it."""
        bound = {name for as_, name in fixed if as_ == condition.as_}
        bound |= {name for name, test in condition.tests() if test.operator == "equals"}
        given = _constants(condition)
        keys = [
            key.most(frozenset(bound))
            for key in KEYS.get(condition.kind, ())
            if all(given.get(name) == {value} for name, value in key.given.items())
        ]
        return min(keys) if keys else self._made(rule, condition, bound)

    def _made(self, rule: Rule, condition: Condition, bound: set[str]) -> int:
        """The most findings that rules of earlier groups can have made for a condition."""
        now = RULE_GROUPS.index(rule.group)
        return sum(
            self._firings(other, conclusion, bound)
            for other in self.rules
            if RULE_GROUPS.index(other.group) < now
            for conclusion in other.then
            if conclusion.finding == condition.kind and _fits(condition, other, conclusion)
        )

    def _firings(self, rule: Rule, conclusion: Conclusion, bound: set[str]) -> int:
        """How often a rule can conclude something of which some values are fixed."""
        holes = {name: _hole(value) for name, value in conclusion.values.items() if name in bound}
        fixed = {(hole.name, hole.field) for hole in holes.values() if hole}
        key = (id(rule), frozenset(fixed))
        if key not in self._known:
            self._known[key] = max(self._sizes(rule, key[1]), default=0)
        return self._known[key]


def _closed(rule: Rule, fixed: frozenset[tuple[str, str]]) -> frozenset[tuple[str, str]]:
    """With every field that equals a fixed one, whichever of the two comes first."""
    ties = [
        ((condition.as_ or "", name), (test.value.name, test.value.field))
        for condition in rule.needed
        for name, test in condition.tests()
        if test.operator == "equals" and isinstance(test.value, Hole)
    ]
    known = set(fixed)
    for _ in ties:
        known |= {pair[1 - end] for pair in ties for end in (0, 1) if pair[end] in known}
    return frozenset(known)


def _constants(condition: Condition) -> Mapping[str, Set[object]]:
    """The values that fields must have, where the condition names them."""
    return {
        name: set(test.constants)
        for name, test in condition.tests()
        if test.operator in ("equals", "one_of") and test.constants
    }


def _fits(condition: Condition, rule: Rule, conclusion: Conclusion) -> bool:
    """Whether a conclusion may be what a condition asks for, as far as its constants say."""
    made = {name: value for name, value in conclusion.values.items() if not _open(value)}
    made["rule"] = rule.id
    wanted = _constants(condition)
    return all(name not in made or made[name] in values for name, values in wanted.items())


def _open(value: object) -> bool:
    return isinstance(value, str) and "{" in value


def _hole(value: object) -> Hole | None:
    return only_hole(value) if isinstance(value, str) else None


def _remedy(rule: Rule, place: int) -> str:
    """How to make a rule look at less."""
    named = [condition.as_ for condition in rule.when[:place] if condition.as_]
    name = named[-1] if named else "name"
    return f'tie it to those before it, such as run: "{{{name}.run}}", or match fewer facts'


def _about(ways: int) -> str:
    return f"up to {ways:,}" if ways < 1e12 else f"up to 10 to the {log10(ways):.0f}th"
