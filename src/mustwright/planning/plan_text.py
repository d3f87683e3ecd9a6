"""What to say of a plan: the next steps, a third of the sugar gone."""

from __future__ import annotations

from functools import lru_cache
from math import isfinite

from mustwright.figure import Figure
from mustwright.kinetics.pace import Pace, usual_pace
from mustwright.must.course import share_of
from mustwright.nutrition.feeding_plan import FeedingPlan
from mustwright.nutrition.triggers import THIRD
from mustwright.planning.outcome import Outcome
from mustwright.planning.plan_result import Comparison, PlanResult
from mustwright.texts import join, say, uncapital
from mustwright.toml_text import table_in
from mustwright.unit_system import mass, millilitres, volume


def third_break(
    result: PlanResult | Comparison, plan: FeedingPlan, outcome: Outcome | None = None
) -> Figure:
    """Hours until a third of the sugar is gone: forecast, else at the usual pace of the feeds."""
    if outcome is not None and isfinite(outcome.third_h.value):
        return outcome.third_h
    for feed in plan.feeds:
        known = feed.expected_h.inputs
        if "lag_h" in known and "pace_brix_per_h" in known:
            pace = Pace(
                *(
                    float(known[name])
                    for name in (
                        "lag_h",
                        "pace_brix_per_h",
                        "brix",
                        "temperature_c",
                        "nitrogen_mg_l",
                        "fermentable_share",
                    )
                )
            )
            return pace.hours_to_sugar_used(THIRD)
    nitrogen = plan.nitrogen
    early = nitrogen.credit_mg_l.value + 0.6 * nitrogen.added_mg_l.value
    must = result.must
    share = share_of(must.fermentable_sugar_g_l.value, must.sugar_g_l.value)
    pace = usual_pace(must.brix.value, must.temperature_c, early, share)
    return pace.hours_to_sugar_used(THIRD)


def next_steps(result: PlanResult, mixed: bool) -> list[tuple[str, str]]:
    """What is to be done, nearest first: (mix | pitch | feed, sentence)."""
    steps: list[tuple[str, str]] = []
    units = result.ground.units
    solved = [line for line in result.must.ingredients if line.stage == "primary"]
    if solved and not mixed:
        parts = [join(" ", (mass(line.kg.value, units), in_sentence(line.name))) for line in solved]
        whole = volume(result.must.volume_l.value, units)
        if parts[1:]:
            first = join(", ", parts[:-1])
            words = say(
                "Mix {first} with {last} to {whole}.", first=first, last=parts[-1], whole=whole
            )
        else:
            words = say("Mix {ingredient} to {whole}.", ingredient=parts[0], whole=whole)
        steps.append(("mix", words))
    pitch = result.pitch
    steps.append(
        (
            "pitch",
            say(
                "Rehydrate {grams:.1f} g of yeast in {water} of warm water and pitch it.",
                grams=pitch.yeast_g.value,
                water=millilitres(pitch.water_ml.value, units),
            ),
        )
    )
    for feed in result.plan.feeds:
        if feed.items:
            parts = [
                say(
                    "{grams:.1f} g {nutrient}",
                    grams=item.grams.value,
                    nutrient=in_sentence(item.name),
                )
                for item in feed.items
            ]
            steps.append(
                (
                    "feed",
                    say(
                        "Feed {doses} {moment}.",
                        doses=join(say(" and "), parts),
                        moment=feed.trigger,
                    ),
                )
            )
            break
    else:
        steps.append(("feed", say("Nothing to feed by this protocol.")))
    return steps


def in_sentence(name: str) -> str:
    """A name as it reads inside a sentence; abbreviations keep their capitals."""
    return uncapital(name) if name[1:2].islower() else name


@lru_cache(maxsize=256)
def is_mixed(text: str) -> bool:
    """Whether the sheet carries a measured gravity: the must is already mixed."""
    return bool({"gravity", "brix"} & set(table_in(text, "measured")))
