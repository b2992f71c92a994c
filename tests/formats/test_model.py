"""From a document to a model: every problem at once, each with its line."""

from diagnose.formats.model import check_model
from diagnose.formats.strictyaml import read_text
from diagnose.knowledge.parts import PartKind

KIND = """\
id: plug
name: plug
says: A plug.
side: electric
reach: row
group: row
exercised_by: [response]
modes:
  - id: open
    name: open
    says: It is open.
    prior: 0.01
    source: judgement
    shows: {response: usually}
    remedy: reseat
remedies:
  - id: reseat
    does: Push it home.
    minutes: 5
    fixes: 0.9
    parts_price: none
    source: judgement
"""


def complaints(*changes: tuple[str, str]) -> list[str]:
    text = KIND
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    return [str(problem) for problem in check_model(read_text(text, "f"), PartKind)[1]]


def test_a_right_file_has_no_problems() -> None:
    kind, problems = check_model(read_text(KIND, "f"), PartKind)
    assert problems == []
    assert kind is not None
    assert kind.modes[0].shows == {"response": 0.8}


def test_a_missing_field_is_told_at_the_item_that_lacks_it() -> None:
    (complaint,) = complaints(("    prior: 0.01\n", ""))
    assert complaint == "f:9: expected the field 'prior' in modes, item 1, got nothing; add it"


def test_an_unknown_field_does_not_hide_other_problems() -> None:
    told = complaints(
        ("reach: row", "reach: row\ncolour: red"), ("remedy: reseat", "remedy: resat")
    )
    assert [line.split(": ")[0] for line in told] == ["f:6", "f:16"]
    assert "did you mean reseat?" in told[1]


def test_a_near_match_is_offered_for_a_field() -> None:
    (complaint,) = complaints(("    parts_price: none", "    parts_price: none\n    coution: hot"))
    assert complaint.startswith("f:22: ")
    assert complaint.endswith("got 'coution'; did you mean caution?")


def test_every_wrong_value_is_told_at_its_line() -> None:
    told = complaints(
        ("side: electric", "side: water"),
        ("prior: 0.01", "prior: 1.5"),
        ("usually", "often"),
        ("minutes: 5", 'minutes: "5"'),
    )
    assert [line.split(": ")[0] for line in told] == ["f:4", "f:12", "f:14", "f:19"]
    assert "expected a number less than 1 for modes, item 1, prior, got 1.5" in told[1]
    assert "a chance from 0 to 1, got 'often'" in told[2]


def test_names_that_lead_nowhere_are_told() -> None:
    told = complaints(("{response: usually}", "{bleed: usually}"))
    assert told[0].startswith("f:14: expected a check that exercises plug, got 'bleed'")


def test_unquoted_words_and_wrong_values_come_together() -> None:
    told = complaints(("name: open", "name: off"), ("fixes: 0.9", "fixes: maybe"))
    assert [line.split(": ")[0] for line in told] == ["f:10", "f:20"]


def test_a_part_kind_of_more_than_anybody_looks_through_is_refused() -> None:
    mode = KIND[KIND.index("  - id: open\n") : KIND.index("remedies:")]
    few = mode.replace("prior: 0.01", "prior: 0.001")
    modes = "".join(few.replace("id: open", f"id: open_{n}") for n in range(31))
    assert complaints((mode, modes)) == ["f:8: expected at most 30 modes, got 31; join those alike"]


METER = """measurements:
  - {id: ohms, kind: measure, says: Read it., tool: meter, minutes: 2, unit: ohm, nominal: NOMINAL,
     results: [{id: low, says: It is low., sees: {open: usually}, false_alarm: rarely}],
     source: judgement, safe_because: It is off.}
"""


def test_a_nominal_value_that_nature_forbids_is_refused() -> None:
    end = "    parts_price: none\n    source: judgement\n"
    assert complaints((end, end + METER.replace("NOMINAL", "8"))) == []
    [complaint] = complaints((end, end + METER.replace("NOMINAL", "-8")))
    assert "expected a resistance that is possible (from 0 to 1e+09 ohm), got -8 ohm" in complaint
