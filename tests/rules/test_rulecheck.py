"""Rules that cannot work are refused, with place and reason."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose.errors import FileProblems
from diagnose.formats.strictyaml import read_text
from diagnose.knowledge.base import load_knowledge
from diagnose.paths import shipped
from diagnose.rules.check import problems_of
from diagnose.rules.loading import load_rules, rule_paths
from diagnose.rules.names import Names
from diagnose.rules.reading import problems_between, read_rules
from diagnose.rules.rulefile import rule_of
from tests.rules.worlds import THEN, rule_file, rule_text

RUN = "  - {{fact: run, as: r, where: {{{tests}}}}}"


def complaints(text: str, source: str = "sample.yaml") -> list[str]:
    """Everything that is wrong with one rule, form and sense."""
    file, problems = rule_of(read_text(text, source))
    return list(map(str, [*problems, *(problems_of(file, NAMES) if file else [])]))


NAMES = Names(load_knowledge())

BAD_FORM = {
    "a condition that is neither": (
        rule_text(when="  - {as: r}"),
        "sample.yaml:6: expected either fact: or none: in a condition, got neither",
    ),
    "a name for what must not be there": (
        rule_text(when="  - {fact: run, as: r}\n  - {none: run, as: q}"),
        "sample.yaml:7: expected no name for what must not be there, got as: q; leave it out",
    ),
    "an unknown operator": (
        rule_text(when=RUN.format(tests="failed: {more: 3}")),
        "sample.yaml:6: expected one of equals, not, one_of, above, at_least, at_most, below, "
        "got 'more'",
    ),
    "one_of with one value": (
        rule_text(when=RUN.format(tests="failed: {one_of: [3]}")),
        "sample.yaml:6: expected a list of at least two values for one_of, got [3]",
    ),
    "an unknown field of the file": (
        rule_text().replace("why:", "reason: x\nwhy:"),
        "sample.yaml:9: expected one of the fields id, group, says, when, then, why, wrong_when, "
        "source, status, fires, near_miss, got 'reason'; leave it out",
    ),
    "an example that expects nothing": (
        rule_text().replace("mounted-6, says: x", "mounted-6"),
        "sample.yaml:13: expected says: or values: that the case must come to, got neither",
    ),
    "fields out of order": (
        rule_text().replace("why: because\nwrong_when: never", "wrong_when: never\nwhy: because"),
        "sample.yaml:9: expected why: here, got wrong_when:; keep the order id, group, says, when, "
        "then, why, wrong_when, source, status, fires, near_miss",
    ),
}

BAD_SENSE = {
    "an unknown kind of fact": (
        {"when": "  - {fact: rum, as: r}"},
        "sample.yaml:6: expected a kind of fact, got 'rum'; did you mean run?",
    ),
    "an unknown field": (
        {"when": RUN.format(tests="faild: 3")},
        "sample.yaml:6: expected a field of run, got 'faild'; did you mean failed?",
    ),
    "a text against a number": (
        {"when": RUN.format(tests="failed: many")},
        "sample.yaml:6: expected a whole number, got 'many'",
    ),
    "an order on text": (
        {"when": RUN.format(tests="check: {above: bleed}")},
        "sample.yaml:6: expected a number on both sides of an order, got above on run.check, which "
        "is text",
    ),
    "free text where an identifier belongs": (
        {"when": RUN.format(tests="check: the bleed")},
        "sample.yaml:6: expected an identifier, got 'the bleed'",
    ),
    "a choice that does not exist": (
        {"when": RUN.format(tests="full: yep")},
        "sample.yaml:6: expected one of the choices, got 'yep'; did you mean yes?",
    ),
    "a check that does not exist": (
        {"when": RUN.format(tests="check: bled")},
        "sample.yaml:6: expected a known check, got 'bled'; did you mean bleed?",
    ),
    "two facts compared across types": (
        {
            "when": "  - {fact: run, as: r}\n"
            + RUN.format(tests='run: "{r.failed}"').replace("as: r", "as: q")
        },
        "sample.yaml:7: expected something of type run, got r.failed, a count",
    ),
    "a name that nothing binds": (
        {"when": RUN.format(tests='failed: "{q.failed}"')},
        "sample.yaml:6: expected a name bound by an earlier fact, got 'q'; bind one with as:",
    ),
    "an unbound name in the sentence": (
        {"says": '"{row.row} failed"'},
        "sample.yaml:4: expected a name bound by an earlier fact, got 'row'; "
        "names bound before it: r",
    ),
    "an unknown form in the sentence": (
        {"says": '"{r.failed:pressur}"'},
        "sample.yaml:4: expected a form, got 'pressur'; did you mean pressure?",
    ),
    "a stray brace in the sentence": (
        {"says": '"{r.failed} and {"'},
        "sample.yaml:4: expected braces only around {name.field}, got '{r.failed} and {'",
    ),
    "below 3 and above 5": (
        {"when": RUN.format(tests="failed: {below: 3, above: 5}")},
        "sample.yaml:6: expected tests on failed that some value passes, got none can; the rule "
        "never fires",
    ),
    "a whole number between 3 and 4": (
        {"when": RUN.format(tests="failed: {above: 3, below: 4}")},
        "sample.yaml:6: expected tests on failed that some value passes, got none can; the rule "
        "never fires",
    ),
    "nothing that must be there": (
        {
            "when": "  - {none: run}",
            "then": "  - {finding: pattern, values: {run: 1, check: bleed}}",
        },
        "sample.yaml:5: expected at least one fact that must be there, got only none:",
    ),
    "a finding that is made later": (
        {
            "when": "  - {fact: advice, as: r}",
            "then": "  - {finding: pattern, values: {run: 1, check: bleed}}",
        },
        "sample.yaml:6: expected only findings of groups before patterns, got advice, which "
        "is made in advice; the rule never fires",
    ),
    "a finding of another group": (
        {"then": "  - {finding: advice}"},
        "sample.yaml:8: expected findings that patterns may make, got advice in patterns; it may "
        "make: pattern",
    ),
    "an unknown finding": (
        {"then": "  - {finding: patern}"},
        "sample.yaml:8: expected a kind of finding, got 'patern'; did you mean pattern?",
    ),
    "a conclusion that lacks a value": (
        {"then": '  - {finding: pattern, values: {run: "{r.run}"}}'},
        "sample.yaml:8: expected check: in pattern, got nothing",
    ),
    "a conclusion of the wrong type": (
        {"then": '  - {finding: pattern, values: {run: "{r.check}", check: "{r.check}"}}'},
        "sample.yaml:8: expected something of type run, got r.check, a check",
    ),
    "a number made from a sentence": (
        {"then": '  - {finding: pattern, values: {run: "run {r.run}", check: bleed}}'},
        "sample.yaml:8: expected a number or {name.field} alone, got 'run {r.run}'",
    ),
    "a count below 0": (
        {"when": RUN.format(tests="failed: {below: 0}")},
        "sample.yaml:6: expected tests on failed that some value passes, got none can; the rule "
        "never fires",
    ),
    "a negative count": (
        {"when": RUN.format(tests="failed: -3")},
        "sample.yaml:6: expected a whole number, 0 or more, got -3",
    ),
    "no number between two, as fine as the rules tell numbers apart": (
        {"when": "  - {fact: pressure, as: r, where: {bar: {above: 5, below: 5.0001}}}"},
        "sample.yaml:6: expected tests on bar that some value passes, got none can; the rule "
        "never fires",
    ),
    "a pressure of the oil": (
        {"when": "  - {fact: pressure, as: r, where: {circumstance: oil}}"},
        "sample.yaml:6: expected a circumstance of pressure, got 'oil'; known: supply",
    ),
    "an engine that is fitted": (
        {"when": "  - {fact: setting, as: r, where: {circumstance: engine, choice: fitted}}"},
        "sample.yaml:6: expected a choice of engine, got 'fitted'; known: off, on",
    ),
    "a fault code as ohms": (
        {"when": "  - {fact: measured, as: r, where: {measurement: valve-code, unit: ohm}}"},
        "sample.yaml:6: expected a unit of valve-code, got 'ohm'; known: code",
    ),
    "a mode of another part kind": (
        {
            "group": "context",
            "when": "  - {fact: history, as: r}",
            "then": "  - {finding: prior, values: {part_kind: bus, mode: coil_open, factor: 2}}",
        },
        "sample.yaml:8: expected a mode of bus, got 'coil_open'; known: any, broken, noisy, "
        "shorted",
    ),
    "a factor that is not above 0": (
        {
            "group": "context",
            "when": "  - {fact: history, as: r}",
            "then": "  - {finding: prior, values: {part_kind: bus, factor: 0}}",
        },
        "sample.yaml:8: expected a number above 0, got 0",
    ),
    "a state of what was matched": (
        {
            "group": "circumstances",
            "when": "  - {fact: pressure, as: r}",
            "then": '  - {finding: state, values: {run: "{r.run}", check: "{r.check}", '
            'circumstance: "{r.circumstance}", state: cold}}',
        },
        "sample.yaml:8: expected a state of supply, got 'cold'; known: enough, high, low",
    ),
    "a part that no machine has": (
        {"when": "  - {fact: measured, as: r, where: {part: row-6/valv}}"},
        "sample.yaml:6: expected a known part, got 'row-6/valv'; did you mean row-6/valve or "
        "row-46/valve or row-36/valve?",
    ),
    "a result of another measurement": (
        {
            "group": "measurements",
            "when": "  - {fact: measured, as: r, where: {measurement: coil-resistance}}",
            "then": '  - {finding: reading, values: {nth: "{r.nth}", part: "{r.part}", '
            'measurement: "{r.measurement}", result: erratic}}',
        },
        "sample.yaml:8: expected a result of coil-resistance, got 'erratic'; known: good, low, "
        "open",
    ),
    "a name used twice": (
        {"when": "  - {fact: run, as: r}\n  - {fact: run, as: r}"},
        "sample.yaml:7: expected each name once, got a second r",
    ),
}


@pytest.mark.parametrize(("text", "message"), BAD_FORM.values(), ids=BAD_FORM.keys())
def test_a_rule_of_bad_form_is_refused_with_place_and_remedy(text: str, message: str):
    assert message in complaints(text)


@pytest.mark.parametrize(("fields", "message"), BAD_SENSE.values(), ids=BAD_SENSE.keys())
def test_a_rule_that_makes_no_sense_is_refused_with_place_and_remedy(fields, message: str):
    assert message in complaints(rule_text(**fields))


MANY = {
    "findings": (THEN + "\n" + "\n".join([THEN] * 12), "then", "at most 12 findings, got 13"),
    "letters": ("said " * 300, "says", "at most 1,000 letters, got 1,499"),
    "values": (
        RUN.format(tests=f"run: {{one_of: {list(range(201))}}}"),
        "when",
        "at most 200 values, got 201",
    ),
}


@pytest.mark.parametrize(("text", "field", "message"), MANY.values(), ids=MANY.keys())
def test_what_a_rule_has_too_much_of_is_refused(text: str, field: str, message: str):
    [complaint] = complaints(rule_text(**{field: text}))
    assert complaint.endswith(f"expected {message}; write less")


def test_more_examples_than_anybody_tries_are_refused():
    text = rule_text().replace("near_miss:\n", "near_miss:\n" + "  - {machine: mounted-6}\n" * 50)
    assert complaints(text) == ["sample.yaml:14: expected at most 50 examples, got 51; write less"]


def test_a_sound_rule_is_not_refused():
    assert complaints(rule_text()) == []


def test_all_that_is_wrong_with_a_rule_is_told_at_once():
    bad = rule_text(when="  - {fact: rum, as: r}", says='"{q.row}"', then="  - {finding: patern}")
    assert len(complaints(bad)) == 3


def test_the_file_must_carry_the_name_and_group_of_its_rule():
    told = complaints(rule_text(), "rules/advice/other.yaml")
    assert told == [
        "rules/advice/other.yaml:2: expected the file's name, other, got sample; "
        "rename one of the two",
        "rules/advice/other.yaml:3: expected the folder's name, advice, got patterns; "
        "move the file or change the group",
    ]


def between(*texts: str) -> list[str]:
    files = [rule_file(text, f"{number}.yaml") for number, text in enumerate(texts, start=1)]
    return list(map(str, problems_between(files)))


def test_two_rules_with_one_id_are_refused():
    assert between(rule_text(), rule_text()) == [
        "2.yaml:2: expected each rule id once, got a second sample; the first is 1.yaml:2; "
        "give one another id"
    ]


def advice_on(rule: str) -> str:
    when = f"  - {{fact: pattern, as: r, where: {{rule: {rule}}}}}"
    return rule_text(id="late", group="advice", when=when, then="  - {finding: advice}")


def test_a_finding_that_no_rule_makes_is_refused_with_a_near_match():
    assert between(rule_text(id="whole-section"), advice_on("whole-sektion")) == [
        "2.yaml:6: expected a finding that some rule of an earlier group makes, got pattern "
        "(rule equals whole-sektion); did you mean whole-section?"
    ]


def test_a_finding_that_an_earlier_rule_makes_is_accepted():
    assert between(rule_text(id="whole-section"), advice_on("whole-section")) == []


def test_findings_that_wait_for_each_other_in_a_circle_are_refused():
    reading = "  - {finding: reading, values: {nth: 1, part: a, measurement: b, result: good}}"
    prior = "  - {finding: prior, values: {part_kind: valve, factor: 2}}"
    one = rule_text(id="one", group="context", when="  - {fact: reading, as: r}", then=prior)
    two = rule_text(id="two", group="measurements", when="  - {fact: prior, as: r}", then=reading)
    circle = "expected findings that do not wait in a circle, got prior → reading → prior"
    assert between(one, two)[:2] == [f"1.yaml:5: {circle}", f"2.yaml:5: {circle}"]


def test_every_problem_of_every_file_is_reported_in_order(tmp_path: Path):
    for name, text in (("b", rule_text(id="b", says='"{q.x}"')), ("a", "rows: [")):
        (tmp_path / f"{name}.yaml").write_text(text, encoding="utf-8")
    with pytest.raises(FileProblems) as caught:
        read_rules(sorted(tmp_path.iterdir()))
    assert [Path(one.where.source).name for one in caught.value.problems] == ["a.yaml", "b.yaml"]


def test_a_users_own_rule_is_added_to_the_shipped_ones(tmp_path: Path):
    folder = tmp_path / "rules" / "patterns"
    folder.mkdir(parents=True)
    (folder / "sample.yaml").write_text(rule_text(then=THEN), encoding="utf-8")
    mine = load_rules(tmp_path)
    assert set(mine.by_id) - set(load_rules().by_id) == {"sample"}


PIECES = ["{", "]", "run", "{r.run}", '"{r.run}"', "1e5", "none", "off", "null", "12:30", ":", "\n"]


@settings(max_examples=200, deadline=None)
@given(
    st.sampled_from(rule_paths(shipped().rules)),
    st.lists(st.tuples(st.floats(0, 1), st.integers(0, 9), st.sampled_from(PIECES)), max_size=3),
)
def test_a_mangled_rule_is_refused_or_sound_and_never_crashes(path: Path, cuts):
    text = path.read_text(encoding="utf-8")
    for share, length, piece in cuts:
        place = int(share * len(text))
        text = text[:place] + piece + text[place + length :]
    with suppress(FileProblems):
        assert all(": expected " in one for one in complaints(text, "mangled"))
