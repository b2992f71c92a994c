"""Typed quantities: published values, and what is refused."""

from contextlib import suppress
from math import isclose

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnose.formats.units import read_quantity, shown_quantity
from diagnose.formats.value_problem import Wrong

# Exact by definition: 1 in = 25.4 mm, 1 lb = 0.45359237 kg, g = 9.80665 m/s², 0 °C = 273.15 K.
# The figures are those of NIST SP 811, Appendix B (pound-force per square inch to pascal).
PUBLISHED = [
    ("1psi", "pressure", 0.0689475729317),
    ("14.503773773psi", "pressure", 1.0),
    ("1000psi", "pressure", 68.948),
    ("3000psi", "pressure", 206.84),
    ("1MPa", "pressure", 10.0),
    ("100kPa", "pressure", 1.0),
    ("120F", "temperature", 48.8889),
    ("32F", "temperature", 0.0),
    ("-40F", "temperature", -40.0),
    ("273.15K", "temperature", 0.0),
    ("7.4ohm", "resistance", 7.4),
    ("1.2kohm", "resistance", 1200.0),
    ("10900mV", "voltage", 10.9),
    ("90s", "time", 1.5),
    ("48 °C", "temperature", 48.0),
    ("8Ω", "resistance", 8.0),
]

CHECK = "check the number and its unit"
REFUSED = [
    ("118", "temperature", "write 118C or 118F or 118K"),
    ("900", "pressure", "write 900bar or 900psi or 900kPa"),
    ("900pis", "pressure", "did you mean psi?"),
    ("54R", "temperature", "known: C, F, K"),
    ("-300C", "temperature", CHECK),
    ("-1K", "temperature", CHECK),
    ("-2bar", "pressure", CHECK),
    ("-1ohm", "resistance", CHECK),
    ("warm", "temperature", ""),
    ("", "pressure", ""),
    ("nan", "voltage", ""),
    ("٣C", "temperature", ""),
]


@pytest.mark.parametrize(("text", "kind", "value"), PUBLISHED)
def test_quantities_have_their_published_values(text: str, kind: str, value: float) -> None:
    assert isclose(read_quantity(text, kind), value, rel_tol=2e-5, abs_tol=1e-9)


@pytest.mark.parametrize(("text", "kind", "remedy"), REFUSED)
def test_what_is_no_quantity_is_refused(text: str, kind: str, remedy: str) -> None:
    with pytest.raises(Wrong) as caught:
        read_quantity(text, kind)
    assert caught.value.remedy == remedy


@given(st.floats(-60, 200))
def test_a_temperature_is_the_same_in_both_systems(celsius: float) -> None:
    fahrenheit = f"{celsius * 9 / 5 + 32:.6f}F"
    assert isclose(read_quantity(fahrenheit, "temperature"), celsius, abs_tol=1e-6)


@given(st.text(max_size=12), st.sampled_from(["temperature", "pressure", "resistance"]))
def test_any_text_is_read_or_refused(text: str, kind: str) -> None:
    with suppress(Wrong):
        assert isinstance(read_quantity(text, kind), float)


def test_an_open_circuit_is_shown_as_such() -> None:
    assert shown_quantity(read_quantity("OL", "resistance"), "resistance").startswith("open")
