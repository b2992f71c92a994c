"""Laws that every shipped part kind keeps, and the sources of its numbers."""

from itertools import chain

import pytest

from diagnose.formats.model import CHANCE_WORDS
from diagnose.knowledge.base import load_knowledge
from diagnose.knowledge.parts import Measurement, PartKind, Remedy

KINDS = load_knowledge().parts
OIL = [
    "remote",
    "coupler",
    "filter",
    "supply-hose",
    "return-line",
    "circuit-air",
    "section-hose",
    "manifold",
    "chain-hose",
    "section-air",
    "bleed-port",
    "row-hose",
    "valve",
    "cylinder",
    "row-air",
]
ELECTRIC = ["power-feed", "controller", "bus", "branch", "connector", "driver", "sensor"]
SHARED_BY_ALL = [kind for kind in KINDS.values() if kind.reach == "machine"]
SOURCES = ("judgement", "common practice", "MIL-HDBK-338B", "SAE J1939-73", "NUREG/CR-1278")


def acts(kind: PartKind) -> list[Remedy | Measurement]:
    return [*kind.remedies, *kind.measurements]


def share(kind: str, *modes: str) -> float:
    total = sum(mode.prior for mode in KINDS[kind].modes)
    return sum(KINDS[kind].mode(mode).prior for mode in modes) / total


def weight(kind: str) -> float:
    """All modes' prior against the row valve's."""
    return sum(mode.prior for mode in KINDS[kind].modes) / sum(
        m.prior for m in KINDS["valve"].modes
    )


def test_every_kind_of_both_sides_is_there() -> None:
    sides = {side: [k.id for k in KINDS.values() if k.side == side] for side in ("oil", "electric")}
    assert sorted(sides["oil"]) == sorted(OIL)
    assert sorted(sides["electric"]) == sorted(ELECTRIC)


@pytest.mark.parametrize("kind", KINDS.values(), ids=KINDS)
def test_each_mode_shows_in_a_check_by_one_of_the_five_words(kind: PartKind) -> None:
    for mode in kind.modes:
        assert set(mode.shows.values()) <= set(CHANCE_WORDS.values())
        assert any(mode.shows.values())


@pytest.mark.parametrize("kind", KINDS.values(), ids=KINDS)
def test_each_number_has_a_source(kind: PartKind) -> None:
    for item in chain(kind.modes, acts(kind)):
        assert any(source in item.source for source in SOURCES) or "same" in item.source


@pytest.mark.parametrize("kind", KINDS.values(), ids=KINDS)
def test_what_opens_oil_or_moves_rows_carries_a_caution(kind: PartKind) -> None:
    for act in acts(kind):
        opens_or_moves = {"pressure gone", "nobody near the row units"} & set(act.needs)
        touches = isinstance(act, Remedy) or act.tool in ("meter", "gauge")
        assert act.caution or not (opens_or_moves and touches)


@pytest.mark.parametrize("kind", KINDS.values(), ids=KINDS)
def test_every_leak_search_is_done_without_pressure_and_without_hands(kind: PartKind) -> None:
    for look in kind.measurements:
        if look.id == "look-leak":
            assert "pressure gone" in look.needs
            assert "never search for a leak with the hand" in (look.caution or "")


@pytest.mark.parametrize("kind", ELECTRIC)
def test_the_bleed_check_does_not_exercise_the_electric_side(kind: str) -> None:
    assert KINDS[kind].exercised_by == ("response",)


def test_coil_modes_show_in_the_response_check_only_and_spool_modes_in_both() -> None:
    valve = KINDS["valve"]
    assert set(valve.mode("coil_open").shows) == {"response"}
    assert set(valve.mode("stuck_closed").shows) == {"bleed", "response"}


def test_what_the_whole_machine_shares_keeps_inference_small() -> None:
    pairs = {
        tuple(mode.shows.get(check, 0.0) for check in ("bleed", "response"))
        for kind in SHARED_BY_ALL
        for mode in kind.modes
    }
    assert max(len(kind.modes) for kind in SHARED_BY_ALL) <= 3
    assert len(pairs) <= 6


# Ratios to a row valve's rate with the ranges that published sets leave open (judgement).
@pytest.mark.parametrize(
    ("kind", "low", "high"),
    [
        ("sensor", 0.4, 3.6),
        ("cylinder", 0.2, 1.1),
        ("controller", 0.2, 0.8),
        ("filter", 0.03, 0.2),
        ("row-hose", 0.01, 0.2),
        ("branch", 0.03, 0.3),
        ("connector", 0.008, 0.3),
    ],
)
def test_priors_keep_to_published_ratios(kind: str, low: float, high: float) -> None:
    assert low <= weight(kind) <= high


# Mode splits of MIL-HDBK-338B (from memory), which the priors round to four digits.
@pytest.mark.parametrize(
    ("kind", "modes", "fraction"),
    [
        ("filter", ("clogged",), 0.33),
        ("filter", ("leaking",), 0.67),
        ("cylinder", ("binding",), 0.27 + 0.15),
        ("cylinder", ("outside_leak",), 0.22),
        ("cylinder", ("seals_bypass",), 0.36),
        ("connector", ("open",), 0.61),
        ("connector", ("high_resistance", "intermittent"), 0.23),
        ("connector", ("shorted",), 0.16),
        ("valve", ("leaking",), 0.77 / 2),
        ("valve", ("stuck_closed",), 0.12 / 2),
        ("valve", ("stuck_open",), 0.11 / 2),
        ("bus", ("shorted",), 0.45),
        ("bus", ("broken",), 0.19),
        ("bus", ("noisy",), 0.36),
    ],
)
def test_modes_split_as_the_handbook_says(
    kind: str, modes: tuple[str, ...], fraction: float
) -> None:
    assert share(kind, *modes) == pytest.approx(fraction, abs=0.035)


def test_a_seating_error_has_its_own_chance() -> None:
    assert KINDS["coupler"].mode("unseated").prior == 0.003


def test_a_missing_id_is_a_key_error() -> None:
    with pytest.raises(KeyError):
        KINDS["valve"].mode("bored")
