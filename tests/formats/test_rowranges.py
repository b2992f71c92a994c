"""Row numbers as people write them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnose.formats.rowranges import in_short, read_rows
from diagnose.formats.value_problem import Wrong


@given(st.sets(st.integers(1, 60), min_size=1))
def test_rows_survive_being_shortened_and_read(rows: set[int]) -> None:
    assert set(read_rows(in_short(rows), 60)) == rows


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("0", "rows from 1 to 12"),
        ("13", "rows from 1 to 12"),
        ("1-999999", "rows from 1 to 12"),
        ("5-1", "the lower row first"),
        ("1-3,3", "each row once"),
        ("1-", "row numbers such as 6 or 1-5"),
        ("", "row numbers such as 6 or 1-5"),
        ("²", "row numbers such as 6 or 1-5"),
    ],
)
def test_what_is_no_row_of_the_machine_is_refused(text: str, expected: str) -> None:
    with pytest.raises(Wrong) as caught:
        read_rows(text, 12)
    assert caught.value.expected == expected
