"""One must: what to do next, what goes in when, and how every figure came about."""

from __future__ import annotations

from urllib.parse import urlencode

from fastapi import APIRouter, Request
from starlette.responses import HTMLResponse

from mustwright.bench.liquid import MeadNow
from mustwright.errors import InputError, UnknownKindError
from mustwright.figure import Figure
from mustwright.kinetics.ensemble_setting import MEMBERS
from mustwright.kinetics.ready import state
from mustwright.nutrition.feeding_plan import Feed
from mustwright.nutrition.protocols import built_in_protocols
from mustwright.planning import plan_text as say
from mustwright.planning.kinetic_inputs import nothing_to_ferment
from mustwright.planning.plan_forecast import doubts
from mustwright.planning.plan_json import plan_working
from mustwright.planning.plan_result import PlanResult
from mustwright.services.cached_forecasts import foreseen_plan
from mustwright.services.own_protocols import own_protocols
from mustwright.services.repository import Cellar, Record
from mustwright.unit_system import METRIC, UnitSystem, choosing, mass, speak_of, typed_units, volume
from mustwright.web.pages.figures import FigureList
from mustwright.web.pages.render_values import show
from mustwright.web.pictures.balance import balance_picture
from mustwright.web.pictures.feed_line import feed_line
from mustwright.web.pictures.gravity import Curve, alone

router = APIRouter(include_in_schema=False)


@router.get("/musts/{slug}")
def plan_page(request: Request, slug: str, protocol: str | None = None) -> HTMLResponse:
    """The plan by the protocol asked for, or by the recommended one."""
    cellar: Cellar = request.app.state.compose.cellar
    record = cellar.record("sheet", slug)
    units, as_typed = speak_of(record.text), typed_units(record.text)
    try:
        house = request.app.state.compose.house_for()
        result = foreseen_plan(cellar, record.text, record.name, protocol or None, house)
    except InputError as error:
        if isinstance(error, UnknownKindError) and error.field == "protocol":
            raise
        return show(request, "stuck.html", 422, record=record, error=str(error))
    third = say.third_break(result, result.plan, result.outcome)
    return show(
        request,
        "plan.html",
        record=record,
        result=result,
        ledger=ledger_of(result, third),
        working=f"/musts/{slug}/working?protocol={result.plan.protocol}",
        steps=say.next_steps(result, say.is_mixed(record.text)),
        volume_typed=volume(result.must.volume_l.value, as_typed, 2)
        if as_typed.volume != units.volume
        else "",
        typed_otherwise=(as_typed.volume, as_typed.mass) != (units.volume, units.mass),
        ingredients=_ingredients(result, as_typed),
        later=any(one.stage != "primary" for one in result.must.ingredients),
        third=third,
        line_wide=feed_line(result.plan, third),
        line_narrow=feed_line(result.plan, third, narrow=True),
        will=forecast_view(result),
        forecast_state=state(),
        nothing=nothing_to_ferment(result.ground),
        balance_wide=balance_picture(result.plan.balance, result.plan.nitrogen),
        balance_narrow=balance_picture(result.plan.balance, result.plan.nitrogen, narrow=True),
        feed_cautions=_cautions(result.plan.feeds),
        protocols=names(cellar),
        finish=_finish(result),
        members=MEMBERS,
    )


@router.get("/musts/{slug}/working")
def working_page(request: Request, slug: str, protocol: str | None = None) -> HTMLResponse:
    """Every figure of a plan, numbered, each once."""
    cellar: Cellar = request.app.state.compose.cellar
    record: Record = cellar.record("sheet", slug)
    house = request.app.state.compose.house_for()
    result = foreseen_plan(cellar, record.text, record.name, protocol or None, house)
    ledger = ledger_of(result, say.third_break(result, result.plan, result.outcome))
    with choosing(METRIC):  # as the formulas take them
        return show(request, "working.html", record=record, result=result, ledger=ledger)


def forecast_view(result: PlanResult) -> dict[str, object] | None:
    """The pictures of what a plan would do and where the model was never tried."""
    if result.outcome is None:
        return None
    curves = [Curve(result.plan.protocol_name, result.outcome, 0, 2)]
    dry = result.must.dry_gravity.value
    return {
        "wide": alone(curves, dry, "will-wide"),
        "narrow": alone(curves, dry, "will-narrow", narrow=True),
        "doubts": doubts(result.ground),
    }


def ledger_of(result: PlanResult, third: Figure) -> FigureList:
    """Every figure of a plan, numbered in the same order wherever it is shown.

    Acid comes last, since a comparison has it only when asked.
    """
    working = plan_working(result)
    acid = [place for place in working if place.split(".")[0] == "acid"]
    ledger = FigureList.over(
        (place, figure) for place, figure in working.items() if place not in acid
    )
    ledger.number(third, "a third of the sugar gone")
    for place in acid:
        ledger.number(working[place], place)
    return ledger


def names(cellar: Cellar) -> list[tuple[str, str]]:
    """Every protocol there is, by id and name: built-in ones, then the maker's own."""
    everything = {**built_in_protocols(), **own_protocols(cellar)}
    return [(p.id, p.name if p.built_in else f"{p.name} (own)") for p in everything.values()]


def _finish(result: PlanResult) -> str:
    """Where this must is finished: what is known of it before anyone has measured the mead."""
    start = MeadNow(
        volume_l=result.must.volume_l.value,
        original_gravity=result.must.gravity.value,
        profile=result.profile.id,
    )
    return f"/finish?{urlencode(start.typed())}"


def _ingredients(result: PlanResult, typed_in: UnitSystem) -> list[dict[str, object]]:
    rows: list[dict[str, object]] = []
    for one in result.must.ingredients:
        wet = one.origin == "fill"
        typed = volume(one.litres.value, typed_in, 2) if wet else mass(one.kg.value, typed_in)
        rows.append({"line": one, "typed": typed})
    return rows


def _cautions(feeds: tuple[Feed, ...]) -> list[list[str]]:
    """For each feed the cautions of its nutrients, each sentence once."""
    found = []
    for feed in feeds:
        sentences: dict[str, None] = {}
        for item in feed.items:
            for sentence in item.caution.split(". "):
                if sentence.strip():
                    sentences[sentence.strip().rstrip(".") + "."] = None
        found.append([" ".join(sentences)] if sentences else [])
    return found
