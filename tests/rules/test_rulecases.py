"""A rule's own cases are tried: it must fire where it says, and keep silent on near misses."""

from __future__ import annotations

from pathlib import Path

import pytest

from diagnose.errors import FileProblems
from diagnose.rules.cases import case_problems
from diagnose.rules.loading import rules_of
from diagnose.rules.reading import read_beside
from tests.rules.worlds import rule_file, rule_text

FIRED = "machine: mounted-6, says: x"
MISSED = "  - {machine: mounted-6}"


def problems(fires: str, near_miss: str = "{machine: mounted-6}") -> list[str]:
    """What is wrong with the cases of a rule that fires on every run and says "said"."""
    text = rule_text().replace(f"{{{FIRED}}}", fires).replace(MISSED, f"  - {near_miss}")
    file = rule_file(text)
    return list(map(str, case_problems([file], rules_of([file]))))


RUN = "machine: mounted-6, typed: response=PPPPPF"


def test_a_case_that_fires_as_it_says_is_no_problem() -> None:
    assert problems(f"{{{RUN}, says: said, values: {{check: response}}}}") == []


@pytest.mark.parametrize(
    ("fires", "message"),
    [
        ("{machine: mounted-6, says: said}", "the rule to fire here, got silence"),
        (f"{{{RUN}, says: x}}", "the rule to say 'x', got 'said'"),
        (f"{{{RUN}, values: {{run: 2}}}}", "the rule to conclude {'run': 2}, got pattern {'run'"),
        ("{machine: mounted6, says: x}", "a machine, got 'mounted6' (machine); did you mean mount"),
        (
            "{machine: mounted-6, typed: bleed=P, says: x}",
            "6 letters, one for each row of the machine, got 1 (bleed=P)",
        ),
        ('{machine: mounted-6, typed: "\'", says: x}', "a case that can be judged, got No clos"),
    ],
)
def test_a_case_that_does_not_fire_as_it_says_is_told_with_its_line(
    fires: str, message: str
) -> None:
    [told] = problems(fires)
    assert told.startswith(f"sample.yaml:13: expected {message}")


def test_a_near_miss_that_fires_is_told() -> None:
    told = problems(f"{{{RUN}, says: said}}", f"{{{RUN}}}")
    assert told == ["sample.yaml:15: expected the rule to keep silent here, got 'said'"]


def test_a_folder_without_rules_is_refused(tmp_path: Path) -> None:
    with pytest.raises(FileProblems, match="expected a rule, in a file"):
        read_beside(tmp_path)


def test_a_rule_of_a_folder_may_wait_for_what_a_shipped_rule_finds(tmp_path: Path) -> None:
    when = "  - {fact: state, as: r, where: {state: cold}}"
    text = rule_text(when=when, group="advice", then="  - {finding: advice}")
    (tmp_path / "sample.yaml").write_text(text, encoding="utf-8")
    files, rules = read_beside(tmp_path)
    assert [file.rule.id for file in files] == ["sample"]
    assert len(rules.rules) > 100
