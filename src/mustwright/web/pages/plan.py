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
from mustwright.planning import plan_text
from mustwright.planning.kinetic_inputs import nothing_to_ferment
from mustwright.planning.own_nitrogen import own_nitrogen
from mustwright.planning.plan_forecast import doubts
from mustwright.planning.plan_json import plan_working
from mustwright.planning.plan_result import PlanResult
from mustwright.planning.salt_text import cautions_beside, no_salt_note, part_notes
from mustwright.services.cached_forecasts import foreseen_plan
from mustwright.services.own_protocols import own_protocols
from mustwright.services.repository import Cellar, Record
from mustwright.texts import join, say, sentences_of
from mustwright.unit_system import METRIC, UnitSystem, choosing, mass, speak_of, typed_units, volume
from mustwright.web.pages.figures import FigureList
from mustwright.web.pages.kept_pages import kept
from mustwright.web.pages.render_values import cautions, show
from mustwright.web.pictures.balance import balance_picture
from mustwright.web.pictures.feed_line import feed_line, feed_values
from mustwright.web.pictures.gravity import Curve, alone, hours_to_show
from mustwright.web.pictures.values import gravity_values

router = APIRouter(include_in_schema=False)


@router.get("/musts/{slug}")
@kept
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
        return show(request, "stuck.html", 422, record=record, error=error.text)
    third = plan_text.third_break(result, result.plan, result.outcome)
    salt = result.plan.salt
    return show(
        request,
        "plan.html",
        record=record,
        result=result,
        ledger=ledger_of(result, third),
        working=f"{slug}/working"  # beside this page, as short as it can be: it stands there often
        + ("" if result.chosen else f"?protocol={result.plan.protocol}"),
        steps=plan_text.next_steps(result, plan_text.is_mixed(record.text)),
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
        feed_cautions=_cautions(result.plan.feeds),
        salt_notes={part.key: part_notes(salt, part) for part in salt.parts} if salt else {},
        salt_cautions=cautions_beside(salt.steps, salt.cautions) if salt else (),
        own_nitrogen=own_nitrogen(result.ground),
        feed_values=feed_values(result.plan),
        warnings=watch_out(result),
        protocols=names(cellar),
        finish=_finish(result),
        members=MEMBERS,
    )


@router.get("/musts/{slug}/needs")
@kept
def needs_page(request: Request, slug: str, protocol: str | None = None) -> HTMLResponse:
    """What the yeast needs of each nutrient, and what brings it."""
    cellar: Cellar = request.app.state.compose.cellar
    record: Record = cellar.record("sheet", slug)
    speak_of(record.text)
    house = request.app.state.compose.house_for()
    result = foreseen_plan(cellar, record.text, record.name, protocol or None, house)
    balance, nitrogen = result.plan.balance, result.plan.nitrogen
    return show(
        request,
        "needs.html",
        record=record,
        result=result,
        ledger=ledger_of(result, plan_text.third_break(result, result.plan, result.outcome)),
        working=f"working?protocol={result.plan.protocol}",  # beside this page
        balance_wide=balance_picture(balance, nitrogen),
        balance_narrow=balance_picture(balance, nitrogen, narrow=True),
    )


@router.get("/musts/{slug}/working")
@kept
def working_page(request: Request, slug: str, protocol: str | None = None) -> HTMLResponse:
    """Every figure of a plan, numbered, each once."""
    cellar: Cellar = request.app.state.compose.cellar
    record: Record = cellar.record("sheet", slug)
    house = request.app.state.compose.house_for()
    result = foreseen_plan(cellar, record.text, record.name, protocol or None, house)
    ledger = ledger_of(result, plan_text.third_break(result, result.plan, result.outcome))
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
        "behind": gravity_values(result.outcome, hours_to_show(result.outcome, True)),
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
    ledger.number(third, say("a third of the sugar gone"))
    for place in acid:
        ledger.number(working[place], place)
    return ledger


def names(cellar: Cellar) -> list[tuple[str, str]]:
    """Every protocol there is, by id and name: built-in ones, then the maker's own."""
    everything = {**built_in_protocols(), **own_protocols(cellar)}
    return [
        (p.id, p.name if p.built_in else say("{name} (own)", name=p.name))
        for p in everything.values()
    ]


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


def watch_out(result: PlanResult) -> list[str]:
    """What to watch out for, but the caution that stands beside the feeds."""
    no_salt = no_salt_note(result.plan.salt)
    beside = cautions()["powder_in_gassy_must"] if result.plan.feeds else ""
    said = [warning for warning in result.warnings if warning != beside]
    return [no_salt, *said] if no_salt else said


def _cautions(feeds: tuple[Feed, ...]) -> list[list[str]]:
    """For each feed the cautions of its nutrients, each sentence once."""
    found: list[list[str]] = []
    for feed in feeds:
        sentences: dict[str, None] = {}
        for item in feed.items:
            for sentence in sentences_of(item.caution):
                sentences[sentence] = None
        found.append([join(" ", sentences)] if sentences else [])
    return found
