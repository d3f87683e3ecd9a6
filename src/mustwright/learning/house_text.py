"""What a house has learned, in words: what each effect means, and what to make of it."""

from __future__ import annotations

import math
from typing import Any

from mustwright.kinetics.parameters import deviation, population
from mustwright.learning.house import GROUPS, House, HouseEffect, effects_of
from mustwright.texts import capital, say
from mustwright.unit_system import temperature_step
from mustwright.yeast.pitch import strains

# What more of an effect means to a maker.
MEANINGS = {
    "uptake_max": say("sugar taken up faster"),
    "growth_max": say("cells grow faster"),
    "lag": say("longer until it starts"),
    "ethanol_half": say("slowed less by alcohol"),
    "fermentable": say("more of the extract ferments"),
    "tolerance_factor": say("stands more alcohol than stated"),
    "uptake_temperature_zero": say("slowed more by cold"),
    "cell_n_min": say("needs more nitrogen"),
    "death_rate": say("cells die sooner"),
    "capacity_rate": say("responds to nitrogen sooner"),
    "capacity_min": say("keeps going better without nitrogen"),
    "ethanol_yield": say("more alcohol from the same sugar"),
    "sugar_osmotic": say("stands more sugar"),
    "ph_half": say("more sensitive to low pH"),
    "yan_error": say("more nitrogen in the must than worked out"),
    "pitch_error": say("more live yeast pitched than weighed"),
    "temperature_offset": say("must warmer than the thermometer says"),
    "fructose_share": say("more fructose in the honey"),
    "extract_error": say("more sugar in the must than read"),
    "pace": say("faster throughout"),
    "shape_a": say("faster than usual at the start"),
    "shape_b": say("faster than usual in the first third"),
    "shape_c": say("faster than usual in the middle"),
    "shape_d": say("faster than usual in the last third"),
    "shape_e": say("faster than usual at the end"),
    "ph_start": say("higher pH at pitch than worked out"),
    "buffer": say("more buffer in the must than worked out"),
    "potassium": say("more potassium in the must than worked out"),
    "potassium_loss": say("more sensitive to a lack of potassium"),
    "heat_death": say("cells die sooner when warm"),
    "lipids": say("yeast richer in lipids"),
    "oxygen": say("more air at pitch"),
    "osmotic_loss": say("slowed more by much sugar"),
    "unmodelled": say("stops for reasons the model does not cover"),
    "fed": say("more fed than recorded"),
}
GROUP_WORDS = {
    "yeast": say("yeast"),
    "honey": say("honey"),
    "cellar": say("cellar and instruments"),
}


def meaning_of(effect: str, medium: str) -> str:
    """What one standard deviation more of an effect means, with its size where it is a ratio."""
    words = MEANINGS[effect]
    who = population(medium)
    centre, spread, scale = who.of(effect)
    if scale == "log":
        return say(
            "{words}; 1 is a factor of {factor:.2f}",
            words=words,
            factor=math.exp(spread * deviation(effect, 1.0)),
        )
    if effect == "temperature_offset":
        return say(
            "{words}; 1 is {step}",
            words=words,
            step=temperature_step(spread),
        )
    del centre
    return say("{words}; 1 is the usual spread between fermentations", words=words)


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


def of_words(group: str, of: str) -> str:
    """The yeast or honey that an effect belongs to, in words."""
    if group == "yeast" and of in strains():
        return strains()[of].name.lower()
    batch = of.removeprefix("batch ")
    return of if batch == of else say("batch {batch}", batch=batch)


def effect_sentence(effect: HouseEffect, medium: str) -> str:
    """One effect in a line: what, how much, how sure."""
    words = MEANINGS[effect.name]
    size = abs(effect.mean)
    side = words if effect.mean > 0 else say("the other way round: not {words}", words=words)
    sure = say("Likely") if size > 1.645 * effect.sd else say("Perhaps")
    if effect.of:
        sure = say("{sure} ({of})", sure=sure, of=of_words(effect.group, effect.of))
    _, spread, scale = population(medium).of(effect.name)
    far = spread * deviation(effect.name, abs(effect.mean))
    if scale == "log":
        side = say("{side}, by a factor of {factor:.2f}", side=side, factor=math.exp(far))
    return say("{sure}: {side}.", sure=sure, side=side)


def telling_effects(house: House, most: int = 6) -> tuple[HouseEffect, ...]:
    """The effects that stand out most against what is not known of them, the clearest first."""
    found = [e for e in effects_of(house) if abs(e.mean) > 0.3 and abs(e.mean) > e.sd]
    return tuple(sorted(found, key=lambda e: -abs(e.mean) / max(e.sd, 1e-6))[:most])


def share_sentences(house: House) -> list[str]:
    """How much of what differs is the maker's own, by group."""
    lines: list[str] = []
    for group in GROUPS:
        share = house.share[group]
        lines.append(
            say(
                "{group}: about {share:.0%} of what differs.",
                group=capital(GROUP_WORDS[group]),
                share=share,
            )
        )
    return lines
