"""Figures of oil and copper against published ones."""

import pytest

from diagnose.rules.readingfacts import WIRE_OHMS, contact_ohms, copper_ohms, thickness, viscosity


@pytest.mark.parametrize(
    ("at_40", "at_100", "celsius", "published"),
    [(32, 5.4, 80, 8.5), (68, 8.6, 60, 28.65), (30, 5.81, 60, 15.27)],
    ids=["worked page at 80 °C", "open library, VG 68", "open library, VG 30"],
)
def test_viscosity_follows_astm_d341(at_40, at_100, celsius, published):
    assert viscosity(celsius, at_40, at_100) == pytest.approx(published, rel=0.01)


def test_oil_near_freezing_is_about_nineteen_times_as_thick_as_at_49():
    assert thickness(0) == pytest.approx(584.9 / 31.30, rel=0.02)


@pytest.mark.parametrize(
    ("celsius", "ohms"), [(-20, 6.742), (0, 7.371), (20, 8.0), (40, 8.629), (80, 9.886)]
)
def test_copper_resistance_rises_with_temperature(celsius, ohms):
    """The 8 ohm coil of the check values, from R20 (1 + 0.00393 (T - 20))."""
    assert copper_ohms(8.0, celsius) == pytest.approx(ohms, abs=0.001)


@pytest.mark.parametrize("contact", [0.5, 2.0])
def test_a_bad_contact_is_told_from_the_volts_that_it_leaves_the_coil(contact):
    """12 V, an 8 ohm coil, 40 ft of 18-gauge wire at 6.385 ohm per 1000 ft, by Ohm's law."""
    wire = 40 * 6.385 / 1000
    sound, bad = (12 * 8 / (8 + wire + extra) for extra in (0, contact))
    assert wire == pytest.approx(WIRE_OHMS, abs=0.001)
    assert contact_ohms(bad, sound, 8.0) == pytest.approx(contact, rel=0.001)
