"""A drill travels as one line that holds no fault, and says when it is broken or stale."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnose.errors import InputError
from diagnose.observations.encoding import canonical, encode
from diagnose.training.game import begin
from diagnose.training.level import load_drills
from diagnose.training.share_code import CODE_LETTERS, MOST_SEEDS, DrillName, encode_drill, read
from tests.training.worlds import KNOWLEDGE

CODE = encode_drill(DrillName("mounted-6", 2, 41), KNOWLEDGE)


@pytest.mark.slow
@given(
    st.sampled_from(sorted(KNOWLEDGE.layouts)),
    st.integers(0, 4),
    st.integers(0, MOST_SEEDS - 1),
)
def test_what_is_written_is_read_back(machine: str, level: int, seed: int) -> None:
    """Whatever the drill."""
    named = DrillName(machine, level, seed)
    assert read(encode_drill(named, KNOWLEDGE), KNOWLEDGE) == named


def test_letters_that_are_mistaken_for_others_are_taken_as_meant() -> None:
    """Small letters, blanks, and O, I and L for 0 and 1."""
    sloppy = CODE.lower().replace("-", " ").replace("0", "o").replace("1", "l")
    assert read(sloppy, KNOWLEDGE) == read(CODE, KNOWLEDGE)


@pytest.mark.parametrize("place", [n for n, letter in enumerate(CODE) if letter != "-"])
def test_one_changed_letter_breaks_it(place: int) -> None:
    """Wherever it stands."""
    other = CODE_LETTERS[(CODE_LETTERS.index(CODE[place]) + 7) % 32]
    with pytest.raises(InputError, match="broken"):
        read(CODE[:place] + other + CODE[place + 1 :], KNOWLEDGE)


def test_a_code_of_other_knowledge_is_stale_not_broken() -> None:
    """A prior that has changed since would hide another fault under the same seed."""
    valve = KNOWLEDGE.parts["valve"]
    first = valve.modes[0].model_copy(update={"prior": 0.002})
    changed = valve.model_copy(update={"modes": (first, *valve.modes[1:])})
    other = replace(KNOWLEDGE, parts={**KNOWLEDGE.parts, "valve": changed})
    with pytest.raises(InputError, match="stale"):
        read(CODE, other)


def test_what_a_level_trains_makes_no_code_stale(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is drawn by it; what is drawn at a level does."""
    data = load_drills()
    for changes, stale in (({"trains": ()}, False), ({"sound": 0.25}, True)):
        levels = tuple(level.model_copy(update=changes) for level in data.levels)
        other = data.model_copy(update={"levels": levels})
        monkeypatch.setattr("diagnose.training.share_code.load_drills", lambda other=other: other)
        assert (encode_drill(DrillName("mounted-6", 2, 41), KNOWLEDGE) != CODE) == stale


def test_a_code_for_an_unknown_machine_asks_for_its_layout() -> None:
    """It is neither broken nor stale."""
    layouts = {name: path for name, path in KNOWLEDGE.layouts.items() if name != "mounted-6"}
    with pytest.raises(InputError, match="layout"):
        read(CODE, replace(KNOWLEDGE, layouts=layouts))


@pytest.mark.parametrize("text", ["", "ABC", "!" * 24, CODE + "A", "ü" * 24])
def test_what_is_no_code_is_refused(text: str) -> None:
    """With what would be one."""
    with pytest.raises(InputError, match="24 letters"):
        read(text, KNOWLEDGE)


def test_neighbouring_seeds_have_nothing_in_common() -> None:
    """So nothing of level, machine or seed can be read off the line."""
    other = encode_drill(DrillName("mounted-6", 2, 42), KNOWLEDGE)
    same = sum(a == b for a, b in zip(CODE, other, strict=True) if a != "-")
    assert same <= 5


def test_the_fault_is_not_in_the_code_nor_in_what_is_seen() -> None:
    """Two drills with one code line for each, and the story tells only results."""
    drill = begin(DrillName("mounted-6", 1, 3), KNOWLEDGE)
    [(part, mode)] = drill.revealed().faults
    stored = encode_drill(drill.named, KNOWLEDGE) + "".join(
        canonical(encode(e)) for e in drill.opening
    )
    assert part not in stored
    assert mode not in stored
    assert repr(begin(DrillName("mounted-6", 1, 3), KNOWLEDGE).named).find(mode) == -1


def test_the_same_name_hides_the_same_and_another_seed_another() -> None:
    """Over a few seeds."""
    hidden = [begin(DrillName("mounted-6", 1, seed), KNOWLEDGE).revealed() for seed in range(12)]
    again = [begin(DrillName("mounted-6", 1, seed), KNOWLEDGE).revealed() for seed in range(12)]
    assert hidden == again
    assert len({each.faults for each in hidden}) > 6
