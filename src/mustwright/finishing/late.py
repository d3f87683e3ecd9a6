"""Fruit, juice or spice late: the sugar it brings, and what happens if yeast is still alive."""

from __future__ import annotations

from dataclasses import dataclass, field

from mustwright.constants import CO2_PER_HEXOSE_G_G, ETHANOL_G_L_PER_PCT_VOL, ETHANOL_YIELD_G_G
from mustwright.errors import InputError
from mustwright.figure import ARITHMETIC, FROM_MEMORY, Figure, typed
from mustwright.finishing.liquid import BALANCE, mead, of_ingredient
from mustwright.finishing.protection import Protection, is_protected
from mustwright.finishing.step import Addition, Recorded, cautions, within
from mustwright.finishing.sweeten import sugars_share
from mustwright.must.blend import INSOLUBLE_DENSITY_KG_L, fermentable_hexose
from mustwright.must.ingredient import Ingredient
from mustwright.texts import say

LITTLE_SUGAR_G_L = 2.0


@dataclass(frozen=True)
class LateAddition:
    """What late fruit or juice does to a mead, unfermented and fermented."""

    sugar_g: Figure
    sugar_g_l: Figure
    volume_l: Figure
    filled_l: Figure
    alcohol_now_pct: Figure
    alcohol_if_fermented_pct: Figure
    gravity_now: Figure
    co2_if_fermented_g_l: Figure
    potassium_mg_l: Figure
    wakes_yeast: bool
    recorded: Recorded = field(default_factory=Recorded)


def add_late(
    volume_l: float,
    gravity: float,
    alcohol_pct: float,
    ingredient: Ingredient,
    kg: float,
    protection: Protection,
) -> LateAddition:
    """What an ingredient brings to a finished mead.

    Parameters
    ----------
    volume_l : float
        Of the mead, above 0 [L].
    gravity : float
        Of the mead, apparent, 20/20 °C [-].
    alcohol_pct : float
        Of the mead, 0 to 25 [% vol].
    ingredient : Ingredient
        With its own sugars, water and fibre.
    kg : float
        As bought, 0 to 3 per litre of mead [kg].
    protection : Protection
        Why yeast would not wake; ``no`` is allowed here, as the maker may want it to ferment.

    Returns
    -------
    LateAddition

    Raises
    ------
    InputError, ImpossibleError
        If a value is out of range, the gravity is impossible with this alcohol, or the protection
        is not proven.

    Notes
    -----
    The liquid of the fruit mixes completely (in reality over days, and some stays in the pulp);
    fibre takes up room in the vessel at 1.35 kg/L (from memory).
    """
    within(kg, 0, 3 * volume_l, "amount", say("kilograms of it, up to 3 per litre,"))
    protected = protection.by != "no" and is_protected(protection, alcohol_pct)
    before = mead(volume_l, gravity, alcohol_pct)
    after = before + of_ingredient(ingredient, kg)
    given = {"kg": typed(kg, "kg"), "volume_l": typed(volume_l, "L")}
    sugar = Figure(
        1000 * kg * sugars_share(ingredient),
        "g",
        say("kg x sugars of its record"),
        ARITHMETIC,
        given,
    )
    volume = Figure(after.volume_l, "L", say("mass / density of the mixture"), BALANCE, given)
    per_l = Figure(
        sugar.value / volume.value, "g/L", say("sugar / volume"), ARITHMETIC, {"g": sugar}
    )
    hexose_g_l = 1000 * kg * fermentable_hexose(ingredient) / volume.value
    now = Figure(after.alcohol_pct, "% vol", say("ethanol / new volume"), BALANCE, given)
    then = Figure(
        now.value + hexose_g_l * ETHANOL_YIELD_G_G / ETHANOL_G_L_PER_PCT_VOL,
        "% vol",
        say("alcohol now + fermentable sugar x 0.47 / 7.8924"),
        ARITHMETIC,
        {"now": now, "fermentable_g_l": hexose_g_l},
    )
    gas = Figure(
        hexose_g_l * CO2_PER_HEXOSE_G_G, "g/L", say("fermentable sugar x 0.48857"), ARITHMETIC
    )
    mineral = ingredient.figures.get("potassium_mg_kg")
    potassium = Figure(
        (mineral.value if mineral else 0.0) * kg * ingredient.share_edible / volume.value,
        "mg/L",
        say("record x kg / volume"),
        ARITHMETIC,
        {"record": mineral} if mineral else {},
        None if not mineral or mineral.low is None else mineral.low * kg / volume.value,
        None if not mineral or mineral.high is None else mineral.high * kg / volume.value,
    )
    fibre = kg * ingredient.share("insoluble") / INSOLUBLE_DENSITY_KG_L
    filled = Figure(
        volume.value + fibre,
        "L",
        say("liquid + fibre / 1.35 kg/L"),
        FROM_MEMORY,
        {"liquid": volume},
    )
    density = Figure(after.gravity, "SG 20/20", say("density of the mixture"), BALANCE, given)
    wakes = per_l.value > LITTLE_SUGAR_G_L and not protected
    grams = Figure(1000 * kg, "g", say("as typed"), ARITHMETIC)
    recorded = Recorded(
        (
            Addition(
                ingredient.id,
                ingredient.name,
                grams,
                {"sugar_g_l": per_l, "potassium_mg_l": potassium},
            ),
        ),
        {"volume_l": volume, "alcohol_pct": now, "gravity": density},
        _steps(wakes, per_l.value),
        _notes(protection, wakes, now.value, then.value),
        cautions("pressure_glass", "poisonous_plant_parts", "allergens_named"),
    )
    return LateAddition(
        sugar, per_l, volume, filled, now, then, density, gas, potassium, wakes, recorded
    )


def _steps(wakes: bool, sugar_g_l: float) -> tuple[str, ...]:
    if wakes:
        return (
            say("Leave room for foam, fit an airlock: this is a new ferment, not an aroma step."),
            say(
                "Let the {sugar:.0f} g/L ferment, check that gravity is steady again, then rack.",
                sugar=sugar_g_l,
            ),
            say("To keep the sweetness instead, stabilise before it goes in."),
        )
    return (
        say("Hang it in a boiled bag and keep it under the surface. Taste every day or two."),
        say("Take it out before it turns bitter; rack, and check gravity for a week."),
    )


def _notes(protection: Protection, wakes: bool, now: float, then: float) -> tuple[str, ...]:
    notes = [say("Fruit carries wild yeast: sulfite it, or freeze and scald it first.")]
    if wakes:
        notes.insert(
            0,
            say(
                "Live yeast will ferment it: from {now:.1f} to about {then:.1f} % vol, with gas.",
                now=now,
                then=then,
            ),
        )
    if protection.by is None:
        notes.append(say("You did not say how the mead is protected, so live yeast is assumed."))
    return tuple(notes)


@dataclass(frozen=True)
class Spice:
    """A spice by grams per litre: no sugar worth counting, taste alone decides."""

    grams: Figure
    recorded: Recorded = field(default_factory=Recorded)


def spice(volume_l: float, grams_per_litre: float, name: str) -> Spice:
    """Weigh out a spice for the batch, in thirds.

    Parameters
    ----------
    volume_l : float
        Of the mead, above 0 [L].
    grams_per_litre : float
        Above 0, to 50 [g/L].
    name : str

    Returns
    -------
    Spice

    Raises
    ------
    InputError
        If the dose is out of its range.

    Notes
    -----
    Thirds: common practice, no source.
    """
    if not 0 < grams_per_litre <= 50:
        raise InputError("dose", say("needs grams per litre above 0, to 50"), grams_per_litre)
    grams = Figure(
        grams_per_litre * volume_l,
        "g",
        say("dose x volume"),
        ARITHMETIC,
        {"dose_g_l": typed(grams_per_litre, "g/L"), "volume_l": typed(volume_l, "L")},
    )
    third = grams.value / 3
    steps = (
        say(
            "Hang a third ({third:.1f} g) in it first, in a boiled bag. Taste daily; add the rest "
            "only if you want more.",
            third=third,
        ),
        say("Take the bag out a little before it is strong enough: the flavour grows with time."),
    )
    recorded = Recorded(
        (Addition(name, name, grams),),
        {},
        steps,
        (
            say(
                "A third at a time: common practice, no source. Spice carries germs: steep it in "
                "spirit or scald it."
            ),
        ),
        cautions("bench_first", "allergens_named"),
    )
    return Spice(grams, recorded)
