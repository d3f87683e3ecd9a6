"""What was typed over a plan's facts for a what-if, and how fields and sliders show them."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from mustwright.errors import InputError
from mustwright.must.gravity import brix_from_gravity, gravity_from_brix, sugar_g_l_from_brix
from mustwright.must.gravity_text import gravity_number, gravity_sign, gravity_text, with_scale
from mustwright.planning.kinetic_inputs import MODEL_RANGE
from mustwright.planning.what_if import FIELDS, Facts, Planned, extract_g_l
from mustwright.texts import say
from mustwright.unit_hints import with_unit
from mustwright.unit_system import degrees, degrees_number, temperature_unit
from mustwright.units import in_unit, parse_quantity, temperature_c

HIGHEST_BRIX = 42.0
MOST_NITROGEN_MG_L = MODEL_RANGE["fed_n_mg_l"][1]
WARMEST_C = 45.0
PITCH_G_L = MODEL_RANGE["pitch_g_l"]
ROUNDING = 1e-3  # of the ends as the page shows them


@dataclass(frozen=True)
class Slide:
    """Ends and step of a slider."""

    low: float
    high: float
    step: float


def read_facts(planned: Planned, typed: Mapping[str, str]) -> tuple[Facts, dict[str, InputError]]:
    """What was typed over the plan's facts (empty leaves one as it is), and what is wrong with it.

    A field that cannot be used keeps the plan's value beside its error.
    """
    readers: dict[str, Callable[[str, Planned], float]] = {
        "temperature": _temperature,
        "pitch": _pitch,
        "nitrogen": _nitrogen,
        "gravity": _gravity,
    }
    facts, errors = planned.facts, {}
    for name in FIELDS:
        text = typed.get(name, "").strip()
        if not text or text == shown_facts(planned.facts)[name]:
            continue
        try:
            facts = replace(facts, **{name: readers[name](text, planned)})
        except InputError as error:
            errors[name] = error
    return facts, errors


def shown_facts(facts: Facts) -> dict[str, str]:
    """Facts as their fields show them."""
    return {
        "temperature": degrees_number(facts.temperature),
        "pitch": f"{facts.pitch:.3g}",
        "nitrogen": f"{facts.nitrogen:.0f}",
        "gravity": str(gravity_number(facts.gravity)),
    }


def slides(facts: Facts) -> dict[str, Slide]:
    """Sliders that hold a plan's facts and what is worth trying around them."""
    pitch_step = 10.0 ** math.floor(math.log10(max(facts.pitch, 0.1)) - 1)
    return {
        "temperature": _warm_slide(facts.temperature),
        "pitch": Slide(pitch_step, round(facts.pitch * 4 / pitch_step) * pitch_step, pitch_step),
        "nitrogen": Slide(0.0, max(500.0, math.ceil(2 * facts.nitrogen / 50) * 50.0), 1.0),
        "gravity": _gravity_slide(facts.gravity),
    }


def _warm_slide(temperature_c: float) -> Slide:
    low = min(8.0, math.floor(temperature_c))
    if temperature_unit() == "F":
        return Slide(math.floor(in_unit(low, "F")), round(in_unit(36.0, "F")), 1.0)
    return Slide(low, 36.0, 0.5)


def _gravity_slide(gravity: float) -> Slide:
    low, high = min(1.03, gravity), max(1.15, gravity)
    if gravity_sign():
        return Slide(math.floor(brix_from_gravity(low)), math.ceil(brix_from_gravity(high)), 0.1)
    return Slide(low, high, 0.001)


def _number(text: str, field: str, requirement: str) -> float:
    quantity = parse_quantity(text.replace(",", "."), field)
    if quantity.dimension != "number":
        raise InputError(field, requirement, text)
    return quantity.value


def _temperature(text: str, _planned: Planned) -> float:
    typed = with_unit(text.replace(",", "."), "temperature")
    value = temperature_c(typed, "temperature")[0]
    if not 0 <= value <= WARMEST_C:
        raise InputError(
            "temperature",
            say(
                "needs {low} to {high}",
                low=degrees_number(0),
                high=degrees(WARMEST_C),
            ),
            text,
        )
    return value


def _pitch(text: str, planned: Planned) -> float:
    quantity = parse_quantity(text.replace(",", "."), "pitch")
    grams = {"number": 1.0, "mass": 1000.0}
    volume = planned.plan.must.volume_l.value
    low, high = PITCH_G_L[0] * volume, PITCH_G_L[1] * volume
    requirement = say("needs {low:.3g} to {high:.4g} g of dry yeast", low=low, high=high)
    if quantity.dimension not in grams:
        raise InputError("pitch", requirement, text)
    value = quantity.value * grams[quantity.dimension]
    if not (1 - ROUNDING) * low <= value <= (1 + ROUNDING) * high:
        raise InputError("pitch", requirement, text)
    return value


def _nitrogen(text: str, planned: Planned) -> float:
    requirement = say("needs 0 to {most:.0f} mg N per litre", most=MOST_NITROGEN_MG_L)
    value = _number(text, "nitrogen", requirement)
    if not 0 <= value <= MOST_NITROGEN_MG_L:
        raise InputError("nitrogen", requirement, text)
    if value > 0 and planned.facts.nitrogen <= 0:
        raise InputError(
            "nitrogen",
            say("needs a plan that feeds something; this one has no feed to enlarge"),
            text,
        )
    return value


def _gravity(text: str, planned: Planned) -> float:
    highest = float(gravity_from_brix(_highest_brix(planned)))
    requirement = say(
        "needs a gravity from {low} to {high}, or Brix such as '24 Bx'",
        low=gravity_text(1.005),
        high=gravity_text(highest),
    )
    quantity = parse_quantity(with_scale(text.replace(",", "."), "gravity"), "gravity")
    if quantity.unit in ("Brix", "Plato"):
        value = float(gravity_from_brix(quantity.value)) if quantity.value <= 80 else 9.0
    elif quantity.dimension in ("number", "gravity") and 0.9 < quantity.value < 2:
        value = quantity.value
    else:
        raise InputError("gravity", requirement, text)
    if not 1.005 <= value <= highest:
        raise InputError("gravity", requirement, text)
    return value


def _highest_brix(planned: Planned) -> float:
    """The model holds 450 g/L of sugar and 150 of other matter at most."""
    must = planned.must
    sugar, solids = (MODEL_RANGE[name][1] for name in ("sugar_g_l", "solids_g_l"))
    factor = min(sugar / must.sugar_g_l, solids / max(must.solids_g_l, 1e-9)) * 0.999
    most = factor * extract_g_l(planned.facts.gravity)
    brix = HIGHEST_BRIX
    while brix > 1 and float(sugar_g_l_from_brix(brix)) > most:
        brix -= 0.5
    return brix
