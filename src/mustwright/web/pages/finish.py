"""The finishing bench: from dry to a safe, stable bottle, a page for each step."""

from __future__ import annotations

from datetime import date

from fastapi import APIRouter, HTTPException, Request
from starlette.responses import RedirectResponse, Response

from mustwright.bench.liquid import FORM, mead_now
from mustwright.bench.result_view import view_of
from mustwright.bench.step import StepPage
from mustwright.bench.step_table import PAGES, then
from mustwright.errors import InputError
from mustwright.finishing.bottling import Bottling
from mustwright.texts import say
from mustwright.unit_system import METRIC, choosing
from mustwright.web.forms.finish_form import MOST_LOTS, SENT, SUBMIT, FinishForm
from mustwright.web.forms.typed import said
from mustwright.web.pages.batch.shared import Desk
from mustwright.web.pages.finish_batch import (
    addresses,
    batch_context,
    form_of,
    own_words,
    record_context,
    start_of,
)
from mustwright.web.pages.finish_view import ledger_of, linked
from mustwright.web.pages.render_values import show

router = APIRouter(include_in_schema=False)
LONGEST_ADDRESS = 8000
LIQUID_NAMES = tuple(one.name for part in FORM for one in part.fields)


@router.get("/finish")
def bench(request: Request) -> Response:
    """The steps in order, each with what is known of the liquid, or of a batch."""
    desk = Desk(request)
    start = start_of(desk, request.query_params.get("batch", ""))
    if start is not None:
        return show(
            request,
            "finish_batch.html",
            200,
            pages=PAGES.values(),
            addresses=addresses({"batch": start.slug}),
            **batch_context(desk, start),
        )
    came = {k: v.strip()[:200] for k, v in request.query_params.items()}
    now = mead_now(came)
    errors = {name: said(error) for name, error in now.wrong.items() if name in LIQUID_NAMES}
    known = now.typed()
    return show(
        request,
        "finish.html",
        422 if errors else 200,
        pages=PAGES.values(),
        addresses=addresses(known),
        parts=FORM,
        typed={**known, **{k: v for k, v in came.items() if k in LIQUID_NAMES}},
        carried={k: v for k, v in known.items() if k not in LIQUID_NAMES},
        known=known,
        said_known=now.said(),
        errors=errors,
    )


@router.get("/finish/bottle/labels.pdf")
def label_sheet(request: Request) -> Response:
    """The sheet of labels for a bottling as it is typed."""
    from mustwright.bench.label_pdf import labels_pdf

    form = _form(request, "bottle")
    result = form.page.run(form.used(), _today(request))
    assert isinstance(result, Bottling)
    pdf = labels_pdf(result, form.typed.get("link", ""), form.typed.get("page", "a4"))
    headers = {"Content-Disposition": f'attachment; filename="labels-{result.lot_code}.pdf"'}
    return Response(pdf, media_type="application/pdf", headers=headers)


@router.get("/finish/{slug}")
def step_page(request: Request, slug: str) -> Response:
    """One step: its answer when there is enough to go by, and its form."""
    form = _form(request, slug)
    query = request.query_params
    untidy = SENT in query if form.start else any(value == "" for value in query.values())
    if SUBMIT in query and untidy:
        return RedirectResponse(form.address(), 303)
    return step_answer(request, form)


def step_answer(request: Request, form: FinishForm, *, status: int = 0, **more: object) -> Response:
    """The page of a step as its form stands.

    Parameters
    ----------
    status : int
        Of the answer; 0 takes 422 where something is wrong with the form, else 200.
    **more
        What came of writing it into the batch.
    """
    result = form.run(_today(request))
    context = _asked(form, result) | record_context(request, form, result) | more
    if result is not None:
        context |= {
            "view": view_of(result),
            "ledger": ledger_of(result),
            "working": form.address("/working"),
        }
    if isinstance(result, Bottling):
        context["sheet"] = _sheet(form, result)
    wrong = form.errors or context["record_errors"]
    return show(request, "finish_step.html", status or (422 if wrong else 200), **context)


def _today(request: Request) -> date:
    desk = Desk(request)
    return desk.now.astimezone(desk.zone).date()


def _asked(form: FinishForm, result: object | None) -> dict[str, object]:
    """What the page needs for its form and its ways on; what is in bottles goes no further."""
    before = form.before()
    done = result is not None and not form.start and not isinstance(result, Bottling)
    after = then(before, result) if done else before
    known, on = ({"batch": form.start.slug},) * 2 if form.start else (before.typed(), after.typed())
    return {
        "page": form.page,
        "form": form,
        "typed": form.typed,
        "errors": form.errors,
        "carried": form.carried,
        "pages": PAGES.values(),
        "addresses": addresses(known),
        "onward": addresses(on),
        "start": form.start,
        "own_words": own_words(form),
        "next": _next(form.page),
        "lots": _lots(form),
        "linked": linked,
        "view": None,
        "sheet": None,
    }


@router.get("/finish/{slug}/working")
def working_page(request: Request, slug: str) -> Response:
    """Every figure of a step's answer, numbered, each once."""
    form = _form(request, slug)
    result = form.page.run(form.used(), _today(request))
    with choosing(METRIC):  # as the formulas take them
        return show(
            request, "finish_working.html", page=form.page, form=form, ledger=ledger_of(result)
        )


def _form(request: Request, slug: str) -> FinishForm:
    page = PAGES.get(slug)
    if page is None:
        raise HTTPException(404)
    if len(request.url.query) > LONGEST_ADDRESS:
        raise InputError(
            "address",
            say("needs at most {most} characters after the question mark", most=LONGEST_ADDRESS),
            len(request.url.query),
        )  # fmt: skip
    return form_of(request, page, request.query_params.multi_items())


def _next(page: StepPage) -> StepPage | None:
    order = list(PAGES.values())
    place = order.index(page) + 1
    return order[place] if place < len(order) else None


def _sheet(form: FinishForm, result: Bottling) -> dict[str, str]:
    """Where the label sheet is, or why there is none."""
    from mustwright.bench.label_pdf import check_labels

    try:
        check_labels(result, form.typed.get("link", ""), form.typed.get("page", "a4"))
    except InputError as error:
        form.errors[form.place(error.field)] = said(error)
        return {"address": "", "why_not": said(error)}
    count = int(result.bottle_count.value)
    return {"address": form.address("/labels.pdf"), "count": str(count), "why_not": ""}


def _lots(form: FinishForm) -> list[dict[str, object]]:
    """Rows for lots: two stand open, the rest where something is typed."""
    if not form.page.lot:
        return []
    held = set(form.lot_numbers()) | ({2} if form.start else set())
    wrong = {name.split(".")[1] for name in form.errors if name.startswith("lot.")}
    return [
        {"number": n, "open": n <= 2 or n in held or str(n) in wrong}
        for n in range(1, MOST_LOTS + 1)
    ]
