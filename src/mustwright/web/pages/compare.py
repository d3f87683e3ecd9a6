"""Rival protocols on the maker's own must: a picture first, a table second."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import HTMLResponse

from mustwright.errors import InputError, UnknownKindError
from mustwright.nutrition.plan import FeedingPlan
from mustwright.services import cellar as use
from mustwright.services.plan import Comparison
from mustwright.services.records import Cellar
from mustwright.web.pages.figures import Ledger, number
from mustwright.web.pages.plan import names
from mustwright.web.pages.shown import show
from mustwright.web.pictures.side_by_side import side_by_side

router = APIRouter(include_in_schema=False)


@router.get("/musts/{slug}/compare")
def compare_page(
    request: Request, slug: str, protocol: Annotated[list[str] | None, Query()] = None
) -> HTMLResponse:
    """All protocols on one must, or those asked for."""
    cellar: Cellar = request.app.state.compose.cellar
    record = cellar.sheet(slug)
    try:
        result = use.compare_text(cellar, record.text, record.name, protocol or ())
    except InputError as error:
        if isinstance(error, UnknownKindError) and error.field == "protocol":
            raise
        return show(request, "stuck.html", 422, record=record, error=str(error))
    order = _best_first(result)
    plans = [result.plans[i] for i in order]
    thirds = [use.third_break(result, plan) for plan in plans]
    jars = _jars(plans)
    return show(
        request,
        "compare.html",
        record=record,
        result=result,
        best_words=_best_words(result),
        wide=side_by_side(plans, thirds, result.suits_best),
        narrow=side_by_side(plans, thirds, result.suits_best, narrow=True),
        rows=[
            {
                "plan": result.plans[i],
                "verdict": result.verdicts[i],
                "grams": _grams(result.plans[i], jars),
                "early": f"{result.plans[i].nitrogen.early_share.value:.0%}".replace("%", " %"),
                "ledger": Ledger(),
            }
            for i in order
        ],
        jars=jars,
        blocked=[plan for plan in plans if not plan.feasible],
        protocols=names(cellar),
        chosen={plan.protocol for plan in plans},
    )


def _best_first(result: Comparison) -> list[int]:
    return sorted(range(len(result.plans)), key=lambda i: -result.verdicts[i].points)


def _best_words(result: Comparison) -> str:
    best = next(p for p in result.plans if p.protocol == result.suits_best)
    makeable = "can be made from this shelf" if best.feasible else "yet not as written"
    return f"“{best.protocol_name}” suits this must best, and {makeable}"


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
