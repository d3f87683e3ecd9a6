"""It is done: a step of the finishing bench written into the log of its batch."""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace
from urllib.parse import parse_qsl

from fastapi import APIRouter, HTTPException, Request
from starlette.responses import Response

from mustwright.batch.entries import Entry
from mustwright.batch.finishing_record import StepDone
from mustwright.bench.step_table import PAGES
from mustwright.errors import InputError, UnlikelyError
from mustwright.services.batch.finishing import amounts_of, record_step
from mustwright.services.batch.repository import SameIdError
from mustwright.texts import say
from mustwright.web.forms import batch_form
from mustwright.web.forms.finish_form import FinishForm
from mustwright.web.forms.typed import TypedForm, said
from mustwright.web.pages.batch.shared import Desk, Form, back_to
from mustwright.web.pages.finish import LONGEST_ADDRESS, step_answer
from mustwright.web.pages.finish_batch import form_of

router = APIRouter(include_in_schema=False)
ASIDE = ("form_token", "sure", "id")  # not of what was done


@router.post("/finish/{slug}/record")
def keep_step(request: Request, slug: str, typed: Form) -> Response:
    """Write a step into its batch, with the amounts that were really used."""
    page = PAGES.get(slug)
    asked = typed.get("asked")
    if page is None or len(asked) > LONGEST_ADDRESS:
        raise HTTPException(404)
    form = form_of(request, page, parse_qsl(asked, keep_blank_values=True))
    if form.start is None:
        raise HTTPException(404)
    desk = Desk(request)
    identity = typed.get("id").strip()
    batch = form.start.slug
    sent = next((s.entry for s in desk.view(batch).stands if s.entry.id == identity), None)
    if sent is not None:
        return _sent_before(request, form, typed, sent)
    try:
        wrote = _written(desk, form, typed, identity)
    except SameIdError as error:  # two at once
        return _sent_before(request, form, typed, error.theirs[0])
    except InputError as error:
        return _refused(request, form, typed, error)
    return back_to(batch, wrote)


def _all_of(slug: str, typed: TypedForm) -> str:
    """What stands for all that a form says; the batch has moved on since it was sent first."""
    said_here = {k: v.strip() for k, v in typed.fields.items() if k not in ASIDE and v.strip()}
    return hashlib.sha256(json.dumps([slug, sorted(said_here.items())]).encode()).hexdigest()[:32]


def _sent_before(request: Request, form: FinishForm, typed: TypedForm, sent: Entry) -> Response:
    """A second tap leads to what the first wrote; other content is refused, with a new id."""
    assert form.start is not None
    if isinstance(sent.what, StepDone) and sent.what.sent_as == _all_of(form.page.slug, typed):
        return back_to(form.start.slug, sent.id)
    wrong = say("This form was already sent, and that entry is kept. Nothing was written now.")
    return step_answer(
        request, form, record_errors={"record-all": wrong}, record_typed=typed, status=409
    )


def _written(desk: Desk, form: FinishForm, typed: TypedForm, identity: str) -> str:
    """The id of the entry."""
    today = desk.now.astimezone(desk.zone).date()
    result = form.page.run(form.used(), today)
    assert form.filled is not None
    over = typed.get("over").split(",")
    fields = replace(form.filled, typed=tuple(n for n in form.filled.typed if n in over))
    keys = {use.key for use in amounts_of(result, fields)}
    used = {key: typed.get(key) for key in keys if key in typed.fields}
    entry = record_step(
        desk.ledger,
        result,
        fields,
        used,
        at=batch_form.moment_of(typed, desk.now, desk.zone),
        note=typed.get("note").strip(),
        id=identity or None,
        sure=typed.get("sure") == "yes",
        sent_as=_all_of(form.page.slug, typed),
    )
    return entry.id


def _refused(request: Request, form: FinishForm, typed: TypedForm, error: InputError) -> Response:
    """The step with what was typed into the confirmation, and what is wrong with it."""
    name = error.field if error.field in typed.fields else "all"
    return step_answer(
        request,
        form,
        record_errors={f"record-{name}": said(error)},
        record_typed=typed,
        ask_sure=isinstance(error, UnlikelyError),
    )
