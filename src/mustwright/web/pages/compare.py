"""Does it matter which protocol, and which: an answer, a picture, and tables on their own pages."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from markupsafe import Markup
from starlette.responses import HTMLResponse

from mustwright.errors import InputError, UnknownKindError
from mustwright.figure import Figure
from mustwright.kinetics.ensemble_setting import MEMBERS
from mustwright.kinetics.ready import state
from mustwright.planning import plan_text as say
from mustwright.planning.kinetic_inputs import nothing_to_ferment
from mustwright.planning.own_nitrogen import own_nitrogen
from mustwright.planning.plan_forecast import doubts
from mustwright.planning.plan_result import Comparison, PlanResult
from mustwright.services.cached_forecasts import foreseen_comparison
from mustwright.services.repository import Cellar, Record
from mustwright.unit_system import speak_of
from mustwright.web.pages.compare_view import (
    ComparedRow,
    bundle_words,
    bundles_of,
    jars_of,
    matters,
    picture_values,
    rows_of,
    told_once,
)
from mustwright.web.pages.kept_pages import kept
from mustwright.web.pages.plan import ledger_of, names
from mustwright.web.pages.render_values import show
from mustwright.web.pictures.bundles import bundles_picture
from mustwright.web.pictures.frame import TimeAxis
from mustwright.web.pictures.gravity import BESIDE, BESIDE_NARROW, hours_to_show
from mustwright.web.pictures.side_by_side import common_axis, side_by_side, side_by_side_values

router = APIRouter(include_in_schema=False)
PICKED = 2


Asked = Annotated[list[str] | None, Query()]


@dataclass(frozen=True)
class SideBySide:
    """A must and its plans, the recommended one first, with what was asked for."""

    record: Record
    result: Comparison
    asked: list[str]

    @cached_property
    def every(self) -> tuple[PlanResult, ...]:
        """Each plan by itself."""
        return self.result.best_first()

    @cached_property
    def thirds(self) -> list[Figure]:
        """For each plan, when a third of the sugar is gone."""
        return [say.third_break(one, one.plan, one.outcome) for one in self.every]

    @property
    def hold_h(self) -> float:
        """What the time axis has to hold at least [h]."""
        best = self.every[0].outcome
        return hours_to_show(best) if best else 0.0

    def axis(self, narrow: bool) -> TimeAxis:
        """The time axis that every picture of this comparison shares."""
        plans = [one.plan for one in self.every]
        return common_axis(plans, self.thirds, narrow, self.hold_h)

    def feeds(self, front: Sequence[str] = ()) -> list[Markup]:
        """Feeds of all plans, or of some, on that axis: the wide picture and the narrow one."""
        shown = [k for k, one in enumerate(self.every) if not front or one.plan.protocol in front]
        plans, thirds = [self.every[k].plan for k in shown], [self.thirds[k] for k in shown]
        best = self.result.suits_best
        return [
            side_by_side(plans, thirds, best, narrow, self.axis(narrow).end_h)
            for narrow in (False, True)
        ]

    @property
    def rows(self) -> list[ComparedRow]:
        """Every plan in figures."""
        ledgers = [ledger_of(*both) for both in zip(self.every, self.thirds, strict=True)]
        return rows_of(self.every, ledgers, jars_of([one.plan for one in self.every]))


def _compared(request: Request, slug: str, protocol: list[str] | None, acid: str) -> SideBySide:
    cellar: Cellar = request.app.state.compose.cellar
    record = cellar.record("sheet", slug)
    speak_of(record.text)
    house = request.app.state.compose.house_for()
    result = foreseen_comparison(
        cellar, record.text, record.name, protocol or (), acid=acid == "yes", house=house
    )
    return SideBySide(record, result, protocol or [])


def _shown(request: Request, template: str, of: SideBySide, **more: Any) -> HTMLResponse:
    return show(
        request,
        template,
        record=of.record,
        result=of.result,
        best=of.every[0],
        asked=of.asked,
        forecast_state=state(),
        members=MEMBERS,
        nothing=nothing_to_ferment(of.result.ground),
        **more,
    )


def _stuck(request: Request, slug: str, error: InputError) -> HTMLResponse:
    """What stands in the way, unless the address names a protocol that is not there."""
    if isinstance(error, UnknownKindError) and error.field == "protocol":
        raise error
    record = request.app.state.compose.cellar.record("sheet", slug)
    return show(request, "stuck.html", 422, record=record, error=error.text)


@router.get("/musts/{slug}/compare")
@kept
def compare_page(
    request: Request, slug: str, protocol: Asked = None, beside: Asked = None, acid: str = ""
) -> HTMLResponse:
    """Whether it matters which protocol, and which; `beside` are brought forward.

    With `acid` the figures have the chance that the pH crashes, which takes a moment longer.
    """
    try:
        of = _compared(request, slug, protocol, acid)
    except InputError as error:
        return _stuck(request, slug, error)
    plans = [one.plan for one in of.every]
    picked = [p.protocol for p in plans if p.protocol in (beside or ())][:PICKED]
    front = [plans[0].protocol, *(p for p in picked if p != plans[0].protocol)]
    bundles = bundles_of(of.every, front)
    dry = of.result.must.dry_gravity.value
    return _shown(
        request,
        "compare.html",
        of,
        matters=matters(of.result) if bundles else "",
        own_nitrogen=own_nitrogen(of.result.ground),
        will=[
            bundles_picture(bundles, dry, of.axis(narrow), layout, f"will-{layout.kind}")
            for narrow, layout in ((False, BESIDE), (True, BESIDE_NARROW))
        ]
        if bundles
        else [],
        feeds=of.feeds(front),
        values=picture_values(of.every, of.axis(False).end_h),
        bundles=bundle_words(of.every, bundles),
        doubts=doubts(of.result.ground),
        front=front,
        hungry=[one for one in of.every if one.verdict.faults[0]],
        protocols=names(request.app.state.compose.cellar),
        chosen={plan.protocol for plan in plans},
    )


@router.get("/musts/{slug}/compare/figures")
@kept
def figures_page(
    request: Request, slug: str, protocol: Asked = None, acid: str = ""
) -> HTMLResponse:
    """Every protocol in figures: what it would do, and what it feeds."""
    try:
        of = _compared(request, slug, protocol, acid)
    except InputError as error:
        return _stuck(request, slug, error)
    rows, same = told_once(of.rows)
    return _shown(request, "compare_figures.html", of, rows=rows, same=same)


@router.get("/musts/{slug}/compare/feeds")
@kept
def feeds_page(request: Request, slug: str, protocol: Asked = None) -> HTMLResponse:
    """When every protocol feeds, and how much, on one time axis."""
    try:
        of = _compared(request, slug, protocol, "")
    except InputError as error:
        return _stuck(request, slug, error)
    return _shown(
        request,
        "compare_feeds.html",
        of,
        feeds=of.feeds(),
        behind=side_by_side_values([one.plan for one in of.every]),
    )
