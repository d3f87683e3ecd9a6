"""The acid of one must: where its pH may go, what steadies it and when, what is not claimed."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from starlette.responses import HTMLResponse

from mustwright.errors import InputError, UnknownKindError
from mustwright.kinetics.ready import is_ready, state
from mustwright.must.acidity.claims import lowest_shown
from mustwright.must.acidity.salts import salt_called
from mustwright.planning.acidity.as_json import acidity_working
from mustwright.planning.acidity.feed_acid import NO_PROTOCOL
from mustwright.planning.acidity.result import AcidityResult, DoseAnswer
from mustwright.services.cached_acidity import kept_acidity, ph_in_sheet
from mustwright.services.repository import Cellar, Record
from mustwright.texts import say
from mustwright.unit_system import speak_of
from mustwright.web.forms.acidity_form import FIELDS, read_asked, salts
from mustwright.web.pages.figures import FigureList
from mustwright.web.pages.kept_pages import kept
from mustwright.web.pages.plan import names
from mustwright.web.pages.render_values import cautions, show
from mustwright.web.pictures.acid import acid_picture, acid_values

router = APIRouter(include_in_schema=False)
BY = [("meter", say("a meter")), ("strip", say("a paper strip"))]


@router.get("/musts/{slug}/acidity")
@kept
def acidity_page(request: Request, slug: str) -> HTMLResponse:
    """The form and the answer."""
    return _shown(request, slug, "acidity.html")


@router.get("/musts/{slug}/acidity/working")
@kept
def acidity_working_page(request: Request, slug: str) -> HTMLResponse:
    """Every figure of the answer, numbered, each once."""
    return _shown(request, slug, "acidity_working.html")


def _shown(request: Request, slug: str, template: str) -> HTMLResponse:
    cellar: Cellar = request.app.state.compose.cellar
    record: Record = cellar.record("sheet", slug)
    speak_of(record.text)
    query = {name: request.query_params.get(name, "").strip()[:80] for name in FIELDS}
    asked, errors = read_asked(query)
    address = f"/musts/{record.key}/acidity"
    tail = urlencode({name: value for name, value in query.items() if value})
    context: dict[str, Any] = {
        "record": record,
        "typed": {**query, "floor": query["floor"] or f"{asked.floor:g}"},
        "errors": errors,
        "lowest_shown": lowest_shown(),
        "by": BY,
        "salts": salts(),
        "protocols": [
            ("", say("the recommended one")),
            (NO_PROTOCOL, say("no feeds")),
            *names(cellar),
        ],
        "ph_in_sheet": ph_in_sheet(record.text),
        "forecast_state": state(),
        "back": f"{address}?{tail}" if tail else address,
        "working": f"{address}/working?{tail}" if tail else f"{address}/working",
        "result": None,
    }
    if not is_ready():
        return show(request, "acidity.html", **context)
    house = request.app.state.compose.house_for()
    try:
        result = kept_acidity(cellar, record, asked, query["protocol"] or None, house)
    except InputError as error:
        if isinstance(error, UnknownKindError) and error.field == "protocol":
            raise
        return show(request, "stuck.html", 422, record=record, error=error.text)
    steps = _steps(result.dose)
    told = {caution for _, beside in steps for caution in beside}
    context |= {
        "result": result,
        "ledger": FigureList.over(acidity_working(result).items()),
        "pictures": [acid_picture(result, narrow) for narrow in (False, True)],
        "behind": acid_values(result),
        "steps": steps,
        "other_cautions": [one for one in result.cautions if one not in told],
        "others": _others(result),
    }
    return show(request, template, 422 if errors else 200, **context)


def _steps(dose: DoseAnswer) -> list[tuple[str, tuple[str, ...]]]:
    """The steps of a dose, each with the cautions that belong beside it."""
    every = cautions()
    found: list[tuple[str, tuple[str, ...]]] = []
    for step in dose.steps:
        beside: list[str] = []
        if "gas out" in step:
            beside.append(every["powder_in_gassy_must"])
        if "Give half" in step:
            caustic = dose.salt == "potassium_carbonate"
            beside.append(every["caustic_carbonate"] if caustic else _caution_of(dose.salt))
        found.append((step, tuple(beside)))
    return found


def _caution_of(salt: str) -> str:
    """The caution a salt's record carries."""
    return salt_called(salt).caution


def _others(result: AcidityResult) -> list[Any]:
    """Other salts and moments that may be given, those that keep the floor best first."""
    return sorted(
        (one for one in result.alternatives if one.allowed),
        key=lambda one: (-round(one.chance_kept, 1), one.overshoots, one.g_per_l),
    )
