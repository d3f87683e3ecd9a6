"""Rival protocols on the maker's own must: a picture first, a table second."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import HTMLResponse

from mustwright.errors import InputError, UnknownKindError
from mustwright.figure import Figure
from mustwright.kinetics.ensemble_setting import MEMBERS
from mustwright.kinetics.ready import state
from mustwright.must.acidity.claims import ph_floor
from mustwright.nutrition.feeding_plan import FeedingPlan
from mustwright.planning import plan_text as say
from mustwright.planning.kinetic_inputs import nothing_to_ferment
from mustwright.planning.plan_forecast import doubts
from mustwright.planning.plan_result import Comparison, PlanResult
from mustwright.services.cached_forecasts import foreseen_comparison
from mustwright.services.repository import Cellar
from mustwright.unit_system import degree_sign, speak_of
from mustwright.web.pages.figures import number
from mustwright.web.pages.plan import ledger_of, names
from mustwright.web.pages.render_values import show
from mustwright.web.pictures.gravity import (
    BESIDE,
    BESIDE_NARROW,
    Curve,
    gravity_picture,
    hours_to_show,
)
from mustwright.web.pictures.side_by_side import common_axis, side_by_side

router = APIRouter(include_in_schema=False)
BANDS_FOR_ALL = 3  # with so few protocols each gets its band
NAMED = 5  # and with so few each its own colour and dash
PICKED = 2
WARMEST = "Warmest"
OUTCOMES = (
    "Dry after, days",
    "Sticks",
    "Sugar left, g/L",
    "Nitrogen left, mg N/L",
    WARMEST,
    "Most gas, L/h",
)
ACID = f"pH under {ph_floor():g}"
COLUMNS = (
    "Ammonium added, mg N/L",
    "Amino added, mg N/L",
    "Held in all, mg N/L",
    "Short, mg N/L",
    "Early share",
)


@router.get("/musts/{slug}/compare")
def compare_page(
    request: Request,
    slug: str,
    protocol: Annotated[list[str] | None, Query()] = None,
    beside: Annotated[list[str] | None, Query()] = None,
    acid: str = "",
) -> HTMLResponse:
    """All protocols on one must, or those asked for; `beside` are drawn with their bands.

    With `acid` each shows the chance that the pH crashes, which takes a moment longer.
    """
    cellar: Cellar = request.app.state.compose.cellar
    record = cellar.record("sheet", slug)
    speak_of(record.text)
    try:
        result = foreseen_comparison(
            cellar,
            record.text,
            record.name,
            protocol or (),
            acid=acid == "yes",
            house=request.app.state.compose.house_for(),
        )
    except InputError as error:
        if isinstance(error, UnknownKindError) and error.field == "protocol":
            raise
        return show(request, "stuck.html", 422, record=record, error=str(error))
    every = result.best_first()
    plans = [one.plan for one in every]
    thirds = [say.third_break(one, one.plan, one.outcome) for one in every]
    picked = [p.protocol for p in plans if p.protocol in (beside or ())][:PICKED]
    curves = _curves(every, result.suits_best, picked)
    hold = hours_to_show(curves[0].outcome) if curves else 0.0
    dry = result.must.dry_gravity.value
    jars = _jars(plans)
    return show(
        request,
        "compare.html",
        record=record,
        result=result,
        best_words=_best_words(result),
        wide=side_by_side(plans, thirds, result.suits_best, False, hold),
        narrow=side_by_side(plans, thirds, result.suits_best, True, hold),
        will=[
            gravity_picture(
                curves,
                dry,
                common_axis(plans, thirds, layout.kind == "narrow", hold),
                layout,
                f"will-{layout.kind}",
            )
            for layout in (BESIDE, BESIDE_NARROW)
        ]
        if curves
        else [],
        forecast_state=state(),
        members=MEMBERS,
        nothing=nothing_to_ferment(result.ground),
        doubts=doubts(result.ground),
        bands_for_all=len(plans) <= BANDS_FOR_ALL,
        picked=picked,
        asked=protocol or [],
        rows=[
            {
                "plan": one.plan,
                "loss": one.loss if result.outcomes else None,
                "group": one.group,
                "grams": _grams(one.plan, jars),
                "ledger": ledger_of(one, third),
                "outcome": one.outcome,
                "figures": _figures(one),
            }
            for one, third in zip(every, thirds, strict=True)
        ],
        jars=jars,
        columns=[
            "Behind the best",
            *(_outcome_heads() if result.outcomes else ()),
            *((ACID,) if result.outcomes and result.acid else ()),
            "Cost",
            *(f"{name}, g" for _, name in jars),
            *COLUMNS,
        ],
        blocked=[plan for plan in plans if not plan.feasible],
        protocols=names(cellar),
        chosen={plan.protocol for plan in plans},
    )


def _curves(every: Sequence[PlanResult], best: str, picked: list[str]) -> list[Curve]:
    """Lines to draw: best first, then those picked; others grey where there are many."""
    known = {one.plan.protocol: one for one in every if one.outcome}
    if not known:
        return []
    first = [best, *(p for p in picked if p != best)]
    if len(known) <= NAMED:
        first += [identity for identity in known if identity not in first]
    with_band = len(known) if len(known) <= BANDS_FOR_ALL else 1 + len(picked)
    drawn = []
    for k, identity in enumerate([*first, *(i for i in known if i not in first)]):
        one = known[identity]
        assert one.outcome is not None
        style = k if k < len(first) else None
        drawn.append(Curve(one.plan.protocol_name, one.outcome, style, int(k < with_band)))
    return drawn


def _outcome_heads() -> list[str]:
    return [f"{head}, {degree_sign()}" if head == WARMEST else head for head in OUTCOMES]


def _figures(result: PlanResult) -> list[tuple[str, Figure]]:
    outcome = result.outcome
    if outcome is None:
        return []
    figures = (
        outcome.days_to_dry,
        outcome.chance_of_sticking,
        outcome.residual_sugar_g_l,
        outcome.residual_yan_mg_l,
        outcome.peak_temperature_c,
        outcome.peak_gas_l_h,
    )
    found = list(zip(_outcome_heads(), figures, strict=True))
    return [*found, (ACID, result.acid.chance_below_floor)] if result.acid else found


def _best_words(result: Comparison) -> str:
    best = next(p for p in result.plans if p.protocol == result.suits_best)
    alike = sum(group == 1 for group in result.ranked.groups) - 1
    same = (
        f"; {alike} other{'s' if alike > 1 else ''} would make no real difference" if alike else ""
    )
    return f"For {result.ranked.aim.name}: “{best.protocol_name}”{same}"


def _jars(plans: list[FeedingPlan]) -> list[tuple[str, str]]:
    found: dict[str, str] = {}
    for plan in plans:
        for feed in plan.feeds:
            for item in feed.items:
                found.setdefault(item.nutrient, item.name)
    return list(found.items())


def _grams(plan: FeedingPlan, jars: list[tuple[str, str]]) -> dict[str, str]:
    sums = {jar: 0.0 for jar, _ in jars}
    for feed in plan.feeds:
        for item in feed.items:
            sums[item.nutrient] += item.grams.value
    return {jar: number(grams, "g") if grams else "–" for jar, grams in sums.items()}
