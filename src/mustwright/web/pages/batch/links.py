"""What a batch shares and lets in: files, a calendar to subscribe to, keys for devices."""

from __future__ import annotations

from collections.abc import Mapping

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from mustwright.batch import log_text as words
from mustwright.errors import InputError
from mustwright.services.batch.tokens import CALENDAR, DEVICE, new_token
from mustwright.services.repository import MissingRecordError
from mustwright.web.forms.typed import TypedForm, said
from mustwright.web.pages.batch.shared import Desk, Form
from mustwright.web.pages.render_values import show

router = APIRouter(include_in_schema=False)
PURPOSES = {DEVICE: "device", CALENDAR: "calendar"}


@router.get("/batches/{slug}/links")
def links_page(request: Request, slug: str) -> Response:
    """Files to take along, the calendar, devices."""
    return _shown(request, Desk(request), slug)


@router.post("/batches/{slug}/tokens")
def make_token(request: Request, slug: str, typed: Form) -> Response:
    """A new key, shown now and never again."""
    desk = Desk(request)
    purpose = typed.get("purpose")
    try:
        _, secret = new_token(
            desk.ledger, desk.ledger.batch(slug).slug, purpose, typed.get("label").strip()
        )
    except InputError as error:
        field = f"{PURPOSES.get(purpose, DEVICE)}-{error.field}"
        return _shown(request, desk, slug, typed=typed, errors={field: said(error)})
    return _shown(request, desk, slug, secret=secret, purpose=purpose)


@router.post("/batches/{slug}/tokens/{id}/end")
def end_token(request: Request, slug: str, id: str) -> Response:
    """End a key for good."""
    desk = Desk(request)
    if id not in {token.id for token in desk.ledger.tokens(slug)}:
        raise MissingRecordError("key", id)
    desk.ledger.revoke_token(id)
    return RedirectResponse(f"/batches/{slug}/links#keys", 303)


def _shown(
    request: Request,
    desk: Desk,
    slug: str,
    *,
    secret: str = "",
    purpose: str = "",
    typed: TypedForm | None = None,
    errors: Mapping[str, str] | None = None,
) -> Response:
    record = desk.ledger.batch(slug)
    base = request.app.state.access.address or str(request.base_url)
    base = base.rstrip("/")
    answer = show(
        request,
        "batch_links.html",
        422 if errors else 200,
        record=record,
        base=base,
        secret=secret,
        purpose=purpose,
        calendar=f"{base}/calendar/{secret}.ics?batch={slug}" if purpose == CALENDAR else "",
        tokens=[
            {"token": t, "when": words.moment(t.created_at, desk.zone, desk.now)}
            for t in desk.ledger.tokens(slug)
        ],
        typed=typed or TypedForm(),
        errors=errors or {},
    )
    if secret:
        answer.headers["Cache-Control"] = "no-store"
    return answer
