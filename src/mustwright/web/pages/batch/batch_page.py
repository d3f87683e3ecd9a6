"""One batch: what to do next, writing it down, the timeline, worries, and the log."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

from mustwright.batch import log_text as words
from mustwright.batch.entries import Entry, FeedGiven, Given, Note, Payload, Reading
from mustwright.batch.log import Standing
from mustwright.batch.plan import BatchPlan, PlannedFeed
from mustwright.batch.reading_text import corrected_by_id, corrected_words
from mustwright.batch.view import BatchView
from mustwright.bench.step_table import PAGES
from mustwright.errors import InputError
from mustwright.services.batch.newest import Newest, newest
from mustwright.services.batch.photos import add_photo
from mustwright.services.batch.record import find, new_id, write
from mustwright.services.batch.repository import SameIdError
from mustwright.unit_system import units_of
from mustwright.web.forms import batch_form
from mustwright.web.forms.typed import TypedForm, said
from mustwright.web.pages import batch_options
from mustwright.web.pages.batch import facts, view_model
from mustwright.web.pages.batch.shared import Desk, Form, back_to, sent_with_file
from mustwright.web.pages.render_values import show

router = APIRouter(include_in_schema=False)
SHOWN_LINES, MOST_LINES = 12, 2000
TWICE = timedelta(minutes=2)
KINDS = ("reading", "feed", "event", "note", "photo")


@dataclass(frozen=True)
class LogRow:
    """One entry of the log as the page shows it."""

    stand: Standing
    when: str
    logged: str
    title: str
    detail: str
    changes: list[words.Change]
    photo: str
    is_plan: bool
    worked: list[tuple[str, str]]
    again: str


@dataclass(frozen=True)
class StepFeed:
    """The feed that can be ticked off now, and its place in the plan."""

    feed: PlannedFeed
    number: int
    is_due: bool


@router.get("/batches/{slug}")
def batch_page(
    request: Request,
    slug: str,
    wrote: Annotated[str, Query(max_length=80)] = "",
    log: Annotated[str, Query(max_length=10)] = "",
    took: Annotated[int, Query(ge=0, le=1_000_000)] = 0,
) -> Response:
    """The batch as it stands."""
    desk = Desk(request)
    return shown(request, desk, slug, wrote=wrote, whole_log=log == "all", took=took)


def shown(
    request: Request,
    desk: Desk,
    slug: str,
    *,
    wrote: str = "",
    whole_log: bool = False,
    took: int = 0,
    typed: Mapping[str, TypedForm] | None = None,
    errors: Mapping[str, str] | None = None,
    conflict: str = "",
) -> Response:
    """The page, with what was typed and what was wrong with it, if anything.

    Parameters
    ----------
    conflict : str
        What someone else did meanwhile; with it the answer is 409.
    """
    with desk.ledger.one_moment():
        view = desk.view(slug)
        last = newest(desk.ledger, view, MOST_LINES if whole_log else SHOWN_LINES)
    plan, undo = view.progress.plan, last.undo
    return show(
        request,
        "batch.html",
        409 if conflict else 422 if errors else 200,
        conflict=conflict,
        view=view,
        record=view.record,
        must_kept=desk.must_kept(view.record.sheet),
        state=view.progress,
        step=view.step,
        step_feed=step_feed(view),
        facts=facts.facts_of(view, desk.zone, last.reading),
        pictures=view_model.pictures(view) if view.progress.pitched else None,
        feeds=view_model.feed_rows(view, desk.zone),
        log=log_rows(last, view, desk),
        log_length=view.entries,
        undo=None if undo is None else {"id": undo[0].id, "words": words_of_line(undo, plan)},
        wrote=_wrote(view, wrote),
        took=took,
        typed=_filled(view, last, typed or {}),
        errors=errors or {},
        ids={kind: new_id() for kind in KINDS},
        instruments=batch_form.INSTRUMENT_OPTIONS,
        units=batch_form.UNIT_OPTIONS,
        events=batch_form.EVENT_OPTIONS,
        bench={slug: one.title for slug, one in PAGES.items()},
    )


def step_feed(view: BatchView) -> StepFeed | None:
    """The feed to tick off with one tap; none if something else comes before feeding."""
    ready = next_open_feed(view)
    return ready if view.step.kind in ("feed", "read") else None


def next_open_feed(view: BatchView) -> StepFeed | None:
    """The feed of the next step, else the first open one."""
    state, step = view.progress, view.step
    if state.pitched is None:
        return None
    open_keys = [s.feed.key for s in state.feeds if s.state == "ahead"]
    key = step.feed if step.feed in open_keys else next(iter(open_keys), None)
    feed = state.plan.feed(key)
    if feed is None:
        return None
    number = [f.key for f in state.plan.feeds].index(feed.key) + 1
    return StepFeed(feed, number, step.is_due and step.feed == feed.key)


def _filled(view: BatchView, last: Newest, typed: Mapping[str, TypedForm]) -> dict[str, TypedForm]:
    """What the small forms hold when nothing was typed yet."""
    units = units_of(view.progress.plan.sheet)
    unit = units.temperature
    ready = next_open_feed(view)
    doses = {}
    if ready is not None:
        doses = {f"{batch_form.GRAMS}{d.nutrient}": f"{d.grams:g}" for d in ready.feed.doses}
        doses["feed"] = ready.feed.key
    instrument = batch_form.instrument_of(last.reading)
    start = {
        "reading": TypedForm({"instrument": instrument, "unit": unit, "ph_by": last.ph_by}),
        "feed": TypedForm(doses),
        "event": TypedForm({"unit": unit, "volume_unit": units.volume}),
        "note": TypedForm(),
        "photo": TypedForm(),
        "rename": TypedForm({"name": view.record.name}),
    }
    return {**start, **typed}


def log_rows(last: Newest, view: BatchView, desk: Desk) -> list[LogRow]:
    """The newest entries first, removed ones too."""
    plan, seen = view.progress.plan, corrected_by_id(view.progress)
    rows = []
    for stand in last.stands:
        rows.append(
            LogRow(
                stand,
                words.moment(stand.at, desk.zone, desk.now),
                words.moment(stand.entry.logged_at, desk.zone, desk.now)
                if stand.entry.logged_at
                else "",
                words.title(stand.what),
                _detail(stand, plan, seen),
                words.history(stand, desk.zone, plan),
                stand.what.photo if stand.what.kind == "photo" else "",
                stand.what.kind == "plan",
                batch_options.worked_from(stand.what),
                batch_options.worked_again(stand.what),
            )
        )
    return rows


def _detail(stand: Standing, plan: BatchPlan, corrected: Mapping[str, float]) -> str:
    """What an entry says; a reading also what it stands for, where that is another figure."""
    said = words.detail(stand.what, plan)
    if not isinstance(stand.what, Reading):
        return said
    both = corrected_words(stand.what, corrected.get(stand.entry.id), plan.sheet)
    return f"{said} ({both})" if both else said


def words_of_line(undo: tuple[Entry, Standing], plan: BatchPlan) -> str:
    """What undo would take back, in words."""
    line, stand = undo
    before = {
        "correction": "the correction of ",
        "removal": "the deletion of ",
        "restoration": "bringing back ",
    }
    return before.get(line.what.kind, "") + words.said(stand.what, plan)


def _wrote(view: BatchView, id: str) -> str:
    """The entry just written, in words; empty when it is not the latest."""
    if not id:
        return ""
    stand = next((s for s in view.stands if s.entry.id == id and not s.removed), None)
    return "" if stand is None else words.said(stand.what, view.progress.plan)


# Writing --------------------------------------------------------------------------------------


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
        raise InputError("feed", "needs a feed of the plan in force", typed.get("feed"))
    if typed.get("plan") != str(plan.number):
        raise InputError("feed", "needs the plan in force; another was adopted meanwhile", "it")
    if any(s.feed.key == planned.key and s.state == "given" for s in view.progress.feeds):
        raise InputError("feed", "was given already; a second dose goes under other amounts", "it")
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
        wrote = _once(desk, slug, what, at, identity)
    except SameIdError as error:
        return _sent_before(request, desk, slug, kind, typed, error)
    except InputError as error:
        return _refused(request, desk, slug, kind, typed, error)
    return back_to(slug, wrote)


def _already(desk: Desk, slug: str, identity: str) -> Entry | None:
    """What a form wrote that was sent before, by a second tap."""
    stands = desk.view(slug).stands
    return next((s.entry for s in stands if s.entry.id == identity), None)


def _sent_before(
    request: Request, desk: Desk, slug: str, kind: str, typed: TypedForm, error: SameIdError
) -> Response:
    """A form that was sent before and says something else by now; its fields have a new id."""
    said_then = words.said(error.theirs[0].what, desk.view(slug).progress.plan)
    conflict = (
        f"this form was sent before, and what it said then is kept ({said_then}); nothing was"
        " written now. Send it again if both are meant"
    )
    return shown(request, desk, slug, typed={kind: typed}, conflict=conflict)


def _once(desk: Desk, slug: str, what: Payload, at: datetime, identity: str) -> str:
    """Write an entry; a second tap on the same form writes nothing.

    Raises
    ------
    SameIdError
        When the same form says something else.
    """
    try:
        return write(desk.ledger, slug, what, at=at, id=identity or new_id()).id
    except SameIdError:
        kept = find(desk.ledger, slug, identity).entry
        if kept.what == what and abs(kept.at - at) <= TWICE:
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
        error = InputError("photo", "needs one picture", "something else")
        return await run_in_threadpool(_refused, request, desk, slug, "photo", TypedForm(), error)
    return await run_in_threadpool(_keep_photo, request, desk, slug, *sent)


def _keep_photo(
    request: Request, desk: Desk, slug: str, typed: TypedForm, content: bytes
) -> Response:
    desk.ledger.batch(slug)
    try:
        at = batch_form.moment_of(typed, desk.now, desk.zone)
        if not content:
            raise InputError("photo", "needs a picture to be chosen", "none")
        caption = typed.get("caption").strip()
        identity = typed.get("id").strip() or None
        entry = add_photo(desk.ledger, slug, content, at=at, caption=caption, id=identity)
    except SameIdError as error:
        return _sent_before(request, desk, slug, "photo", typed, error)
    except InputError as error:
        return _refused(request, desk, slug, "photo", typed, error)
    return back_to(slug, entry.id)


@router.get("/batches/{slug}/photos/{photo}")
def photo(request: Request, slug: str, photo: str) -> Response:
    """A picture."""
    kept = Desk(request).ledger.photo(slug, photo)
    headers = {"Cache-Control": "private, max-age=31536000, immutable"}
    return Response(kept.content, media_type=kept.media_type, headers=headers)
