"""Looking back on a closed batch, two batches side by side, and where all of that is found."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from mustwright.batch.clock import date_words
from mustwright.compose import Compose
from mustwright.errors import InputError
from mustwright.kinetics.ready import is_ready, state
from mustwright.learning.differences import comparison_sentences
from mustwright.services import looking_back as use
from mustwright.services.compare_batches import beside
from mustwright.services.house import closed_batches
from mustwright.services.tastings import tastings
from mustwright.services.trials import trials, vessel_state
from mustwright.web.forms.typed import said
from mustwright.web.pages.batch.shared import Form
from mustwright.web.pages.render_values import show
from mustwright.web.pictures.trial_lines import VesselLine, trial_lines, trial_values

router = APIRouter(include_in_schema=False)
LISTED = 100


@router.get("/learn")
def learn_page(request: Request) -> Response:
    """Everything a cellar learns from: trials, tastings, the house, finished batches."""
    compose: Compose = request.app.state.compose
    closed = closed_batches(compose.ledger)[:LISTED]
    return show(
        request,
        "learn.html",
        trials=trials(compose.notebook),
        tastings=tastings(compose.notebook)[:LISTED],
        closed=closed,
    )


@router.get("/batches/{slug}/back")
def back_page(request: Request, slug: str) -> Response:
    """A closed batch, looked back on."""
    compose: Compose = request.app.state.compose
    try:
        back = use.look_back(compose.ledger, compose.notebook, slug, compose.clock())
    except InputError:
        return RedirectResponse(f"/batches/{slug}", 303)
    others = [r for r in closed_batches(compose.ledger) if r.slug != slug]
    return show(
        request,
        "look_back.html",
        back=back,
        fact=use.fact_sentence(back),
        calibration=use.calibration_sentence(back),
        others=others[:LISTED],
        day=lambda at: date_words(at.astimezone(compose.local_zone)),
    )


@router.post("/batches/{slug}/back/learn")
def learn(request: Request, slug: str) -> Response:
    """Hold forecast against fact, and let the house learn."""
    request.app.state.compose.learn_from(slug)
    return RedirectResponse(f"/batches/{slug}/back", 303)


@router.post("/batches/{slug}/back/words")
def keep_words(request: Request, slug: str, typed: Form) -> Response:
    """Keep what to do next time."""
    version = typed.get("version")
    number = int(version) if version.isdecimal() and len(version) < 10 else None
    use.keep_words(request.app.state.compose.notebook, slug, typed.get("next_time"), number)
    return RedirectResponse(f"/batches/{slug}/back", 303)


@router.post("/batches/{slug}/copy")
def copy(request: Request, slug: str) -> Response:
    """The must of this batch as the start of the next."""
    compose: Compose = request.app.state.compose
    record = use.copy_as_must(compose.cellar, compose.ledger, slug, compose.clock())
    return RedirectResponse(f"/musts/{record.key}/edit", 303)


@router.get("/batches/{slug}/beside")
def beside_page(request: Request, slug: str, other: str = "") -> Response:
    """Two batches side by side, each difference run alone."""
    compose: Compose = request.app.state.compose
    if not is_ready():
        return show(request, "beside.html", found=None, forecast_state=state(), slug=slug)
    try:
        a, b, found = beside(compose.ledger, slug, other, compose.clock())
    except InputError as error:
        return show(request, "beside.html", 422, found=None, forecast_state=said(error), slug=slug)
    read = [vessel_state(compose.ledger, one.slug, compose.clock()).points for one in (a, b)]
    drawn = [VesselLine(str(k), points, k) for k, points in enumerate(read, 1)]
    return show(
        request,
        "beside.html",
        pictures=trial_lines(drawn),
        behind=trial_values(drawn),
        a=a,
        b=b,
        found=found,
        lines=comparison_sentences(found, a.name, b.name),
        slug=slug,
    )
