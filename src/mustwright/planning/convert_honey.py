"""What does a refractometer say of honey, and could a must of honey really read so low?"""

from __future__ import annotations

from mustwright.errors import ImpossibleError, InputError
from mustwright.figure import Figure, typed
from mustwright.must.gravity import sugar_g_l_from_brix
from mustwright.must.gravity_text import gravity_text
from mustwright.must.refraction import (
    RefractometerResult,
    honey_moisture_pct_from_refractive_index,
    refractive_index_from_brix,
)
from mustwright.texts import say

MOISTURE = "% water"
HONEY_BRIX = (70.0, 85.0)
# What yeast leaves of a honey's dissolved matter: of its sugars 88 to 98 % ferment, and some 4 % of
# it is no sugar (the records of honeys, White1962), so about 94 % at the very most.
MOST_OF_EXTRACT_USED = 0.96


def honey_index(reading: Figure, text: object) -> Figure:
    """Refractive index of the Brix that a honey refractometer shows.

    Raises
    ------
    InputError
        For a reading that is no honey, or on another scale.
    """
    low, high = HONEY_BRIX
    if reading.unit != "Brix" or not low <= reading.value <= high:
        raise InputError(
            "value",
            say(
                "needs what a honey refractometer shows: a refractive index such as "
                "'1.4915 nD', or {low:g} to {high:g} Brix",
                low=low,
                high=high,
            ),
            text,
        )
    return Figure(
        float(refractive_index_from_brix(reading.value)),
        "nD",
        say("spline of the sucrose table, carried on above 80 Brix"),
        "ICUMSA2000 SPS-3 (from memory)",
        {"Brix": reading},
    )


def moisture_figure(index: Figure, temperature_c: float) -> Figure:
    """Moisture of honey from its refractive index [% by mass]."""
    return Figure(
        float(honey_moisture_pct_from_refractive_index(index.value, temperature_c)),
        MOISTURE,
        "(-0.26810 - log10(n + 0.00023 (t - 20) - 1)) / 0.002243",
        "Wedmore1955 in AOAC 969.38B",
        {"n": index, "t": typed(temperature_c, "C")},
    )


def question_too_dry(seen: RefractometerResult, original: Figure, got: str) -> None:
    """Question a refractometer reading lower than a must of honey or fruit can give.

    Raises
    ------
    ImpossibleError
        When more would have to be gone than yeast can take.
    """
    dissolved_g = float(sugar_g_l_from_brix(original.value))
    used = seen.fermented.hexose_used_g / dissolved_g
    if used <= MOST_OF_EXTRACT_USED:
        return
    raise ImpossibleError(
        "value",
        say(
            "needs a higher reading: for this one {percent:.0f} % of all that was "
            "dissolved would be gone (gravity {gravity}), and honey and fruit "
            "leave more. Check the zero with water, the temperature, and the original",
            percent=100 * used,
            gravity=gravity_text(seen.fermented.gravity, 4),
        ),
        got,
    )
