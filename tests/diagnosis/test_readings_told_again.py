"""What a reading showed is news once, until work changes what can bring it about."""

from __future__ import annotations

import pytest

from tests.diagnosis.situations import ranked

OPEN = "coil-resistance@row-6=100ohm"


def told(*story: str) -> list[str]:
    """The readings of a case that tell something: what they showed, and which reading it was."""
    return [seen.name for seen in ranked("mounted-6", *story).evidence.readings]


def test_a_bad_reading_repeated_tells_nothing_more() -> None:
    assert told(OPEN) == ["coil-resistance:open@row-6/valve#1"]
    assert told(OPEN, OPEN) == told(OPEN)


@pytest.mark.parametrize(
    ("work", "again"), [("replace-coil@row-6=done", True), ("replace-coil@row-5=done", False)]
)
def test_a_bad_reading_is_news_again_after_work_on_what_it_reads(work: str, again: bool) -> None:
    found = told(OPEN, work, OPEN)
    assert ("coil-resistance:open@row-6/valve#2" in found) == again
