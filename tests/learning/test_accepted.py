"""An accepted set of priors is a strict file, written whole, and put aside rather than lost."""

import os
from datetime import UTC, datetime
from pathlib import Path

import pytest

from diagnose.api import plan, rank
from diagnose.errors import FileProblems, InputError, Unavailable
from diagnose.knowledge.base import Knowledge, load_knowledge
from diagnose.learning.update import Lesson, accept, forget
from diagnose.machine.graph import load_machine
from diagnose.observations.typed import read_typed
from diagnose.paths import Folders
from diagnose.reports.plan import plan_report
from diagnose.reports.ranking import ranking_report
from tests.learning.fleets import KNOWN, Closed, lesson, moved

AT = datetime(2026, 3, 1, 9, 30, tzinfo=UTC)
COILS = [Closed("mounted-12", ("row-6/valve:coil_open",))] * 20
CYLINDERS = [Closed("folding-24", (f"row-{n}/cylinder:binding",)) for n in range(1, 25)]
SOUND = [Closed("mounted-12")] * 20
HEAD = (
    "schema: rowfault/priors/1\nid: mine\naccepted: '2026-03-01T09:30:00+00:00'\n"
    "by: A. Helper\ncases: 3\n"
)


FAILED = ["response=PPPFPPPPPPPP", "oil=54C", "engine=on"]


def accepted(folder: Path, cases: list[Closed]) -> Lesson:
    found = lesson(cases)
    accept(found, KNOWN.parts, Folders(folder).priors, "A. Helper", AT)
    return found


def prior(known: Knowledge, kind: str, mode: str, frame: str = "") -> float:
    return known.parts_of(frame)[kind].mode(mode).prior


def test_an_accepted_set_is_what_ranks_from_then_on(tmp_path: Path) -> None:
    found = accepted(tmp_path, COILS)
    known = load_knowledge(tmp_path)
    learned = moved(found, "valve", "coil_open").after.mean
    assert prior(known, "valve", "coil_open") == pytest.approx(learned, rel=1e-5)
    assert known.priors.startswith("learned-20260301-")


def test_rankings_and_plans_say_which_priors_they_used(tmp_path: Path) -> None:
    accepted(tmp_path, COILS)
    for known, name in ((KNOWN, "shipped"), (load_knowledge(tmp_path),) * 2):
        machine = load_machine("mounted-12", known)
        case = read_typed(machine, ["response=PPPFPPPPPPPP", "oil=54C", "engine=on"], known)
        used = name if isinstance(name, str) else name.priors
        assert ranking_report(rank(machine, case, known), 0)["priors"] == used
        assert plan_report(plan(machine, case, depth=0, knowledge=known))["priors"] == used


def test_learned_priors_put_another_cause_on_top(tmp_path: Path) -> None:
    accepted(tmp_path, COILS)
    tops = []
    for known in (KNOWN, load_knowledge(tmp_path)):
        machine = load_machine("mounted-12", known)
        case = read_typed(machine, ["bleed=PPPPPPPPPPPP", *FAILED], known)
        tops.append(rank(machine, case, known).causes[0].id)
    assert tops == ["row-4/valve:coil_shorted", "row-4/valve:coil_open"]


def test_a_frame_that_differs_has_priors_of_its_own(tmp_path: Path) -> None:
    accepted(tmp_path, CYLINDERS + SOUND)
    known = load_knowledge(tmp_path)
    machines = [load_machine(name, known) for name in ("folding-16", "mounted-6")]
    folding, mounted = (m.parts["row-1/cylinder"].mode("binding").prior for m in machines)
    assert folding > 3 * mounted
    assert prior(known, "cylinder", "binding", "folding") == folding


def test_the_same_cases_give_the_same_set_whatever_their_order(tmp_path: Path) -> None:
    (tmp_path / "other").mkdir()
    accepted(tmp_path, COILS + CYLINDERS)
    accepted(tmp_path / "other", CYLINDERS + COILS)
    texts = [Folders(root).priors.read_text("utf-8") for root in (tmp_path, tmp_path / "other")]
    assert texts[0] == texts[1]


def test_learning_again_starts_from_the_shipped_priors(tmp_path: Path) -> None:
    accepted(tmp_path, COILS)
    again = load_knowledge(tmp_path, learned=False)
    assert again.parts == KNOWN.parts
    assert again.priors == "shipped"


def test_the_set_before_is_kept_aside(tmp_path: Path) -> None:
    accepted(tmp_path, COILS)
    first = Folders(tmp_path).priors.read_text("utf-8")
    accepted(tmp_path, COILS + SOUND)
    assert (tmp_path / "priors-1.yaml").read_text("utf-8") == first


def test_forgetting_goes_back_to_the_shipped_priors_and_loses_nothing(tmp_path: Path) -> None:
    accepted(tmp_path, COILS)
    text = Folders(tmp_path).priors.read_text("utf-8")
    aside = forget(Folders(tmp_path).priors)
    assert aside is not None
    assert aside.read_text("utf-8") == text
    assert load_knowledge(tmp_path).parts == KNOWN.parts
    assert forget(Folders(tmp_path).priors) is None


def test_nothing_can_be_accepted_from_no_cases(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="expected closed cases to learn from, got none"):
        accepted(tmp_path, [])
    assert list(tmp_path.iterdir()) == []


def test_priors_that_cannot_be_are_refused_and_nothing_is_written(tmp_path: Path) -> None:
    every = tuple(f"row-{row}/valve:coil_open" for row in range(1, 13))
    with pytest.raises(FileProblems, match="priors of valve that add up"):
        accepted(tmp_path, [Closed("mounted-12", every)] * 500)
    assert list(tmp_path.iterdir()) == []


def test_a_disk_that_is_full_leaves_what_was_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    accepted(tmp_path, COILS)
    before = Folders(tmp_path).priors.read_text("utf-8")
    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(Unavailable, match="got no space left on device"):
        accepted(tmp_path, COILS + SOUND)
    assert [path.name for path in tmp_path.iterdir()] == ["priors.yaml"]
    assert Folders(tmp_path).priors.read_text("utf-8") == before


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("parts:\n  valv: {coil_open: 0.1}\n", "yaml:7: expected a part kind, got 'valv'; did"),
        ("parts:\n  valve: {melted: 0.1}\n", "yaml:7: expected a mode of valve, got 'melted'"),
        ("parts:\n  valve: {coil_open: 0}\n", "yaml:7: expected a number greater than 0"),
        ("parts:\n  valve: {coil_open: 0.6}\n", "yaml:7: expected priors of valve that add up"),
        ("parts: {}\nframes:\n  folding:\n    sensr: {drifted: 0.1}\n", "yaml:9: expected a part"),
        ("parts: {}\nid: shipped\n", "a second 'id'"),
        ("parts: {}\nnotes: none\n", "yaml:7: expected one of the fields"),
    ],
)
def test_a_set_with_a_mistake_is_refused_with_its_line(
    tmp_path: Path, text: str, said: str
) -> None:
    Folders(tmp_path).priors.write_text(HEAD + text, "utf-8")
    with pytest.raises(FileProblems) as caught:
        load_knowledge(tmp_path)
    assert said in str(caught.value)


def test_all_mistakes_of_a_set_are_told_at_once(tmp_path: Path) -> None:
    text = HEAD.replace("cases: 3", "cases: none").replace("+00:00", "")
    text += "parts:\n  valv: {coil_open: 0.1}\n  valve: {melted: 2}\n"
    Folders(tmp_path).priors.write_text(text, "utf-8")
    with pytest.raises(FileProblems) as caught:
        load_knowledge(tmp_path)
    lines = {problem.where.line for problem in caught.value.problems}
    assert lines == {3, 5, 7, 8}


def test_no_set_may_call_itself_shipped(tmp_path: Path) -> None:
    text = HEAD.replace("id: mine", "id: shipped") + "parts: {}\n"
    Folders(tmp_path).priors.write_text(text, "utf-8")
    with pytest.raises(FileProblems, match="2: expected an id other than shipped"):
        load_knowledge(tmp_path)


def test_a_set_that_was_replaced_is_read_anew(tmp_path: Path) -> None:
    for value in (0.01, 0.025):
        text = HEAD + f"parts:\n  valve: {{coil_open: {value}}}\n"
        Folders(tmp_path).priors.write_text(text, "utf-8")
        assert prior(load_knowledge(tmp_path), "valve", "coil_open") == value
