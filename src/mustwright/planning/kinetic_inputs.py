"""From a sheet to a fermentation: what the model needs to know of this must and its feeds."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from mustwright.figure import Figure
from mustwright.kinetics.ensemble_setting import SEED
from mustwright.kinetics.inputs import (
    Conditions,
    Medium,
    MustAtPitch,
    NitrogenPulse,
    PulseTrigger,
    StrainTraits,
    VesselInRoom,
)
from mustwright.kinetics.simulate import DRY_G_L
from mustwright.must.acidity.balance import buffer_capacity
from mustwright.must.acidity.course import CourseAddition
from mustwright.must.acidity.draws import quantile
from mustwright.must.gravity import gravity_from_brix
from mustwright.nutrition.credits import Credit
from mustwright.nutrition.last_moment import too_late_below
from mustwright.nutrition.triggers import Trigger as ProtocolTrigger
from mustwright.nutrition.triggers import read_trigger
from mustwright.planning.acidity.feed_acid import additions_of, salt_additions
from mustwright.planning.acidity.prior import acid_must

if TYPE_CHECKING:
    from mustwright.nutrition.feeding_plan import FeedingPlan
    from mustwright.planning.must_setup import Ground

# What the model takes; whatever lies beyond is taken at the end of its range.
MODEL_RANGE = {
    "volume_l": (0.05, 100_000.0),
    "sugar_g_l": (0.0, 450.0),
    "solids_g_l": (0.0, 150.0),
    "pool_n_mg_l": (0.0, 1500.0),
    "fed_n_mg_l": (0.0, 1000.0),
    "ph": (2.3, 6.0),
    "tolerance_pct": (4.0, 22.0),
    "pitch_g_l": (0.01, 10.0),
    "buffer_meq_l_ph": (0.5, 200.0),
    "potassium_mg_l": (0.0, 10_000.0),
    "fed_base_meq_l": (-100.0, 100.0),
    "fed_potassium_mg_l": (0.0, 5000.0),
    "low_c": (0.0, 25.0),
    "high_c": (15.0, 40.0),
}
ACID_MEMBERS = 100  # enough for the middle and the ends of three quantities
UNKNOWN_PH = (3.2, 4.1)  # of a must of which neither make-up nor pH is known (assumed)
GRAPE = "grape"
DEFAULT_PH = 3.6  # of a must of which nothing is known (assumed)
LEAST_RANGE_MG_L = 1.0


def within_model(name: str, value: float) -> float:
    """A value at the end of the model's range where it lies beyond it."""
    low, high = MODEL_RANGE[name]
    return min(max(value, low), high)


def must_at_pitch(ground: Ground) -> MustAtPitch:
    """The must of a sheet as the model wants it.

    Sugar is what its ingredients let yeast use, as hexose; the rest of the extract is solids. The
    rehydration nutrient counts as amino nitrogen. pH, buffer and potassium are those of the acid
    members of the sheet (docs/acidity.md).
    """
    must, credit = ground.setting.must, ground.setting.credit
    extract = must.sugar_g_l.value
    hexose = within_model("sugar_g_l", must.fermentable_sugar_g_l.value)
    glucose = hexose * must.glucose_share.value
    ammonium, amino = credit.ammonium_mg_l, credit.amino_mg_l
    return MustAtPitch(
        volume_l=within_model("volume_l", must.volume_l.value),
        glucose_g_l=glucose,
        fructose_g_l=hexose - glucose,
        solids_g_l=within_model("solids_g_l", extract - hexose),
        ammonium_n_mg_l=within_model("pool_n_mg_l", ammonium.value),
        amino_n_mg_l=within_model("pool_n_mg_l", amino.value + _rehydration_mg_l(ground)),
        ammonium_n_range_mg_l=_range(ammonium, 0.0, credit),
        amino_n_range_mg_l=_range(amino, _rehydration_mg_l(ground), credit),
        medium=medium_of(ground),
        fermentable_range=_fermentable_range(ground),
        feeding_known=ground.sheet.feeding_known,
        **_acid(ground),
    )


def _acid(ground: Ground) -> dict[str, Any]:
    """pH, buffer capacity and potassium of a must with their 90 % ranges, by its acid members."""
    acid = acid_must(ground, ACID_MEMBERS, SEED)
    if acid is None:
        return {"ph": DEFAULT_PH, "ph_range": UNKNOWN_PH}
    if acid.is_stand_in and acid.ph is not None:
        # Nothing is known of its acids: buffer and potassium are those of the measured musts that
        # the pace of such a must was fitted to, not those of honey water.
        return {"ph": within_model("ph", acid.ph)}
    rows = acid.must.rows
    buffer = 1000 * buffer_capacity(rows) * acid.must.solvent_kg_l
    ph, capacity, potassium = (
        [within_model(name, quantile(values, p)) for p in (0.05, 0.5, 0.95)]
        for name, values in (
            ("ph", acid.must.ph()),
            ("buffer_meq_l_ph", buffer),
            ("potassium_mg_l", acid.must.potassium_mg_l),
        )
    )
    return {
        "ph": ph[1] if acid.ph is None else within_model("ph", acid.ph),
        "ph_range": (ph[0], ph[2]) if acid.ph is None else None,
        "buffer_meq_l_ph": capacity[1],
        "buffer_range_meq_l_ph": (capacity[0], capacity[2]),
        "potassium_mg_l": potassium[1],
        "potassium_range_mg_l": (potassium[0], potassium[2]),
    }


def nothing_to_ferment(ground: Ground) -> bool:
    """Whether a must is dry before it begins, as water is."""
    return ground.setting.must.fermentable_sugar_g_l.value < DRY_G_L


def medium_of(ground: Ground) -> Medium:
    """Which measured population of fermentations a must belongs to.

    Honey if there is a real share of it, grape on skins for grape fruit, otherwise clear juice; a
    must that was only measured is of an unknown kind.
    """
    sugar: dict[str, float] = {}
    for portion in ground.primary:
        form = portion.ingredient.form
        if GRAPE in portion.ingredient.id and form == "fruit":
            form = GRAPE
        mass = portion.kg * portion.ingredient.dissolved
        sugar[form] = sugar.get(form, 0.0) + mass
    whole = sum(sugar.values())
    if whole <= 0:
        return "unknown"
    if sugar.get(GRAPE, 0.0) > 0.5 * whole:
        return "grape_with_skins"
    if sugar.get("honey", 0.0) < 0.1 * whole:
        return "clear_juice"
    return "honey"


def conditions_of(ground: Ground, horizon_h: float | None = None) -> Conditions:
    """Yeast, pitch and warmth of a sheet."""
    strain, pitch = ground.setting.strain, ground.setting.pitch
    classes = {"low": "low", "medium": "medium", "high": "high", "very_high": "high"}
    need = classes[strain.nitrogen_class]
    if not ground.sheet.strain_typed and not ground.primary:
        need = "medium"  # a measured must of an unknown kind, in the hands of an unknown yeast
    warmth = ground.sheet.warmth
    found = Conditions(
        temperature_c=warmth.steps or warmth.start_c,
        vessel=_vessel(ground),
        rehydrated=ground.sheet.rehydrated,
        strain=StrainTraits(
            within_model("tolerance_pct", strain.alcohol_tolerance_pct.value),
            need,  # type: ignore[arg-type]
            within_model("low_c", strain.temperature_low_c),
            within_model("high_c", strain.temperature_high_c),
        ),
        pitch_g_l=within_model("pitch_g_l", pitch.yeast_g_l.value),
        rehydration_nutrient=ground.sheet.rehydrated
        and ground.setting.shelf.for_rehydration is not None,
        aeration=ground.sheet.aeration,
    )
    if horizon_h is None:
        return found
    return replace(found, horizon_h=horizon_h)


def _vessel(ground: Ground) -> VesselInRoom | None:
    """The vessel in its room, where the sheet has one."""
    warmth = ground.sheet.warmth
    if not warmth.material:
        return None
    return VesselInRoom(
        within_model("volume_l", ground.setting.must.volume_l.value),
        warmth.material,
        warmth.room_c,
        min(max(warmth.start_c, 0.0), 40.0),
        warmth.cool_above_c,
        warmth.cooling_w,
    )


def feeds_of(plan: FeedingPlan, ground: Ground) -> tuple[NitrogenPulse, ...]:
    """The feeds of a plan, each when its own trigger comes true in a member.

    A feed that ended up empty stays, so that positions match the plan. One that would fall due
    after feeding has ended is left out, as a batch leaves it out. The parts of the plan's salt
    stand after the feeds.
    """
    late = too_late_below(plan.last_moment)
    brix = ground.setting.must.brix.value
    brought = [addition for _, addition in additions_of(ground.setting, plan)]
    fed = tuple(
        pulse(
            replace(
                trigger_of(read_trigger(feed.trigger_rule, "feed.when"), brix),
                skip_below_sugar_fraction=late,
            ),
            feed.ammonium_mg_l.value,
            feed.amino_mg_l.value,
            addition,
        )
        for feed, addition in zip(plan.feeds, brought, strict=True)
    )
    return (*fed, *_salt_of(plan, ground))


def _salt_of(plan: FeedingPlan, ground: Ground) -> tuple[NitrogenPulse, ...]:
    """The parts of a plan's salt: base and potassium, no nitrogen."""
    must = ground.setting.must
    brought = salt_additions(plan, must.volume_l.value)
    parts = plan.salt.parts if plan.salt else ()
    return tuple(
        pulse(
            trigger_of(read_trigger(part.trigger_rule, "salt.when"), must.brix.value),
            0.0,
            0.0,
            addition,
        )
        for part, addition in zip(parts, brought, strict=True)
    )


def pulse(
    trigger: PulseTrigger,
    ammonium_mg_l: float,
    amino_mg_l: float,
    brought: CourseAddition | None = None,
) -> NitrogenPulse:
    """A feed of so much nitrogen [mg N/L] when its trigger comes true.

    Base and potassium are those it was found to bring; where that is not known, its ammonium counts
    as diammonium phosphate.
    """
    ammonium, amino = (within_model("fed_n_mg_l", n) for n in (ammonium_mg_l, amino_mg_l))
    plain = NitrogenPulse(trigger, ammonium, amino)
    return plain if brought is None else with_acid(plain, brought)


def with_acid(feed: NitrogenPulse, brought: CourseAddition) -> NitrogenPulse:
    """A feed with the base and potassium that it brings."""
    base = float(np.mean(brought.base_meq_l)) + brought.phosphate_mmol_l
    return replace(
        feed,
        base_meq_l=within_model("fed_base_meq_l", base),
        potassium_mg_l=within_model("fed_potassium_mg_l", float(np.mean(brought.potassium_mg_l))),
    )


def dissolved_times(must: MustAtPitch, factor: float) -> MustAtPitch:
    """A must with so many times its sugar and other matter; its nitrogen stays."""
    return replace(
        must,
        glucose_g_l=must.glucose_g_l * factor,
        fructose_g_l=must.fructose_g_l * factor,
        solids_g_l=within_model("solids_g_l", must.solids_g_l * factor),
    )


def trigger_of(moment: ProtocolTrigger, brix: float) -> PulseTrigger:
    """The model's trigger for a protocol's moment."""
    parts = moment.either if moment.kind == "first_of" else (moment,)
    merged: dict[str, float | bool] = {}
    for part in parts:
        for name, value in _condition(part, brix).items():
            merged[name] = min(merged[name], value) if name == "at_h" and name in merged else value
    return PulseTrigger(**merged)  # type: ignore[arg-type]


def _condition(moment: ProtocolTrigger, brix: float) -> dict[str, float | bool]:
    if moment.kind == "pitch":
        return {"at_h": 0.0}
    if moment.kind == "after_pitch":
        return {"at_h": moment.amount}
    if moment.kind == "onset":
        return {"end_of_lag": True}
    if moment.kind == "after_onset":
        return {"end_of_lag": True, "not_before_h": moment.amount}
    if moment.kind == "sugar_used":
        return {"sugar_left_fraction": 1 - moment.amount}
    fall = float(gravity_from_brix(brix) - gravity_from_brix(max(brix - moment.amount, -5.0)))
    return {"gravity_drop": min(fall, 0.2)}


def _rehydration_mg_l(ground: Ground) -> float:
    jar = ground.setting.shelf.for_rehydration
    if jar is None:
        return 0.0
    grams = ground.setting.pitch.rehydration_nutrient_g.value
    return jar.per_gram("amino_n") * grams / ground.setting.must.volume_l.value


def _range(figure: Figure, plus: float, credit: Credit) -> tuple[float, float] | None:
    """A range for calculated nitrogen; for measured nitrogen the model knows the method's error."""
    if credit.measured or figure.low is None or figure.high is None:
        return None
    if figure.high - figure.low < LEAST_RANGE_MG_L:
        return None
    return max(figure.low + plus, 0.0), min(figure.high + plus, 2000.0)


def _fermentable_range(ground: Ground) -> tuple[float, float] | None:
    figure = ground.setting.must.fermentable_sugar_g_l
    extract = ground.setting.must.sugar_g_l.value
    if not ground.primary or figure.low is None or figure.high is None or extract <= 0:
        return None
    return max(figure.low / extract, 0.3), min(figure.high / extract, 1.0)
