"""The salt in the plan itself: what the judgement on the acid asks for, as steps of the programme.

Dose and moments are those of `salt_judgement`, so that the plan and the acid page say the same; a
must of which neither the ingredients nor the pH are known gets none before it is measured.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from mustwright.figure import ARITHMETIC, Figure
from mustwright.kinetics.ensemble_setting import MEMBERS, SEED
from mustwright.kinetics.pace import usual_pace
from mustwright.must.acidity.calibrate import calibrate, reading_sd
from mustwright.must.acidity.claims import ph_floor
from mustwright.must.acidity.course import Traits, draw_traits
from mustwright.must.acidity.members import MustMembers
from mustwright.must.acidity.path import ph_along
from mustwright.must.acidity.salts import Salt
from mustwright.nutrition.feeding_plan import FeedingPlan
from mustwright.nutrition.plan_salt import PlanSalt, SaltPart
from mustwright.nutrition.remarks import potassium_remark
from mustwright.nutrition.triggers import read_trigger
from mustwright.planning.acidity.dose_answer import dose_answer, salt_cautions
from mustwright.planning.acidity.feed_acid import additions_of, course_of
from mustwright.planning.acidity.prior import draw_members, portions_of
from mustwright.planning.acidity.result import DoseAnswer
from mustwright.planning.acidity.salt_judgement import (
    Judged,
    SaltAsk,
    is_low,
    judge_salt,
    salt_ask,
    shelf_salt,
    wished_salt,
)
from mustwright.planning.must_setup import Ground
from mustwright.texts import literal, say

SAME_MOMENT = 0.002  # of the sugar: as near as moments are rounded


def with_salts(ground: Ground, plans: Sequence[FeedingPlan]) -> tuple[FeedingPlan, ...]:
    """Plans on one must with the salt that each of them needs.

    Parameters
    ----------
    ground : Ground
    plans : sequence of FeedingPlan
        With or without a salt; it is judged anew.

    Returns
    -------
    tuple of FeedingPlan
    """
    plain = [replace(plan, salt=None) for plan in plans]
    if ground.sheet.measured.ph is None and portions_of(ground)[1]:
        return tuple(plain)  # nothing honest can be said of a must nobody knows
    judge = _SaltJudge(ground)
    return tuple(_salted(plan, judge.salt_of(plan)) for plan in plain)


def with_salt(ground: Ground, plan: FeedingPlan) -> FeedingPlan:
    """One plan with the salt it needs."""
    return with_salts(ground, [plan])[0]


def salt_most(ground: Ground) -> tuple[Salt, float]:
    """The salt of the shelf, or the usual one, and the most of it that may go in [g/L]."""
    judge = _SaltJudge(ground)
    course = course_of(judge.must, judge.traits, ground.must, ground.sheet.temperature_c, [])
    ask = salt_ask(judge.must, course, judge.traits, judge.salt, ph_floor(), [], ground.setting)
    return judge.salt, ask.allowed.most_g_l


def with_more_salt(ground: Ground, plan: FeedingPlan, g_l: float) -> FeedingPlan:
    """A plan with so much salt for its potassium, where that is more than the pH asks for.

    Parameters
    ----------
    ground : Ground
    plan : FeedingPlan
        With the salt it needs.
    g_l : float
        Once the first part of the sugar is gone [g/L].

    Returns
    -------
    FeedingPlan
        As it was where so much would overshoot, or the must is not known.
    """
    now = 0.0 if plan.salt is None else plan.salt.g_per_l.value
    if g_l <= now or (ground.sheet.measured.ph is None and portions_of(ground)[1]):
        return plan
    more = _SaltJudge(ground).salt_of(replace(plan, salt=None), g_l)
    return plan if more is None else _salted(replace(plan, salt=None), more)


class _SaltJudge:
    """The acid members of a must, drawn once for all of its plans as the acid page draws them."""

    def __init__(self, ground: Ground) -> None:
        self.ground, ph = ground, ground.sheet.measured.ph
        prior = draw_members(ground, MEMBERS, SEED)
        done = calibrate(prior, SEED, ph=ph, ph_sd=reading_sd("meter"), members=MEMBERS)
        self.must: MustMembers = done.must
        self.traits: Traits = draw_traits(MEMBERS, SEED)
        self.salt: Salt = shelf_salt(ground.sheet.shelf)

    def salt_of(self, plan: FeedingPlan, wished_g_l: float = 0.0) -> PlanSalt | None:
        """The salt of one plan; None where it keeps the floor without, or a wish overshoots."""
        ground, setting = self.ground, self.ground.setting
        additions = additions_of(setting, plan)
        temperature_c = ground.sheet.temperature_c
        course = course_of(self.must, self.traits, ground.must, temperature_c, additions)
        path = ph_along(self.must, course, self.traits)
        if not wished_g_l and not is_low(path, ph_floor()):
            return None
        loads = [(at, one.acid_load_meq_l) for at, one in additions]
        ask = salt_ask(self.must, course, self.traits, self.salt, ph_floor(), loads, setting)
        judged = wished_salt(ask, wished_g_l) if wished_g_l else judge_salt(ask, path)
        if judged is None or not judged.needed:
            return None
        answer = dose_answer(judged, ask, path, setting.must.volume_l, setting.shelf.scale_g)
        return _plan_salt(ground, plan, ask, judged, answer)


def _plan_salt(
    ground: Ground, plan: FeedingPlan, ask: SaltAsk, judged: Judged, answer: DoseAnswer
) -> PlanSalt:
    jars = ground.sheet.shelf.nutrients
    without = 1 - answer.chance_without.value
    known = ground.sheet.measured.ph is not None
    why = (
        literal("Without a salt the pH falls under {floor:g} in {share:.0%} of the possible musts.")
        if known
        else literal(
            "By the recipe alone: without a salt the pH falls under {floor:g} in {share:.0%} of "
            "the possible musts."
        )
    )
    return PlanSalt(
        salt=answer.salt,
        name=answer.name,
        grams=answer.grams,
        g_per_l=answer.g_per_l,
        parts=_parts(ground, plan, judged, answer),
        chance_without=answer.chance_without,
        chance_kept=answer.chance_kept,
        floor=ask.floor,
        limit=answer.limit or ("" if answer.grams.value > 0 else ask.allowed.binding),
        on_shelf=any(jar.class_id == answer.salt for jar in jars),
        is_measured=known,
        words=answer.words,
        why=why.format(floor=ask.floor, share=without),
        steps=answer.steps,
        cautions=salt_cautions(ask.salt) if answer.grams.value > 0 else (),
        law=answer.law,
    )


def _parts(
    ground: Ground, plan: FeedingPlan, judged: Judged, answer: DoseAnswer
) -> tuple[SaltPart, ...]:
    """The parts that can be weighed, each at its sugar or along with its feed."""
    found: list[SaltPart] = []
    for (at, _), moment in zip(judged.trial.schedule.moments, answer.moments, strict=False):
        if moment.grams.value <= 0:
            continue
        feed = None
        if answer.schedule == "with_feeds":
            near = [f for f in plan.feeds if f.items and abs(f.sugar_used - at) < SAME_MOMENT]
            feed = next(iter(near), None)
        rule: object = {"sugar_used": round(at, 3)} if feed is None else feed.trigger_rule
        if feed is None and at <= 0:
            rule = "pitch"
        must = ground.setting.must
        trigger = read_trigger(rule, "salt.when")
        words = trigger.words(must.brix.value, must.fermentable_share)
        found.append(
            SaltPart(
                key=f"s{len(found) + 1}",
                grams=moment.grams,
                trigger=words,
                trigger_rule=rule,
                expected_h=_usually(ground, plan, at) if feed is None else feed.expected_h,
                sugar_used=round(at, 3),
                after_feeds=sum(one.sugar_used <= at + SAME_MOMENT for one in plan.feeds),
            )
        )
    return tuple(found)


def _usually(ground: Ground, plan: FeedingPlan, used: float) -> Figure:
    """When a part of the sugar is gone at the usual pace, until it is forecast."""
    if used <= 0:
        return Figure(0.0, "h", say("at pitch"), ARITHMETIC)
    must, nitrogen = ground.setting.must, plan.nitrogen
    early = nitrogen.credit_mg_l.value + 0.6 * nitrogen.added_mg_l.value
    pace = usual_pace(must.brix.value, ground.sheet.temperature_c, early, must.fermentable_share)
    return pace.hours_to_sugar_used(used)


def _salted(plan: FeedingPlan, salt: PlanSalt | None) -> FeedingPlan:
    """A plan with its salt, and what is said of potassium said with it."""
    row = next(one for one in plan.balance if one.nutrient == "potassium")
    bare, said = potassium_remark(row, None), potassium_remark(row, salt)
    warnings = tuple(said if words == bare else words for words in plan.warnings)
    return replace(plan, salt=salt, warnings=tuple(words for words in warnings if words))
