"""Tastings: made by the host, answered seat by seat on a phone or on paper, blind until closed."""

from __future__ import annotations

from collections.abc import Mapping

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from mustwright import data
from mustwright.compose import Compose
from mustwright.errors import ConflictError, InputError
from mustwright.learning.d_prime import TESTS
from mustwright.learning.discrimination import plan_panel
from mustwright.learning.tasting import HIGHEST_SCORE, KINDS, is_right, seat_of
from mustwright.learning.tasting_result import notes_of_mead, result_sentences
from mustwright.learning.tasting_text import TASKS, plan_sentences, tasting_cautions
from mustwright.services import tastings as use
from mustwright.texts import say
from mustwright.web.forms.tasting_form import answer_typed, meads_typed, whole_number
from mustwright.web.forms.typed import TypedForm, said
from mustwright.web.pages.batch.shared import Form
from mustwright.web.pages.render_values import show, show_form

router = APIRouter(include_in_schema=False)
KIND_WORDS = {
    "triangle": say("triangle: which of three is the odd one"),
    "paired": say("pair: which of two has more of something, or is better"),
    "duo-trio": say("duo-trio: which of two matches the reference"),
    "tetrad": say("tetrad: sort four into two pairs"),
    "ranking": say("ranking: put three to eight in order"),
    "scores": say("scores: how good is each"),
}
EXPECTED = {"1": 1, "2": 2}
FIELDS = ("name", "kind", "question", "meads", "tasters", "seed", "expected")


@router.get("/tastings")
def all_tastings(request: Request) -> Response:
    """Every tasting, and the way to a new one."""
    compose: Compose = request.app.state.compose
    return show(request, "tastings.html", kept=use.tastings(compose.notebook))


@router.get("/tastings/new")
def ask_for_new(request: Request, batch: str = "") -> Response:
    """An empty form; with `batch` that one is on the table."""
    compose: Compose = request.app.state.compose
    seed = str(int(compose.clock().timestamp()) % 100_000)
    typed = TypedForm({"kind": "triangle", "tasters": "5", "seed": seed, "meads": batch[:80]})
    return _new(request, typed)


@router.post("/tastings/new")
def make(request: Request, typed: Form) -> Response:
    """Deal the orders, draw the codes."""
    compose: Compose = request.app.state.compose
    names = {record.slug: record.name for record in compose.ledger.batches()}
    try:
        kept = use.make_tasting(
            compose.ledger,
            compose.notebook,
            typed.get("name"),
            typed.get("kind"),
            typed.get("question")[:200],
            meads_typed(typed.get("meads"), names),
            tasters=whole_number(typed, "tasters"),
            seed=whole_number(typed, "seed"),
            now=compose.clock(),
            expected=EXPECTED.get(typed.get("expected"), 0),
        )
    except InputError as error:
        field = error.field if error.field in FIELDS else "all"
        return _new(request, typed, {field: said(error)})
    return RedirectResponse(f"/tastings/{kept.key}", 303)


@router.get("/tastings/{key}")
def tasting_page(request: Request, key: str) -> Response:
    """For the host: who has answered, and after the end what it shows."""
    compose: Compose = request.app.state.compose
    kept = use.tasting(compose.notebook, key)
    tasting = kept.tasting
    told = None
    if tasting.is_closed:
        told = {
            "sentences": result_sentences(tasting),
            "meads": [
                (mead, notes_of_mead(tasting, place)) for place, mead in enumerate(tasting.meads, 1)
            ],
            "right": [
                is_right(tasting, seat) if seat.answer and tasting.kind in TESTS else None
                for seat in tasting.seats
            ],
        }
    panel = plan_panel(tasting.kind, len(tasting.seats)) if tasting.kind in TESTS else None
    return show(
        request,
        "tasting.html",
        kept=kept,
        tasting=tasting,
        told=told,
        before=plan_sentences(panel) if panel else [],
        address=request.app.state.access.address,
        table_cautions=tasting_cautions(),
    )


@router.get("/tastings/{key}/pour")
def pouring_page(request: Request, key: str) -> Response:
    """For whoever pours, and nobody else: which mead goes under which code."""
    kept = use.tasting(request.app.state.compose.notebook, key)
    return show(request, "tasting_pour.html", kept=kept, tasting=kept.tasting)


@router.get("/tastings/{key}/sheets")
def sheets_page(request: Request, key: str) -> Response:
    """A sheet for each taster, to print."""
    kept = use.tasting(request.app.state.compose.notebook, key)
    return show(
        request,
        "tasting_sheets.html",
        kept=kept,
        tasting=kept.tasting,
        task=TASKS[kept.tasting.kind],
        table_cautions=tasting_cautions(),
    )


@router.get("/tastings/{key}/seat/{number}")
def seat_page(request: Request, key: str, number: int) -> Response:
    """For one taster: glasses by their codes, and nothing that tells what is in them."""
    kept = use.tasting(request.app.state.compose.notebook, key)
    seat = seat_of(kept.tasting, number)
    typed = TypedForm({"initials": seat.initials})
    for place, code in enumerate(seat.codes):
        if seat.answer:
            value = seat.answer[place]
            typed.fields[f"value_{code}"] = say("{value:g}", value=value)
            typed.fields[f"note_{code}"] = seat.notes[place]
            if value:
                typed.many.setdefault("glass", []).append(str(code))
    return _seat(request, kept, number, typed)


@router.post("/tastings/{key}/seat/{number}")
def take_answer(request: Request, key: str, number: int, typed: Form) -> Response:
    """Take the answer in; it can be changed until the tasting is closed."""
    notebook = request.app.state.compose.notebook
    kept = use.tasting(notebook, key)
    try:
        answer, notes = answer_typed(kept.tasting, number, typed)
        use.answer_seat(notebook, key, number, typed.get("initials"), answer, notes)
    except InputError as error:
        field = error.field if error.field in ("initials", "answer") else "all"
        return _seat(request, kept, number, typed, {field: said(error)})
    return RedirectResponse(f"/tastings/{key}/seat/{number}", 303)


@router.post("/tastings/{key}/close")
def close(request: Request, key: str) -> Response:
    """Close the tasting and show what is in the glasses."""
    compose: Compose = request.app.state.compose
    try:
        use.close_tasting(compose.ledger, compose.notebook, key, compose.clock())
    except ConflictError:
        if use.tasting(compose.notebook, key).tasting.answered:
            raise
    return RedirectResponse(f"/tastings/{key}", 303)


def _new(request: Request, typed: TypedForm, errors: Mapping[str, str] | None = None) -> Response:
    compose: Compose = request.app.state.compose
    return show_form(
        request,
        "tasting_new.html",
        stamp="",
        errors=errors,
        typed=typed.fields,
        kinds=[(kind, KIND_WORDS[kind]) for kind in KINDS],
        batches=[(record.slug, record.name) for record in compose.ledger.batches()],
        table_cautions=tasting_cautions(),
    )


def _seat(
    request: Request,
    kept: use.KeptTasting,
    number: int,
    typed: TypedForm,
    errors: Mapping[str, str] | None = None,
) -> Response:
    tasting = kept.tasting
    terms = data.load("tasting_terms")
    return show_form(
        request,
        "tasting_seat.html",
        stamp="",
        errors=errors,
        typed=typed,
        chosen=typed.many.get("glass", []),
        kept=kept,
        tasting=tasting,
        seat=seat_of(tasting, number),
        number=number,
        task=TASKS[tasting.kind],
        highest=HIGHEST_SCORE if tasting.kind == "scores" else len(tasting.meads),
        words=[*terms["aromas"], *terms["tastes"]],
        faults=list(terms["fault"].values()),
        table_cautions=tasting_cautions(),
    )
