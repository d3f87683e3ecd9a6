"""What a house has learned, in words: what each effect means, and what to make of it."""

from __future__ import annotations

import math
from typing import Any

from mustwright.kinetics.parameters import population
from mustwright.learning.house import GROUPS, House, HouseEffect, effects_of
from mustwright.unit_system import temperature_step

# What more of an effect means to a maker.
MEANINGS = {
    "uptake_max": "sugar taken up faster",
    "growth_max": "cells grow faster",
    "lag": "longer until it starts",
    "ethanol_half": "slowed less by alcohol",
    "fermentable": "more of the extract ferments",
    "tolerance_factor": "stands more alcohol than stated",
    "uptake_temperature_zero": "slowed more by cold",
    "cell_n_min": "needs more nitrogen",
    "death_rate": "cells die sooner",
    "capacity_rate": "responds to nitrogen sooner",
    "capacity_min": "keeps going better without nitrogen",
    "ethanol_yield": "more alcohol from the same sugar",
    "sugar_osmotic": "stands more sugar",
    "ph_half": "more sensitive to low pH",
    "yan_error": "more nitrogen in the must than worked out",
    "pitch_error": "more live yeast pitched than weighed",
    "temperature_offset": "must warmer than the thermometer says",
    "fructose_share": "more fructose in the honey",
    "extract_error": "more sugar in the must than read",
    "pace": "faster throughout",
    "shape_a": "faster than usual at the start",
    "shape_b": "faster than usual in the first third",
    "shape_c": "faster than usual in the middle",
    "shape_d": "faster than usual in the last third",
    "shape_e": "faster than usual at the end",
    "ph_start": "higher pH at pitch than worked out",
    "buffer": "more buffer in the must than worked out",
    "potassium": "more potassium in the must than worked out",
    "potassium_loss": "more sensitive to a lack of potassium",
    "heat_death": "cells die sooner when warm",
    "lipids": "yeast richer in lipids",
    "oxygen": "more air at pitch",
    "osmotic_loss": "slowed more by much sugar",
    "unmodelled": "stops for reasons the model does not cover",
    "fed": "more fed than recorded",
}
GROUP_WORDS = {"yeast": "yeast", "honey": "honey", "cellar": "cellar and instruments"}


def meaning_of(effect: str, medium: str) -> str:
    """What one standard deviation more of an effect means, with its size where it is a ratio."""
    words = MEANINGS[effect]
    who = population(medium)
    centre, spread, scale = who.of(effect)
    if scale == "log":
        return f"{words}; 1 is a factor of {math.exp(spread):.2f}"
    if effect == "temperature_offset":
        return f"{words}; 1 is {temperature_step(spread)}"
    del centre
    return f"{words}; 1 is the usual spread between fermentations"


def effect_data(effect: HouseEffect, medium: str) -> dict[str, Any]:
    """One effect as plain data."""
    return {
        "name": effect.name,
        "group": effect.group,
        "of": effect.of,
        "medium": medium,
        "mean": round(effect.mean, 4),
        "sd": round(effect.sd, 4),
        "batches": effect.batches,
        "unit_meaning": meaning_of(effect.name, medium),
    }


def effect_sentence(effect: HouseEffect, medium: str) -> str:
    """One effect in a line: what, how much, how sure."""
    words = MEANINGS[effect.name]
    size = abs(effect.mean)
    side = words if effect.mean > 0 else f"the other way round: not {words}"
    sure = "likely" if size > 1.645 * effect.sd else "perhaps"
    kind = f" ({effect.of})" if effect.of else ""
    _, spread, scale = population(medium).of(effect.name)
    by = f", by a factor of {math.exp(abs(effect.mean) * spread):.2f}" if scale == "log" else ""
    return f"{sure.capitalize()}{kind}: {side}{by}."


def telling_effects(house: House, most: int = 6) -> tuple[HouseEffect, ...]:
    """The effects that stand out most against what is not known of them, the clearest first."""
    found = [e for e in effects_of(house) if abs(e.mean) > 0.3 and abs(e.mean) > e.sd]
    return tuple(sorted(found, key=lambda e: -abs(e.mean) / max(e.sd, 1e-6))[:most])


def share_sentences(house: House) -> list[str]:
    """How much of what differs is the maker's own, by group."""
    lines = []
    for group in GROUPS:
        share = house.share[group]
        lines.append(f"{GROUP_WORDS[group].capitalize()}: about {share:.0%} of what differs.")
    return lines
