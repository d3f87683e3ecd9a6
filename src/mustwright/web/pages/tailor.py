"""A plan made for this must: begin the search, watch or stop it, keep what it found."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from mustwright.errors import InputError
from mustwright.kinetics.ready import is_ready, state
from mustwright.planning.tailor_change import VARIED, vary_called
from mustwright.planning.tailored import stays_closed
from mustwright.services.repository import Cellar, Record
from mustwright.services.tailoring import (
    TailoringJob,
    begin_tailoring,
    keep_tailored,
    stop_tailoring,
    tailoring_of,
)
from mustwright.web.pages.batch.shared import Form
from mustwright.web.pages.record_form import cellar_of
from mustwright.web.pages.render_values import show
from mustwright.web.pictures.tailored import tailored_picture, tailored_values

router = APIRouter(include_in_schema=False)
LOOK_AGAIN_S = "2"


@router.get("/musts/{slug}/tailor")
def tailor_page(request: Request, slug: str) -> HTMLResponse:
    """How far the search is, or what it found; while it goes on the page looks again by itself."""
    cellar, record = _asked(request, slug)
    job = tailoring_of(cellar, record)
    answer = _page(request, record, job)
    if job is not None and job.is_running:
        answer.headers["Refresh"] = LOOK_AGAIN_S
    return answer


@router.post("/musts/{slug}/tailor")
def begin(request: Request, slug: str, typed: Form) -> Response:
    """Begin the search, with what the maker lets change."""
    cellar, record = _asked(request, slug)
    if not is_ready():
        return _page(request, record, None)
    try:
        vary = vary_called(",".join(name for name in VARIED if typed.get(name)))
        begin_tailoring(cellar, record, request.app.state.compose.house_for(), vary)
    except InputError as error:
        return show(request, "stuck.html", 422, record=record, error=error.text)
    return RedirectResponse(f"/musts/{slug}/tailor", 303)


@router.post("/musts/{slug}/tailor/stop")
def stop(request: Request, slug: str) -> Response:
    """Stop it."""
    stop_tailoring(*_asked(request, slug))
    return RedirectResponse(f"/musts/{slug}/tailor", 303)


@router.post("/musts/{slug}/tailor/keep")
def keep(request: Request, slug: str, typed: Form) -> Response:
    """Keep one result as a protocol, and show the must by it."""
    cellar, record = _asked(request, slug)
    which = typed.get("which")
    kept = keep_tailored(cellar, record, int(which) if which.isdecimal() else -1)
    return RedirectResponse(f"/musts/{slug}?protocol={kept.key}", 303)


def _asked(request: Request, slug: str) -> tuple[Cellar, Record]:
    cellar = cellar_of(request)
    return cellar, cellar.record("sheet", slug)


def _page(request: Request, record: Record, job: TailoringJob | None) -> HTMLResponse:
    found = job.found if job else None
    pictures = (
        [tailored_picture(job.compared, found, narrow) for narrow in (False, True)]
        if job and found
        else []
    )
    return show(
        request,
        "tailor.html",
        record=record,
        job=job,
        found=found,
        pictures=pictures,
        behind=tailored_values(job.compared, found) if job and found else None,
        forecast_state=state(),
        opened=job.vary if job else frozenset(),
        closed=stays_closed(job.compared.ground, job.vary) if job and found is not None else (),
    )
