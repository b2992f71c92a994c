"""The casebook gives back what was put in, finds it, and keeps cases apart; on both databases."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from diagnose.errors import CaseClosed, InputError, Overtaken, UnknownName
from diagnose.observations.entries import (
    Concluded,
    Correction,
    Event,
    HandedOver,
    Noted,
    Opened,
    Reopened,
    What,
    new_event,
)
from diagnose.observations.events import Remedied, Run
from diagnose.store.casebook import Casebook, open_casebook
from diagnose.store.entry import Wanted

START = datetime(2026, 3, 1, 8, 0, tzinfo=UTC)


def opening(name: str = "a", machine: str = "mounted-6", day: int = 0) -> Event:
    at = START + timedelta(days=day)
    return new_event(
        Opened(case=f"20260301-{name}", machine=machine, title=f"case {name}"), "Ann", at
    )


def later(what: What, minutes: float = 5, who: str = "Ben") -> Event:
    return new_event(what, who, START + timedelta(minutes=minutes))


RUN = Run.of("response", "PPPPPF", {"oil": 54.0})
END = Concluded(outcome="proven", causes=("row-6/valve:coil_open",), says="the coil was broken")


def begun(casebook: Casebook, name: str = "a", *whats: What) -> str:
    first = opening(name)
    casebook.begin(first)
    casebook.add(f"20260301-{name}", *(later(what, 5 + n) for n, what in enumerate(whats)))
    return f"20260301-{name}"


def names(casebook: Casebook, wanted: Wanted) -> list[str]:
    return sorted(entry.case.removeprefix("20260301-") for entry in casebook.entries(wanted))


@pytest.mark.slow
def test_events_come_back_as_they_were_told_and_in_order(casebook: Casebook) -> None:
    story = [opening(), later(RUN), later(Noted("ünder the “hood” 🚜 <b>")), later(END)]
    casebook.begin(story[0])
    casebook.add("20260301-a", *story[1:2])
    casebook.add("20260301-a", *story[2:])
    assert list(casebook.events("20260301-a")) == story


def test_a_casebook_that_is_opened_again_has_everything(url: str) -> None:
    with open_casebook(url) as first:
        case = begun(first, "a", RUN)
        before = first.events(case)
    with open_casebook(url) as again:
        assert again.events(case) == before


def test_the_list_shows_what_a_case_came_to(casebook: Casebook) -> None:
    begun(casebook, "a", RUN, END)
    (entry,) = casebook.entries()
    assert (entry.machine, entry.title, entry.outcome) == ("mounted-6", "case a", "proven")
    assert (entry.causes, entry.rows_failed) == (("row-6/valve:coil_open",), (6,))
    assert (entry.opened, entry.minutes) == (START, 6.0)


def test_a_reopened_case_is_open_in_the_list_too(casebook: Casebook) -> None:
    case = begun(casebook, "a", END)
    casebook.add(case, later(Reopened(reason="it failed again"), who="Cleo"))
    (entry,) = casebook.entries()
    assert (entry.outcome, entry.causes, entry.owner) == ("open", (), "Cleo")


@pytest.mark.parametrize("what", [RUN, Correction(event=32 * "0"), END], ids=lambda what: what.kind)
def test_a_closed_case_takes_nothing_but_a_note(casebook: Casebook, what: What) -> None:
    case = begun(casebook, "a", END)
    before = casebook.events(case)
    with pytest.raises(CaseClosed, match=f"rowfault cases reopen {case} --reason WHY"):
        casebook.add(case, later(what))
    note = later(Noted("it failed again"))
    casebook.add(case, note)
    assert casebook.events(case) == (*before, note)


def test_an_open_case_is_not_reopened(casebook: Casebook) -> None:
    case = begun(casebook, "a", RUN)
    with pytest.raises(InputError, match="expected a closed case, got one that is open"):
        casebook.add(case, later(Reopened(reason="it failed again")))


def test_what_is_overtaken_is_not_kept_and_what_came_in_between_is_told(
    casebook: Casebook,
) -> None:
    case = begun(casebook, "a")
    seen = casebook.events(case)[-1].id
    quicker, slower = later(RUN, who="Ann"), later(RUN, who="Ben")
    casebook.add(case, quicker, seen=seen)
    with pytest.raises(Overtaken, match="1 thing from Ann") as caught:
        casebook.add(case, slower, seen=seen)
    assert caught.value.between == (quicker,)
    casebook.add(case, slower, seen=quicker.id)
    casebook.add(case, slower, seen=seen)  # it is there: said again after a lost connection
    assert list(casebook.events(case))[1:] == [quicker, slower]


def test_a_case_that_was_handed_over_goes_on_with_somebody(casebook: Casebook) -> None:
    begun(casebook, "a", HandedOver(to="Cleo", why="it is late"))
    begun(casebook, "b", Concluded(outcome="handed-over", says="it is late"))
    entries = {entry.case: (entry.outcome, entry.owner) for entry in casebook.entries()}
    assert entries == {"20260301-a": ("open", "Cleo"), "20260301-b": ("open", "")}


@pytest.mark.slow
@pytest.mark.parametrize(
    ("wanted", "found"),
    [
        (Wanted(), ["a", "b", "c"]),
        (Wanted(open=True), ["b", "c"]),
        (Wanted(open=False), ["a"]),
        (Wanted(machine="folding-24"), ["c"]),
        (Wanted(cause="coil_open"), ["a"]),
        (Wanted(cause="coil%open"), []),
        (Wanted(since=date(2026, 3, 2)), ["c"]),
        (Wanted(text="coil broken"), ["a"]),
        (Wanted(text="CHAF"), ["b"]),
        (Wanted(text="ben"), ["a", "b"]),
        (Wanted(text="row-6/valve"), ["a"]),
        (Wanted(text="no such words"), []),
        (Wanted(text="' OR 1=1; DROP TABLE cases --"), []),
        (Wanted(text='"*'), []),
        (Wanted(text="case", open=True, limit=1), ["b"]),
    ],
    ids=str,
)
def test_cases_are_found_by_what_is_wanted(
    casebook: Casebook, wanted: Wanted, found: list[str]
) -> None:
    casebook.begin(opening("c", "folding-24", day=1))
    begun(casebook, "a", RUN, Remedied("replace-coil", "row-6/valve"), END)
    begun(casebook, "b", Noted("Hose chafed"))
    if wanted.limit:
        casebook.add("20260301-b", later(Noted("again"), minutes=3000))
    assert names(casebook, wanted) == found


def test_the_latest_comes_first(casebook: Casebook) -> None:
    begun(casebook, "a", RUN)
    begun(casebook, "b")
    assert [entry.case for entry in casebook.entries()] == ["20260301-a", "20260301-b"]


def test_the_last_case_is_the_last_that_this_person_worked(casebook: Casebook) -> None:
    begun(casebook, "a", RUN)
    begun(casebook, "b")
    casebook.add("20260301-b", later(Noted("from elsewhere"), minutes=60, who="Cleo"))
    found = [casebook.find("last", who) for who in ("Ben", "Cleo")]
    assert found == ["20260301-a", "20260301-b"]
    with pytest.raises(InputError, match="a case that Dan worked on, got none yet; name one: "):
        casebook.find("last", "Dan")


def test_the_unique_beginning_of_an_id_is_enough(casebook: Casebook) -> None:
    begun(casebook, "spring")
    begun(casebook, "autumn")
    assert casebook.find("20260301-s") == "20260301-spring"
    with pytest.raises(InputError, match="expected one case, got 2026"):
        casebook.find("2026")
    with pytest.raises(UnknownName, match="did you mean 20260301-spring"):
        casebook.find("20260301-sprung")


def test_an_event_that_is_there_already_changes_nothing(casebook: Casebook) -> None:
    case = begun(casebook, "a", RUN)
    before = casebook.events(case)
    casebook.add(case, *before)
    assert casebook.merge(before) == 0
    assert casebook.events(case) == before


def test_merging_adds_only_what_is_new_and_each_thing_once(casebook: Casebook) -> None:
    case = begun(casebook, "a", RUN)
    before = list(casebook.events(case))
    fresh = later(Noted("from elsewhere"), 1)
    assert casebook.merge([*before, fresh, fresh]) == 1
    assert list(casebook.events(case)) == [*before, fresh]


@pytest.mark.parametrize("name", ["a", "b"])
def test_cases_are_kept_apart(casebook: Casebook, name: str) -> None:
    case = begun(casebook, "a", RUN)
    with pytest.raises(InputError):
        casebook.begin(opening("a"))
    with pytest.raises(InputError):
        casebook.merge([opening("a")])
    with pytest.raises(InputError, match="expected one opening"):
        casebook.add(case, opening("a"))
    stranger = casebook.events(case)[1]
    with pytest.raises(InputError, match="events of its own"):
        casebook.merge([opening("z"), stranger])
    assert names(casebook, Wanted()) == ["a"]
    with pytest.raises(UnknownName):
        casebook.add("20260301-nowhere", later(RUN))
    with pytest.raises(UnknownName):
        casebook.events("20260301-nowhere")


def test_a_refused_merge_leaves_nothing_behind(casebook: Casebook) -> None:
    case = begun(casebook, "a", RUN)
    with pytest.raises(InputError):
        casebook.merge([opening("z"), casebook.events(case)[1]])
    with pytest.raises(UnknownName):
        casebook.events("20260301-z")
