"""What a feeding plan means for the acid: each feed as what it brings, and the usual course."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from mustwright.constants import NITROGEN_G_MOL
from mustwright.must.acidity.claims import claims_data
from mustwright.must.acidity.course import (
    POINTS,
    AcidCourse,
    CourseAddition,
    Traits,
    nutrient_addition,
    usual_course,
)
from mustwright.must.acidity.members import MustMembers
from mustwright.must.acidity.salts import Salt, all_salts
from mustwright.nutrition.feeding_plan import FeedingPlan, Setting
from mustwright.planning.must_setup import MustResult
from mustwright.texts import say

NO_PROTOCOL = "none"
JUST_BEFORE = 1e-4  # of the sugar: a dose is seen as a step, not as a slope


def additions_of(
    setting: Setting, feeding: FeedingPlan | None
) -> list[tuple[float, CourseAddition]]:
    """The feeds of a plan as what they bring to a litre, each at its part of the sugar used."""
    if feeding is None:
        return []
    volume = setting.must.volume_l.value
    jars = {jar.id: jar for jar in setting.shelf.nutrients}
    found = []
    for feed in feeding.feeds:
        salts = {"ammonium_phosphate": 0.0, "ammonium_sulfate": 0.0}
        potassium = 0.0
        for item in feed.items:
            jar, g_l = jars[item.nutrient], item.grams.value / volume
            potassium += g_l * jar.per_gram("potassium")
            for substance in salts:
                salts[substance] += g_l * jar.contains.get(substance, 0.0)
        addition = nutrient_addition(
            feed.name,
            [1.0],
            ammonium_mg_l=feed.ammonium_mg_l.value,
            amino_mg_l=feed.amino_mg_l.value,
            ammonium_phosphate_g_l=salts["ammonium_phosphate"],
            ammonium_sulfate_g_l=salts["ammonium_sulfate"],
            potassium_mg_l=potassium,
        )
        found.append((float(np.clip(feed.sugar_used, 0.0, 0.99)), addition))
    return found


def salt_additions(plan: FeedingPlan | None, volume_l: float) -> tuple[CourseAddition, ...]:
    """The parts of a plan's salt as what they bring to a litre, in their order."""
    if plan is None or plan.salt is None:
        return ()
    salt = all_salts()[plan.salt.salt]
    return tuple(salt.addition(part.grams.value / volume_l, [1.0]) for part in plan.salt.parts)


def course_of(
    must: MustMembers,
    traits: Traits,
    figures: MustResult,
    temperature_c: float,
    additions: Sequence[tuple[float, CourseAddition]],
) -> AcidCourse:
    """The usual course of a must with its feeds, until a kinetic run gives a better one."""
    rows = must.rows
    own = {
        kind: rows.totals[:, rows.chemistry.index(kind)] * must.solvent_kg_l * 1000 * NITROGEN_G_MOL
        for kind in ("ammonium", "amino")
    }
    start = claims_data()["start_after_sugar_used"]
    return usual_course(
        traits,
        sugar_g_l=figures.sugar_g_l.value,
        fermentable_g_l=min(figures.fermentable_sugar_g_l.value, figures.sugar_g_l.value),
        temperature_c=temperature_c,
        ammonium_mg_l=own["ammonium"],
        amino_mg_l=own["amino"],
        additions=additions,
        points=np.union1d(POINTS, [start - JUST_BEFORE, start]),
    )


def shelf_most(setting: Setting, salt: Salt) -> tuple[float, str] | None:
    """What label and stock of a salt on the shelf allow [g/L], and which of them; None without."""
    jar = next((one for one in setting.shelf.nutrients if one.class_id == salt.id), None)
    if jar is None:
        return None
    found = []
    if jar.label_max_g_l is not None:
        most = jar.label_max_g_l.value
        found.append((most, say("the label of {jar} allows {most:g} g/L", jar=jar.name, most=most)))
    if jar.stock_g is not None:
        words = say("the shelf held {grams:g} g of {jar}", grams=jar.stock_g, jar=jar.name)
        found.append((jar.stock_g / setting.must.volume_l.value, words))
    return min(found, default=None)


def as_kind(addition: CourseAddition, kind: str) -> CourseAddition:
    """The same nitrogen, all of one kind: amino, blend, phosphate or sulfate."""
    nitrogen = addition.ammonium_mg_l + addition.amino_mg_l
    ammonium = {"amino": 0.0, "blend": 2 / 3}.get(kind, 1.0) * nitrogen
    salt = ammonium / 28.0134
    return replace(
        addition,
        ammonium_mg_l=ammonium,
        amino_mg_l=nitrogen - ammonium,
        phosphate_mmol_l=0.0 if kind == "sulfate" else salt,
        sulfate_mmol_l=salt if kind == "sulfate" else 0.0,
    )
