"""A record behaves as a frozen dataclass does, but for what the type checker sees to."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import pytest

from diagnose.record import record


@dataclass(frozen=True)
class Written:
    """A frozen dataclass with all that ours use."""

    row: int
    parts: tuple[str, ...] = ()
    notes: list[str] = field(default_factory=list, repr=False, compare=False)


@record
class Shared:
    """The same as a record."""

    row: int
    parts: tuple[str, ...] = ()
    notes: list[str] = field(default_factory=list, repr=False, compare=False)


@record
class Lone:
    """One field alone."""

    row: int


SOME = [(4,), (4, ("valve",)), (5,), (4, (), ["stiff"])]


@pytest.mark.parametrize("one", SOME)
@pytest.mark.parametrize("other", SOME)
def test_records_are_equal_and_hash_as_frozen_dataclasses_do(one: tuple, other: tuple) -> None:
    equal = Written(*one) == Written(*other)
    assert (Shared(*one) == Shared(*other)) is equal
    assert (hash(Shared(*one)) == hash(Shared(*other))) is equal


@pytest.mark.parametrize("one", SOME)
def test_a_record_prints_as_a_frozen_dataclass_does(one: tuple) -> None:
    assert repr(Shared(*one)) == repr(Written(*one)).replace("Written", "Shared")


def test_records_of_other_kinds_are_others() -> None:
    assert Lone(4) != Shared(4)
    assert Lone(4) != 4
    assert len({Lone(4), Lone(4), Lone(5)}) == 2


def test_a_record_is_changed_in_a_copy() -> None:
    first = Shared(4, ("valve",))
    assert replace(first, row=5) == Shared(5, ("valve",))
    assert first.row == 4


def test_what_a_record_says_of_itself_stands() -> None:
    @record
    class Quiet:
        row: int

        def __repr__(self) -> str:
            return "quiet"

    assert repr(Quiet(4)) == "quiet"
