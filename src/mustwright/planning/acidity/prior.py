"""Which musts may be behind a sheet: its acid members, from its ingredients or a stand-in."""

from __future__ import annotations

from dataclasses import dataclass, replace

from mustwright.constants import NITROGEN_G_MOL
from mustwright.must.acidity.calibrate import calibrate, reading_sd
from mustwright.must.acidity.course import Traits, draw_traits
from mustwright.must.acidity.members import MustMembers, draw_must
from mustwright.must.blend import PRIMARY, Blend, Portion
from mustwright.must.ingredient import all_ingredients
from mustwright.planning.must_setup import Ground
from mustwright.texts import say

OVERSAMPLED = 8  # drawn for each member kept, so that enough come near a reading
OVERSAMPLED_QUICK = 4  # in a forecast, where the time counts
HONEY_BRIX = 82.75
UNKNOWN = say(
    "The ingredients are not known, so honey and tap water of this gravity are "
    "assumed, with up to three times less or more acid. Measure pH and acid for "
    "a better answer."
)

WATER = say(
    "You did not say how hard the water is, so both soft and hard water are "
    "allowed for. Its alkalinity (as CaCO3) or hardness, published by the "
    "supplier, narrows the pH of a must that was not measured."
)


@dataclass(frozen=True)
class AcidMust:
    """Acid members of a sheet's must, their traits, and what to say about them.

    Parameters
    ----------
    ph : float or None
        The measured pH they were set onto.
    is_stand_in : bool
        Whether nothing was known of the ingredients.
    """

    must: MustMembers
    traits: Traits
    ph: float | None
    notes: tuple[str, ...]
    is_stand_in: bool = False


def portions_of(ground: Ground) -> tuple[list[Portion], bool]:
    """What goes in before the yeast, and whether a stand-in had to be taken."""
    lines = zip(ground.sheet.portions, ground.must.ingredients, strict=True)
    portions = [replace(p, kg=line.kg.value) for p, line in lines if p.stage == PRIMARY]
    if portions:
        return portions, False
    known = all_ingredients()
    share = max(ground.must.brix.value, 0.1) / HONEY_BRIX
    honey = Portion(known["honey_generic"], share, PRIMARY, "honey")
    water = Portion(known["tap_water"], max(1 - share, 0.01), PRIMARY, "water")
    return [honey, water], True


def water_question(ground: Ground) -> tuple[str, ...]:
    """Asks for the hardness of the water where nobody told it and the pH was not measured."""
    usual = all_ingredients()["tap_water"].figures.get("alkalinity_meq_kg")
    waters = [p for p in portions_of(ground)[0] if p.ingredient.form == "water"]
    if ground.sheet.measured.ph is not None or not any(
        p.ingredient.figures.get("alkalinity_meq_kg") == usual for p in waters
    ):
        return ()
    return (WATER,)


def draw_members(
    ground: Ground, members: int, seed: int, oversampled: int = OVERSAMPLED
) -> MustMembers:
    """Members before any reading, several times as many as will be kept."""
    portions, unknown = portions_of(ground)
    blend, figures = Blend(portions), ground.must
    must = draw_must(
        portions,
        blend.volume_l,
        figures.sugar_g_l.value,
        ground.sheet.temperature_c,
        oversampled * members,
        seed,
        strength=figures.sugar_g_l.value / blend.sugar_g_l if blend.sugar_g_l > 1 else 1.0,
        unknown_make=unknown,
    )
    if ground.sheet.measured.yan_mg_l is None:
        return must
    credit, totals = ground.setting.credit, must.rows.totals.copy()
    for kind, figure in (("ammonium", credit.ammonium_mg_l), ("amino", credit.amino_mg_l)):
        column = must.rows.chemistry.index(kind)
        totals[:, column] = figure.value / (1000 * NITROGEN_G_MOL) / must.solvent_kg_l
    return replace(must, rows=replace(must.rows, totals=totals))


def acid_must(
    ground: Ground,
    members: int,
    seed: int,
    ph: float | None = None,
    *,
    is_read_later: bool = False,
) -> AcidMust | None:
    """Members set onto a measured pH (the sheet's own unless given).

    None where neither the ingredients nor the pH are known, and none was read later either: nothing
    honest can be said then.
    """
    measured = ground.sheet.measured.ph if ph is None else ph
    unknown = portions_of(ground)[1]
    if unknown and measured is None and not is_read_later:
        return None
    drawn = draw_members(ground, members, seed, OVERSAMPLED_QUICK)
    done = calibrate(drawn, seed, ph=measured, ph_sd=reading_sd("meter"), members=members)
    asked = water_question(ground) if measured is None else ()
    notes = (*((UNKNOWN,) if unknown else ()), *asked, *done.notes)
    return AcidMust(done.must, draw_traits(members, seed), measured, notes, unknown)
