"""Rehydrate the yeast step by step, with the clock: for a must, and for a batch before pitch."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo

from fastapi import APIRouter, Request
from starlette.responses import Response

from mustwright.batch.entry_fields import moment_typed
from mustwright.errors import InputError
from mustwright.planning.must_setup import ground_of
from mustwright.services.batch.record import new_id
from mustwright.services.cached_forecasts import foreseen_plan
from mustwright.web.forms.typed import said
from mustwright.web.pages.batch.shared import Desk
from mustwright.web.pages.render_values import show
from mustwright.yeast.pitch import ChecklistStep, Pitch

router = APIRouter(include_in_schema=False)


@dataclass(frozen=True)
class Wait:
    """One wait of a checklist: which time it is, how long, and when it is over if that is known."""

    number: int
    of: int
    minutes: float
    over_at: str


@dataclass(frozen=True)
class TimedStep:
    """A step with its waits."""

    step: ChecklistStep
    waits: tuple[Wait, ...]


@router.get("/musts/{slug}/rehydrate")
def of_must(request: Request, slug: str, protocol: str | None = None, began: str = "") -> Response:
    """The steps of a must's plan."""
    compose = request.app.state.compose
    record = compose.cellar.record("sheet", slug)
    house = compose.house_for()
    found = foreseen_plan(compose.cellar, record.text, record.name, protocol or None, house)
    back = f"/musts/{slug}?protocol={found.plan.protocol}"
    return _shown(request, record.name, found.pitch, back, began)


@router.get("/batches/{slug}/rehydrate")
def of_batch(request: Request, slug: str, began: str = "") -> Response:
    """The steps of the plan a batch follows; the pitch can be written down at the end."""
    view = Desk(request).view(slug)
    plan = view.progress.plan
    pitch = ground_of(plan.sheet, view.record.name).setting.pitch
    ask = "" if view.progress.pitched else slug
    return _shown(request, view.record.name, pitch, f"/batches/{slug}", began, ask)


def _shown(
    request: Request, name: str, pitch: Pitch, back: str, began: str, ask: str = ""
) -> Response:
    desk, wrong, at = Desk(request), "", None
    if began.strip():
        try:
            at = moment_typed(began.strip()[:40], desk.now, desk.zone, "began")
        except InputError as error:
            wrong = said(error)
    return show(
        request,
        "rehydrate.html",
        422 if wrong else 200,
        name=name,
        pitch=pitch,
        steps=timed(pitch.steps, at, desk.zone),
        back=back,
        began=began[:40],
        errors={"began": wrong} if wrong else {},
        ask=ask,
        id=new_id(),
    )


def timed(
    steps: tuple[ChecklistStep, ...], began: datetime | None, zone: tzinfo
) -> list[TimedStep]:
    """The steps with their waits one after the other, from when the yeast went into the water."""
    found, at = [], began
    for step in steps:
        waits = []
        for number in range(1, step.times + 1 if step.wait_min else 1):
            at = None if at is None else at + timedelta(minutes=step.wait_min)
            over = "" if at is None else f"{at.astimezone(zone):%H:%M}"
            waits.append(Wait(number, step.times, step.wait_min, over))
        found.append(TimedStep(step, tuple(waits)))
    return found
