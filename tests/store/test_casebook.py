"""A casebook gives back what was told, in order, and finds it again."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from diagnose.errors import InputError, UnknownName
from diagnose.store.casebook import Casebook, open_casebook
from diagnose.store.entry import Wanted, entry_of
from diagnose.story.event import Concluded, Correction, Noted, new_case_id
from diagnose.story.replay import replay
from tests.store.stories import COIL, closed, later, opening

NASTY = ["a\0b", "<script>alert(1)</script>", "'; DROP TABLE case_event; --", "\x1b[31m", "\u202e"]


def cases(casebook: Casebook, **wanted: object) -> list[str]:
    return [entry.case for entry in casebook.entries(Wanted(**wanted))]  # type: ignore[arg-type]


@pytest.fixture
def two(casebook: Casebook) -> Casebook:
    """One case on a small machine that goes on, and one that was closed an hour later."""
    casebook.merge([opening(title="Größe der Öffnung")], closed())
    return casebook


def test_events_come_back_in_the_order_in_which_they_were_added(casebook: Casebook) -> None:
    first, *rest = closed()
    casebook.begin(first)
    casebook.add("20260301-closed", *rest[:2])
    casebook.add("20260301-closed", *rest[2:])
    assert casebook.events("20260301-closed") == (first, *rest)


def test_what_is_kept_is_there_when_it_is_opened_again(url: str) -> None:
    story = closed()
    with open_casebook(url) as casebook:
        casebook.merge(story)
    with open_casebook(url) as casebook:
        assert list(casebook.events("20260301-closed")) == story


def test_an_entry_says_what_the_replayed_events_say(two: Casebook) -> None:
    entries = {entry.case: entry for entry in two.entries()}
    assert entries == {case: entry_of(replay(two.events(case))) for case in entries}
    done = entries["20260301-closed"]
    assert (done.outcome, done.causes, done.rows_failed) == ("proven", (COIL,), (6,))
    assert done.minutes == 60


def test_a_correction_changes_the_entry(two: Casebook) -> None:
    events = two.events("20260301-closed")
    two.add("20260301-closed", later(Correction(event=events[-1].id), 61))
    assert [entry.outcome for entry in two.entries(Wanted(limit=1))] == ["open"]
    assert cases(two, text="through") == []


@pytest.mark.parametrize(
    ("wanted", "found"),
    [
        ({}, ["20260301-closed", "20260301-small"]),
        ({"open": True}, ["20260301-small"]),
        ({"open": False}, ["20260301-closed"]),
        ({"machine": "mounted-12"}, []),
        ({"cause": COIL}, ["20260301-closed"]),
        ({"cause": "coil_open"}, ["20260301-closed"]),
        ({"cause": "coil%"}, []),
        ({"since": date(2026, 3, 1)}, ["20260301-closed", "20260301-small"]),
        ({"since": date(2026, 3, 2)}, []),
        ({"limit": 1}, ["20260301-closed"]),
        ({"text": "CHAFED hose"}, ["20260301-closed"]),
        ({"text": "cleo"}, ["20260301-closed"]),
        ({"text": "coil_open"}, ["20260301-closed"]),
        ({"text": "mani"}, ["20260301-closed"]),
        ({"text": "mounted-6"}, ["20260301-closed", "20260301-small"]),
        ({"text": "grosse offnung"}, ["20260301-small"]),
        ({"text": "hose nowhere"}, []),
        ({"text": "-- ; '"}, []),
        ({"text": "hose", "open": True}, []),
    ],
    ids=str,
)
def test_a_list_shows_what_is_wanted(
    two: Casebook, wanted: dict[str, object], found: list[str]
) -> None:
    assert cases(two, **wanted) == found


@pytest.mark.parametrize("text", ['"', "*", "a AND", "NEAR(", "x'y", "a:*", "\\", "%", "é\0"])
def test_no_words_are_taken_for_the_language_of_searches(two: Casebook, text: str) -> None:
    assert cases(two, text=text + " zzz") == []


def test_a_case_is_named_by_a_beginning_that_only_it_has(two: Casebook) -> None:
    assert two.named("20260301-c") == "20260301-closed"
    assert two.named("last") == "20260301-closed"
    assert two.events("20260301-s")[0].who == "Ann"


def test_a_beginning_of_several_names_none(two: Casebook) -> None:
    with pytest.raises(InputError, match="20260301-closed, 20260301-small"):
        two.named("2026")


@pytest.mark.parametrize("name", ["20260301-smal1", "%", "_0260301-small"])
def test_an_unknown_case_is_told_with_near_ones(two: Casebook, name: str) -> None:
    with pytest.raises(UnknownName, match="case of the casebook"):
        two.events(name)
    with pytest.raises(UnknownName):
        two.add(name, later(Noted(text="x")))


def test_an_empty_casebook_has_no_last_case(casebook: Casebook) -> None:
    with pytest.raises(UnknownName):
        casebook.named("last")


def test_a_case_is_begun_once_and_by_its_opening(casebook: Casebook) -> None:
    first = opening()
    casebook.begin(first)
    casebook.begin(first)
    with pytest.raises(InputError, match="an id that is new"):
        casebook.begin(opening())
    with pytest.raises(InputError, match="the opening of a case"):
        casebook.begin(later(Noted(text="x")))


def test_what_is_there_is_not_added_again(two: Casebook) -> None:
    note = later(Noted(text="again"))
    for _ in range(2):
        two.add("20260301-small", note)
    assert len(two.events("20260301-small")) == 2


def test_one_id_is_one_event(two: Casebook) -> None:
    note = later(Noted(text="here"))
    two.add("20260301-small", note)
    other = note.model_copy(update={"what": Noted(text="there")})
    with pytest.raises(InputError, match="one event for an id"):
        two.add("20260301-small", later(Noted(text="not kept either")), other)
    with pytest.raises(InputError, match="one of case 20260301-small"):
        two.add("20260301-closed", note)
    assert len(two.events("20260301-small")) == 2


def test_a_story_taken_in_twice_adds_nothing(casebook: Casebook) -> None:
    story = closed()
    [first] = casebook.merge(story)
    [second] = casebook.merge([*story, *story])
    assert (first.new, first.added, second.new, second.added) == (True, 6, False, 0)
    assert list(casebook.events("last")) == story


def test_two_stories_of_one_case_become_one(casebook: Casebook) -> None:
    story, apart = closed(), later(Noted(text="seen by telephone"), 20)
    casebook.merge(story)
    [merged] = casebook.merge([story[0], apart, *story[1:3]])
    assert (merged.added, merged.known) == (1, 3)
    assert list(casebook.events("last")) == [*story, apart]


def test_of_several_stories_all_or_none_are_taken_in(casebook: Casebook) -> None:
    with pytest.raises(InputError, match="the machine mounted-6"):
        casebook.merge(closed(), [opening(machine="mounted-6")], [opening(machine="mounted-12")])
    assert casebook.entries() == []


@given(st.text(min_size=1, max_size=200) | st.sampled_from(NASTY))
@settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
def test_any_text_is_kept_as_it_is(casebook: Casebook, text: str) -> None:
    case = new_case_id("mounted-6")
    ended = Concluded(outcome="given-up", causes=(), says=text)
    story = [opening(case, title=text), later(Noted(text=text), who=text), later(ended)]
    casebook.begin(story[0])
    casebook.add(case, *story[1:])
    assert list(casebook.events(case)) == story


def test_two_casebooks_see_each_others_events(url: str) -> None:
    with open_casebook(url) as mine, open_casebook(url) as yours:
        mine.begin(opening())
        yours.add("20260301-small", later(Noted(text="mine saw it")))
        mine.add("20260301-small", later(Noted(text="yours too")))
        assert len(yours.events("20260301-small")) == len(mine.events("20260301-small")) == 3
