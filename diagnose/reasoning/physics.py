"""What oil and copper do: the figures that turn a reading into evidence."""

from __future__ import annotations

import math

REFERENCE_CELSIUS = 49.0
"""Both checks want oil at least this warm (120 °F); common practice, no source."""

COPPER_PER_KELVIN = 0.00393
"""Rise of the resistance of annealed copper per kelvin, referred to 20 °C (NBS Handbook 100)."""

WIRE_OHMS = 0.255
"""Both ways of 20 ft of 18-gauge copper: 40 ft at 6.385 ohm for 1000 ft (ASTM B258 tables)."""

_KELVIN = 273.15
_VG46_VI100 = (46.0, 6.76)
"""Kinematic viscosity in mm²/s at 40 and at 100 °C of ISO VG 46 oil with viscosity index 100
(ISO 3448 for the first, ASTM D2270 solved for the second)."""


def viscosity(
    celsius: float, at_40: float = _VG46_VI100[0], at_100: float = _VG46_VI100[1]
) -> float:
    """Kinematic viscosity in mm²/s from its values at 40 and 100 °C, by the law of ASTM D341.

    Log-log of (viscosity + 0.7) is a straight line over the log of absolute temperature.
    Valid above the cloud point; real oil below 0 °C is thicker still.

    >>> round(viscosity(80, 32, 5.4), 1)
    8.5
    """
    high, low = _loglog(at_40), _loglog(at_100)
    warm, hot = math.log10(40 + _KELVIN), math.log10(100 + _KELVIN)
    slope = (high - low) / (warm - hot)
    level = high + slope * (math.log10(celsius + _KELVIN) - warm)
    return float(10**10**level) - 0.7


def _loglog(viscosity: float) -> float:
    return math.log10(math.log10(viscosity + 0.7))


def thickness(celsius: float) -> float:
    """How many times as thick VG 46 oil is at this temperature as at 49 °C.

    >>> round(thickness(49), 2), round(thickness(20), 1)
    (1.0, 4.3)
    """
    return viscosity(celsius) / viscosity(REFERENCE_CELSIUS)


def copper_ohms(at_20: float, celsius: float) -> float:
    """Resistance of a copper winding at a temperature, from its resistance at 20 °C.

    >>> round(copper_ohms(8.0, 80), 3)
    9.886
    """
    return at_20 * (1 + COPPER_PER_KELVIN * (celsius - 20))


def contact_ohms(volts: float, expected: float, coil_ohms: float) -> float:
    """Resistance in ohm of the one bad contact that would leave ``volts`` of what is expected.

    Coil, wire and contact are in line, so the current and with it every voltage behind the
    contact falls as the resistance of the whole rises (Ohm's law).

    >>> round(contact_ohms(10.96, 11.63, 8.0), 1)
    0.5
    """
    return (coil_ohms + WIRE_OHMS) * (expected / volts - 1)
