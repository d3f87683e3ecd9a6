"""One batch: what to do next, writing it down, the timeline, worries, and the log."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from markupsafe import Markup
from starlette.responses import HTMLResponse, Response

from mustwright.batch import log_text as words
from mustwright.batch.early_readings import early_words
from mustwright.batch.entries import Entry, Reading
from mustwright.batch.feed_triggers import hours_of_feeds_passed
from mustwright.batch.log import Standing
from mustwright.batch.plan import BatchPlan, PlannedFeed
from mustwright.batch.reading_text import corrected_by_id, corrected_words
from mustwright.batch.view import BatchView
from mustwright.bench.step_table import PAGES
from mustwright.services.batch.newest import Newest, newest
from mustwright.services.batch.record import new_ids
from mustwright.texts import say
from mustwright.unit_system import units_of
from mustwright.web.forms import batch_form
from mustwright.web.forms.typed import TypedForm
from mustwright.web.pages import batch_options
from mustwright.web.pages.batch import facts, view_model
from mustwright.web.pages.batch.shared import Desk
from mustwright.web.pages.batch.told import told_of
from mustwright.web.pages.batch.view_model import PhShown
from mustwright.web.pages.kept_pages import Telling, kept_while_told
from mustwright.web.pages.render_values import show
from mustwright.web.pictures.batch_line import now_lines

router = APIRouter(include_in_schema=False)
SHOWN_LINES, MOST_LINES = 5, 2000
KINDS = ("reading", "feed", "event", "note", "photo")
NOTHING_WRONG: Mapping[str, str] = {}
# Of what is put into a page that is kept: ids, then now in its two pictures, and those of pH.
_START = new_ids(1)[0][:-1]
_PLACES = tuple(f"{_START}{k}" for k in range(len(KINDS) + 4))
PLACES, DRAWN = dict(zip(KINDS, _PLACES, strict=False)), _PLACES[len(KINDS) :]


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
    if request.url.query:
        return shown(request, desk, slug, wrote=wrote, whole_log=log == "all", took=took)
    with desk.ledger.one_moment():
        view = desk.view(slug)
        must_kept = desk.must_kept(view.record.sheet)
    # Ids of what will be written are given once: another one would be taken for the same entry.
    fresh = dict(zip(PLACES.values(), new_ids(len(PLACES)), strict=True))
    return kept_while_told(view, request, must_kept, lambda: _telling(request, desk, view), fresh)


def _telling(request: Request, desk: Desk, view: BatchView) -> Telling:
    """All that the page tells, but the present moment in its pictures."""
    last = newest(desk.ledger, view, SHOWN_LINES)
    told = _told(desk, view, last, ids=PLACES)
    if view.progress.pitched is None:
        facts = told | {"pictures": None}
        return Telling(facts, {}, lambda: show(request, "batch.html", **facts))
    scene = view_model.scene_of(view)
    ph, drawn = _apart(view_model.ph_of(view, scene))
    drawn |= zip(DRAWN, now_lines(scene), strict=False)

    def make() -> HTMLResponse:
        pictures = view_model.pictures_of(scene, ph, DRAWN[:2])
        return show(request, "batch.html", **told, pictures=pictures)

    return Telling(told | {"pictures": (scene.but_now(), ph)}, drawn, make)


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
    view: BatchView | None = None,
) -> HTMLResponse:
    """The page, with what was typed and what was wrong with it, if anything.

    Parameters
    ----------
    conflict : str
        What someone else did meanwhile; with it the answer is 409.
    view : BatchView or None
        How it stands, where that is known.
    """
    with desk.ledger.one_moment():
        view = view or desk.view(slug)
        last = newest(desk.ledger, view, MOST_LINES if whole_log else SHOWN_LINES)
    told = _told(
        desk, view, last, wrote=_wrote(desk, view, wrote), took=took, typed=typed,
        errors=errors or {}, conflict=conflict,
        ids=dict(zip(KINDS, new_ids(len(KINDS)), strict=True)),
    )  # fmt: skip
    status = 409 if conflict else 422 if errors else 200
    pictures = view_model.pictures(view) if view.progress.pitched else None
    return show(request, "batch.html", status, **told, pictures=pictures)


def _told(
    desk: Desk,
    view: BatchView,
    last: Newest,
    *,
    ids: Mapping[str, str],
    wrote: str = "",
    took: int = 0,
    typed: Mapping[str, TypedForm] | None = None,
    errors: Mapping[str, str] = NOTHING_WRONG,
    conflict: str = "",
) -> dict[str, Any]:
    """All that the template is given but the pictures: where it is the same, so is the page."""
    plan, undo = view.progress.plan, last.undo
    told = told_of(view)
    return {
        "conflict": conflict,
        "view": told,
        "record": told.record,
        "step": told.step,
        "must_kept": desk.must_kept(view.record.sheet),
        "in_force": plan,
        "step_feed": step_feed(view),
        "facts": facts.facts_of(view, desk.zone, last.reading),
        "glance": facts.GLANCE,
        "feeds": view_model.feed_rows(view, desk.zone),
        "log": log_rows(last, view, desk),
        "log_length": view.entries,
        "undo": None if undo is None else {"id": undo[0].id, "words": words_of_line(undo, plan)},
        "wrote": wrote,
        "took": took,
        "typed": _filled(view, last, typed or {}),
        "errors": errors,
        "ids": ids,
        "instruments": batch_form.instrument_options(),
        "units": batch_form.UNIT_OPTIONS,
        "events": batch_form.EVENT_OPTIONS,
        "bench": _bench(),
    }


def _apart(ph: PhShown | None) -> tuple[PhShown | None, dict[str, str]]:
    """The pH with places where its pictures are drawn, and what is drawn there."""
    if ph is None:
        return None, {}
    wide, narrow = DRAWN[2:]
    return replace(ph, wide=Markup(wide), narrow=Markup(narrow)), {wide: ph.wide, narrow: ph.narrow}


@cache
def _bench() -> Mapping[str, str]:
    """Titles of the finishing bench's pages."""
    return {slug: one.title for slug, one in PAGES.items()}


def step_feed(view: BatchView) -> StepFeed | None:
    """The feed to tick off with one tap; none if something else comes before feeding.

    None either where no reading is fresh and its hours have passed: when it went in, if it did, is
    for the form to ask.
    """
    if view.assessed.is_stale and hours_of_feeds_passed(view.progress):
        return None
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
    instrument = batch_form.usual_instrument(last.reading)
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
    return say("{said} ({both})", said=said, both=both) if both else said


def words_of_line(undo: tuple[Entry, Standing], plan: BatchPlan) -> str:
    """What undo would take back, in words."""
    line, stand = undo
    before = {
        "correction": say("the correction of "),
        "removal": say("the deletion of "),
        "restoration": say("bringing back "),
    }
    return before.get(line.what.kind, "") + words.said(stand.what, plan)


def _wrote(desk: Desk, view: BatchView, id: str) -> str:
    """The entry just written, in words; empty when it is not the latest."""
    if not id:
        return ""
    stand = next((s for s in view.stands if s.entry.id == id and not s.removed), None)
    if stand is None:
        return ""
    said = words.said(stand.what, view.progress.plan)
    early = next((r for r in view.progress.early if r.at == stand.at), None)
    if early is None or not isinstance(stand.what, Reading):
        return said
    return said + ". " + early_words(early, desk.zone)
