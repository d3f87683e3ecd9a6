"""Writing into a batch's log: readings, feeds, events, notes, photos; each form once."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

from mustwright.batch import log_text as words
from mustwright.batch.entries import Entry, FeedGiven, Given, Note, Payload
from mustwright.batch.view import BatchView
from mustwright.errors import InputError
from mustwright.services.batch.photos import add_photo
from mustwright.services.batch.record import find, new_id, write
from mustwright.services.batch.repository import SameIdError
from mustwright.texts import say
from mustwright.web.forms import batch_form
from mustwright.web.forms.typed import TypedForm, said
from mustwright.web.pages.batch.batch_page import shown
from mustwright.web.pages.batch.shared import Desk, Form, back_to, sent_with_file
from mustwright.web.render import wants_data

router = APIRouter(include_in_schema=False)
TWICE = timedelta(minutes=2)


@router.post("/batches/{slug}/reading")
def keep_reading(request: Request, slug: str, typed: Form) -> Response:
    """A reading."""
    return _keep(request, slug, "reading", typed, lambda _: batch_form.reading_of(typed))


@router.post("/batches/{slug}/feed")
def keep_feed(request: Request, slug: str, typed: Form) -> Response:
    """A feed: as planned, or with its own grams, or skipped."""
    return _keep(request, slug, "feed", typed, lambda view: _feed(view, typed))


@router.post("/batches/{slug}/event")
def keep_event(request: Request, slug: str, typed: Form) -> Response:
    """Something that happened."""
    return _keep(request, slug, "event", typed, lambda _: batch_form.event_of(typed))


@router.post("/batches/{slug}/note")
def keep_note(request: Request, slug: str, typed: Form) -> Response:
    """A note."""
    return _keep(request, slug, "note", typed, lambda _: Note(typed.get("text").strip()))


def _feed(view: BatchView, typed: TypedForm) -> Payload:
    plan = view.progress.plan
    if typed.get("do") != "as planned":
        return batch_form.feed_of(typed, plan)
    planned = plan.feed(typed.get("feed"))
    if planned is None or not planned.doses:
        raise InputError("feed", say("needs a feed of the plan in force"), typed.get("feed"))
    if typed.get("plan") != str(plan.number):
        raise InputError(
            "feed", say("needs the plan in force; another was adopted meanwhile"), "it"
        )
    if any(s.feed.key == planned.key and s.state == "given" for s in view.progress.feeds):
        raise InputError(
            "feed", say("was given already; a second dose goes under other amounts"), "it"
        )
    items = tuple(Given(d.nutrient, d.grams, d.name) for d in planned.doses)
    return FeedGiven(items, planned.key)


def _keep(
    request: Request, slug: str, kind: str, typed: TypedForm, make: Callable[[BatchView], Payload]
) -> Response:
    desk = Desk(request)
    identity = typed.get("id").strip()
    try:
        at = batch_form.moment_of(typed, desk.now, desk.zone)
        if kind == "feed" and typed.get("do") == "as planned":
            twice = _already(desk, slug, identity)
            if twice is not None and getattr(twice.what, "feed", None) == typed.get("feed"):
                return back_to(slug, twice.id)
        what = make(desk.view(slug))
        within = None if typed.get("stamped") else TWICE
        wrote = _once(desk, slug, what, at, identity, within)
    except (SameIdError, InputError) as error:
        return _not_kept(request, desk, slug, kind, typed, error)
    return back_to(slug, wrote)


def _not_kept(
    request: Request,
    desk: Desk,
    slug: str,
    kind: str,
    typed: TypedForm,
    error: SameIdError | InputError,
) -> Response:
    """Why nothing was written: on the page, or as data for a device that sends what waited."""
    if wants_data(request):
        raise error
    if isinstance(error, InputError):
        return _refused(request, desk, slug, kind, typed, error)
    return _sent_before(request, desk, slug, kind, typed, error)


def _already(desk: Desk, slug: str, identity: str) -> Entry | None:
    """What a form wrote that was sent before, by a second tap."""
    stands = desk.view(slug).stands
    return next((s.entry for s in stands if s.entry.id == identity), None)


def _sent_before(
    request: Request, desk: Desk, slug: str, kind: str, typed: TypedForm, error: SameIdError
) -> Response:
    """A form that was sent before and says something else by now; its fields have a new id."""
    said_then = words.said(error.theirs[0].what, desk.view(slug).progress.plan)
    conflict = say(
        "this form was sent before, and what it said then is kept ({said_then}); "
        "nothing was written now. Send it again if both are meant",
        said_then=said_then,
    )
    return shown(request, desk, slug, typed={kind: typed}, conflict=conflict)


def _once(
    desk: Desk, slug: str, what: Payload, at: datetime, identity: str, within: timedelta | None
) -> str:
    """Write an entry; a second tap on the same form writes nothing.

    Parameters
    ----------
    within : timedelta or None
        How far apart in time both may say it happened. None where a device that waited for a
        network stamped it: its clock is not the one that the first attempt was stamped with.

    Raises
    ------
    SameIdError
        When the same form says something else.
    """
    try:
        return write(desk.ledger, slug, what, at=at, id=identity or new_id()).id
    except SameIdError:
        kept = find(desk.ledger, slug, identity).entry
        if kept.what == what and (within is None or abs(kept.at - at) <= within):
            return kept.id
        raise


def _refused(
    request: Request, desk: Desk, slug: str, kind: str, typed: TypedForm, error: InputError
) -> Response:
    field = batch_form.field_of(error.field)
    return shown(
        request,
        desk,
        slug,
        typed={kind: typed},
        errors={f"{kind}-{field}": said(error)},
    )


# Photos ---------------------------------------------------------------------------------------


@router.post("/batches/{slug}/photos")
async def keep_photo(request: Request, slug: str) -> Response:
    """A picture with a caption."""
    desk = Desk(request)
    sent = await sent_with_file(request, "photo")
    if sent is None:
        error = InputError("photo", say("needs one picture"), say("something else"))
        return await run_in_threadpool(_refused, request, desk, slug, "photo", TypedForm(), error)
    return await run_in_threadpool(_keep_photo, request, desk, slug, *sent)


def _keep_photo(
    request: Request, desk: Desk, slug: str, typed: TypedForm, content: bytes
) -> Response:
    desk.ledger.batch(slug)
    try:
        at = batch_form.moment_of(typed, desk.now, desk.zone)
        if not content:
            raise InputError("photo", say("needs a picture to be chosen"), say("none"))
        caption = typed.get("caption").strip()
        identity = typed.get("id").strip() or None
        entry = add_photo(desk.ledger, slug, content, at=at, caption=caption, id=identity)
    except (SameIdError, InputError) as error:
        return _not_kept(request, desk, slug, "photo", typed, error)
    return back_to(slug, entry.id)


@router.get("/batches/{slug}/photos/{photo}")
def photo(request: Request, slug: str, photo: str) -> Response:
    """A picture."""
    kept = Desk(request).ledger.photo(slug, photo)
    headers = {"Cache-Control": "private, max-age=31536000, immutable"}
    return Response(kept.content, media_type=kept.media_type, headers=headers)
