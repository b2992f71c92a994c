"""What somebody finished is kept and shown by skill, and the next drill aims at the weakest."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from diagnose.store.casebook import open_casebook
from diagnose.training.record import Finished, Opportunity
from diagnose.training.score import finished
from diagnose.training.skills import SKILLS
from diagnose.ui.cli.root import rowfault
from tests.training.worlds import debriefed
from tests.ui.form import either, flag, listed, names, nothing, number, one_of, text, whole

SMALL = ("mounted-6", "--seed", "3")
CHANCE = either(number(0, 1), nothing)
PROGRESS = names(
    {
        "schema": one_of("rowfault/progress/1"),
        "who": text,
        "drills": listed(
            names(
                {
                    "id": text,
                    "at": text,
                    "code": text,
                    "machine": text,
                    "level": whole,
                    "marks": whole,
                    "minutes": number(),
                    "right": flag,
                }
            )
        ),
        "model": names(
            {
                "prior": listed(number(0, 1)),
                "fades": number(0, 1),
                "fewest": whole,
                "interval": number(0, 1),
            }
        ),
        "skills": listed(
            names(
                {
                    "skill": one_of(*SKILLS),
                    "says": text,
                    "taken": whole,
                    "of": whole,
                    "mean": CHANCE,
                    "low": CHANCE,
                    "high": CHANCE,
                }
            )
        ),
        "next": names({"level": whole, "name": text, "skill": either(text, nothing), "why": text}),
    }
)


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A casebook in a folder of the test's own, and Ann at the keys."""
    monkeypatch.setenv("ROWFAULT_HOME", str(tmp_path))
    monkeypatch.setenv("LOGNAME", "Ann")
    monkeypatch.delenv("ROWFAULT_CASEBOOK", raising=False)
    return tmp_path


def run(*arguments: str) -> Result:
    """The command."""
    return CliRunner().invoke(rowfault, ["drill", *arguments])


def answered(folder: Path, lines: list[str], *arguments: str) -> Result:
    """A drill that these lines answer."""
    path = folder / "answers.txt"
    path.write_text("\n".join(lines), encoding="utf-8")
    return run(*arguments, "--answers", str(path))


def kept(who: str = "Ann") -> list[Finished]:
    """What the casebook has of somebody."""
    with open_casebook() as casebook:
        return casebook.drills(who)


def noted(who: str = "Ann", **trials: tuple[int, int]) -> None:
    """Put a drill into the casebook in which skills (_ for -) were taken so often, of how often."""
    found = [
        Opportunity(skill.replace("_", "-"), move, move <= taken)
        for skill, (taken, of) in trials.items()
        for move in range(1, of + 1)
    ]
    with open_casebook() as casebook:
        casebook.keep_drill(Finished(who, "ABCD", "mounted-6", 1, 80, 93.5, True, tuple(found)))


def words(told: Result) -> str:
    """What was printed, without line breaks."""
    return " ".join(told.output.split())


@pytest.mark.slow
def test_a_drill_that_was_finished_is_kept_as_it_was_judged(home: Path) -> None:
    judged = debriefed("planner", 1, 3)
    lines = [move.id for move in judged.sitting.moves]
    told = answered(home, lines, *SMALL)
    [one] = kept()
    again = finished(judged, "Ann")
    assert (told.exit_code, one.marks, one.code, one.right) == (0, 100, again.code, again.right)
    assert one.opportunities == again.opportunities
    taken, of = judged.skills["prove"]
    assert (
        f"Kept in your record: patterns {'{} of {}'.format(*judged.skills['patterns'])}"
        in words(told)
    )
    assert f"prove {taken} of {of}" in words(told)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("lines", "many"), [(["give up"], 1), (["response 1-3", "quit"], 0), (["response 1-3"], 0)]
)
def test_a_drill_that_was_given_up_is_kept_and_one_that_was_left_is_not(
    home: Path, lines: list[str], many: int
) -> None:
    assert answered(home, lines, *SMALL).exit_code == 0
    assert [one.right for one in kept()] == [False] * many


@pytest.mark.slow
def test_the_same_drill_twice_is_kept_twice_and_a_players_never(home: Path) -> None:
    for _ in range(2):
        answered(home, ["give up"], *SMALL)
    run(*SMALL, "--play", "practice")
    one, other = kept()
    assert one.code == other.code
    assert one.id != other.id


@pytest.mark.slow
def test_everybody_has_a_record_of_their_own(home: Path) -> None:
    answered(home, ["give up"], *SMALL, "--who", "Ben")
    assert (len(kept("Ben")), kept("Ann")) == (1, [])
    noted("Ann", prove=(7, 9))
    shown = run("--progress", "--who", "Ben").output
    assert "Ben: 1 finished drill" in shown
    assert "Ann" not in shown
    assert "7 of 9" not in shown


def test_before_any_record_level_one_is_drilled(home: Path) -> None:
    told = words(answered(home, ["quit"]))
    assert "Level 1, because no finished drill is kept yet." in told
    assert "mounted-12, 12 rows. Level 1" in told


@pytest.mark.parametrize(
    ("skills", "level", "why"),
    [
        ({"circumstances": (1, 8)}, 3, "check circumstances first may be weakest, taken 1 of 8"),
        ({"shared_first": (0, 5)}, 2, "shared before single may be weakest, taken 0 of 5 times"),
        ({"patterns": (9, 9), "prove": (9, 9)}, 2, "shared before single has not come up yet"),
    ],
)
def test_the_next_drill_aims_at_what_may_be_weakest(
    home: Path, skills: dict[str, tuple[int, int]], level: int, why: str
) -> None:
    others = {skill.replace("-", "_"): (9, 9) for skill in SKILLS}
    noted(**({**others, **skills} if "patterns" not in skills else skills))
    told = words(answered(home, ["quit"]))
    assert f"Level {level}, because {why}" in told
    assert f"12 rows. Level {level}: " in told
    assert f"Next: level {level}," in run("--progress").output


@pytest.mark.parametrize("asked", [("mounted-6",), ("--seed", "3"), ("--level", "1")])
def test_what_was_asked_for_is_drilled_whatever_is_weakest(
    home: Path, asked: tuple[str, ...]
) -> None:
    noted(circumstances=(0, 8))
    told = words(answered(home, ["quit"], *asked))
    assert "rows. Level 1" in told
    assert "because" not in told


@pytest.mark.slow
def test_a_casebook_that_cannot_be_opened_takes_nothing_from_the_debriefing(home: Path) -> None:
    (home / "none").write_text("no casebook " * 100)
    url = f"sqlite:///{home / 'none'}"
    told = answered(home, ["give up"], *SMALL, "--casebook", url)
    assert told.exit_code == 1
    assert "marks of 100" in told.stdout
    assert "the same drill again" in told.stdout.lower()
    assert told.stdout.endswith("It could not be kept in your record.\n")
    assert "expected a casebook, got" in told.stderr
    aimed = answered(home, ["quit"], "--casebook", url)
    assert aimed.exit_code == 0
    assert "Your record cannot be read now, so this is level 1." in aimed.stdout


@pytest.mark.slow
def test_another_casebook_can_be_named(home: Path) -> None:
    url = f"sqlite:///{home / 'another.sqlite'}"
    answered(home, ["give up"], *SMALL, "--casebook", url)
    assert kept() == []
    shown = json.loads(run("--progress", "--casebook", url, "--json").output)
    assert len(shown["drills"]) == 1


def test_progress_says_what_came_up_and_what_that_means() -> None:
    noted(patterns=(23, 31), prove=(2, 2))
    shown = run("--progress").output
    lines = shown.splitlines()
    assert lines[0] == "Ann: 1 finished drill"
    at = lines.index("Read patterns: work where all that failed together has something in common.")
    assert lines[at + 1].startswith("  23 of 31")
    at = lines.index("Prove the repair: a full pass before anything is declared.")
    assert "2 of 2     not known yet" in lines[at + 1]
    assert "Jeffreys 1946" in shown
    assert "\u001b" not in shown


@pytest.mark.parametrize("taken", [0, 1, 60, 119, 120])
@pytest.mark.parametrize("encoding", ["utf-8", "ascii"])
def test_progress_fits_eighty_columns(taken: int, encoding: str) -> None:
    noted(**{skill.replace("-", "_"): (taken, 120) for skill in SKILLS})
    shown = CliRunner(charset=encoding).invoke(rowfault, ["drill", "--progress"])
    assert shown.exit_code == 0
    assert max(map(len, shown.output.splitlines())) <= 80
    assert shown.output.isascii() == (encoding == "ascii")


def test_progress_for_scripts_has_its_form_and_the_same_numbers() -> None:
    assert not list(PROGRESS(json.loads(run("--progress", "--json").output), "empty"))
    noted(patterns=(23, 31), prove=(2, 2))
    told = json.loads(run("--progress", "--json").output)
    assert not list(PROGRESS(told, "progress"))
    by_skill = {each["skill"]: each for each in told["skills"]}
    assert list(by_skill) == list(SKILLS)
    assert by_skill["prove"]["mean"] is None
    patterns = by_skill["patterns"]
    assert patterns["low"] < patterns["mean"] < patterns["high"]
    assert f"{100 * patterns['mean']:.0f} %" in run("--progress").output


@pytest.mark.parametrize(
    "arguments",
    [
        ("--progress", "mounted-6"),
        ("--progress", "--level", "2"),
        ("--progress", "--play", "planner"),
        ("--play", "planner", "--who", "Ben"),
        ("--play", "planner", "--casebook", "sqlite://"),
        ("--json", "--who", "Ben"),
    ],
)
def test_options_of_progress_that_do_not_go_together_are_refused(
    arguments: tuple[str, ...],
) -> None:
    assert run(*arguments).exit_code == 2
