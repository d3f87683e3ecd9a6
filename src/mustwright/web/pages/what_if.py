"""What if it were warmer, sweeter, fed more: the plan's forecast and the changed one together."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import HTMLResponse

from mustwright.errors import InputError, UnknownKindError
from mustwright.kinetics.ensemble_setting import MEMBERS
from mustwright.kinetics.ready import state
from mustwright.must.gravity_text import gravity_sign
from mustwright.planning.outcome import Outcome
from mustwright.planning.plan_forecast import doubts
from mustwright.planning.what_if import FIELDS, Planned, WhatIf, what_if
from mustwright.planning.what_if_inputs import read_facts, shown_facts, slides
from mustwright.services.cached_forecasts import foreseen_plan, foreseen_planned
from mustwright.services.repository import Cellar
from mustwright.texts import join, say
from mustwright.unit_system import degree_sign, speak_of
from mustwright.web.forms.typed import said
from mustwright.web.pages.figures import FigureList
from mustwright.web.pages.render_values import show
from mustwright.web.pictures.gravity import Curve, alone, hours_to_show
from mustwright.web.pictures.values import ValueTable, middles

router = APIRouter(include_in_schema=False)
LABELS = {
    "temperature": (say("Must temperature"), ""),
    "pitch": (say("Dry yeast, g"), say("rehydrated as in the plan")),
    "nitrogen": (say("Nitrogen fed in all, mg N/L"), say("all feeds change in proportion")),
    "gravity": (say("Gravity at pitch"), say("also as 24 Bx")),
}
CHANGED = {
    "temperature": say("must temperature"),
    "pitch": say("dry yeast"),
    "nitrogen": say("nitrogen fed in all"),
    "gravity": say("gravity at pitch"),
}
UNITS = {"temperature": "", "pitch": "g", "nitrogen": "mg N/L", "gravity": ""}
OUTCOMES = {
    "days_to_dry": say("Dry after"),
    "chance_of_sticking": say("Stops short"),
    "stops_sweet": say("Stops sweet"),
    "residual_sugar_g_l": say("Sugar left"),
    "residual_yan_mg_l": say("Nitrogen left"),
    "peak_temperature_c": say("Warmest"),
    "peak_gas_l_h": say("Peak gas"),
}


@router.get("/musts/{slug}/what-if")
def what_if_page(
    request: Request, slug: str, protocol: str | None = None, fragment: str = ""
) -> HTMLResponse:
    """The form and both forecasts; with `fragment` the forecasts alone."""
    cellar: Cellar = request.app.state.compose.cellar
    record = cellar.record("sheet", slug)
    speak_of(record.text)
    template = "what_if_answer.html" if fragment else "what_if.html"
    try:
        house = request.app.state.compose.house_for()
        plan = foreseen_plan(cellar, record.text, record.name, protocol or None, house)
        planned = foreseen_planned(cellar, record.text, record.name, protocol or None, house)
    except InputError as error:
        if isinstance(error, UnknownKindError) and error.field == "protocol":
            raise
        return show(request, "stuck.html", 422, record=record, error=error.text)
    context: dict[str, Any] = {
        "record": record,
        "plan": plan.plan,
        "labels": _labels(),
        "forecast_state": state(),
        "members": MEMBERS,
        "answer": None,
        "errors": {},
    }
    if planned is None:
        return show(request, template, **context)
    query = {name: request.query_params.get(name, "")[:80] for name in FIELDS}
    facts, errors = read_facts(planned, query)
    found = what_if(planned, facts)
    typed = {
        name: query[name] if name in errors else query[name].strip() or shown
        for name, shown in shown_facts(facts).items()
    }
    context |= {
        "answer": found,
        "typed": typed,
        "at": shown_facts(facts),
        "errors": {name: said(error) for name, error in errors.items()},
        "slides": slides(planned.facts),
        "changes": _changes(found),
        "rows": _rows(found),
        "ledger": _ledger(found),
        "pictures": [_picture(found, narrow) for narrow in (False, True)],
        "behind": _behind(found),
        "doubts": doubts(plan.ground),
    }
    return show(request, template, 422 if errors else 200, **context)


def _labels() -> dict[str, tuple[str, str]]:
    """Labels and hints; temperature and gravity with the unit of a bare number."""
    sign, other = degree_sign(), "20 C" if degree_sign() == "°F" else "68 F"
    labels: dict[str, tuple[str, str]] = {
        **LABELS,
        "temperature": (
            say("Must temperature, {sign}", sign=sign),
            say("also as {other}", other=other),
        ),
    }
    if scale := gravity_sign():
        labels["gravity"] = (say("Gravity at pitch, {scale}", scale=scale), say("also as 1.100 SG"))
    return labels


def _changes(found: WhatIf) -> list[str]:
    old, new = shown_facts(found.planned.facts), shown_facts(found.facts)
    units = {**UNITS, "temperature": degree_sign(), "gravity": gravity_sign()}
    return [
        say(
            "{what} {new} instead of {old}",
            what=CHANGED[name],
            new=join(" ", (new[name], units[name])).strip(),
            old=old[name],
        )
        for name in found.changed
    ]


def _rows(found: WhatIf) -> list[dict[str, object]]:
    old, new = found.planned.outcome, found.outcome
    return [
        {"name": words, "old": getattr(old, name), "new": getattr(new, name)}
        for name, words in OUTCOMES.items()
        if name != "stops_sweet" or old.may_stop_sweet or new.may_stop_sweet
    ]


def _ledger(found: WhatIf) -> FigureList:
    ledger = FigureList()
    for outcome in (found.planned.outcome, found.outcome):
        for name, words in OUTCOMES.items():
            ledger.number(getattr(outcome, name), words)
    return ledger


def _behind(found: WhatIf) -> ValueTable:
    """The values behind the picture."""
    both: list[tuple[str, str, Outcome]] = [("", say("as planned"), found.planned.outcome)]
    if found.changed:
        both.append(("", say("changed"), found.outcome))
    return middles(both, max(hours_to_show(outcome, True) for _, _, outcome in both))


def _picture(found: WhatIf, narrow: bool) -> str:
    planned: Planned = found.planned
    curves = [Curve(say("as planned"), planned.outcome, 1, 1)]
    if found.changed:
        curves.insert(0, Curve(say("changed"), found.outcome, 0, 2))
    key = "what-if-narrow" if narrow else "what-if-wide"
    return alone(curves, found.dry_gravity, key, narrow)
