"""One entry of the log: correct it, delete it, bring it back, with everything it ever said."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from fastapi import APIRouter, Request
from starlette.responses import Response

from mustwright.batch import log_text as words
from mustwright.batch.entries import CORRECTABLE, Correction, Entry, what_from
from mustwright.batch.log import Standing, to_undo
from mustwright.batch.plan import BatchPlan
from mustwright.batch.view import BatchView
from mustwright.errors import InputError
from mustwright.services.batch.record import correct, remove, restore, undo
from mustwright.services.batch.repository import ChangedEntryError
from mustwright.services.repository import MissingRecordError
from mustwright.texts import say
from mustwright.unit_system import temperature_unit, units_of
from mustwright.web.forms import batch_form
from mustwright.web.forms.typed import TypedForm, number_of, said
from mustwright.web.pages import batch_options
from mustwright.web.pages.batch.batch_page import shown
from mustwright.web.pages.batch.shared import Desk, Form, back_to
from mustwright.web.pages.render_values import show, show_form

router = APIRouter(include_in_schema=False)


def _stand(view: BatchView, id: str) -> Standing:
    for stand in view.stands:
        if stand.entry.id == id:
            return stand
    raise MissingRecordError("entry", id)


@router.get("/batches/{slug}/entries/{id}")
def entry_page(request: Request, slug: str, id: str) -> Response:
    """The entry in its form, and its history."""
    desk = Desk(request)
    view = desk.view(slug)
    return _form(request, desk, view, _stand(view, id))


@router.post("/batches/{slug}/entries/{id}")
def keep_correction(request: Request, slug: str, id: str, typed: Form) -> Response:
    """Correct the entry; what it said before stays in the log."""
    desk = Desk(request)
    view = desk.view(slug)
    stand = _stand(view, id)
    plan = view.progress.plan
    opened = _opened(view, stand, typed, desk)
    try:
        seen = number_of(typed, "seen")
        what = batch_form.corrected(stand.what, opened, typed, plan)
        at = None
        if typed.get("at") != opened.get("at"):
            at = batch_form.moment_of(typed, desk.now, desk.zone)
        if what == stand.what and (at is None or at == stand.at):
            return back_to(slug, "", f"#e-{id}")
        correct(desk.ledger, slug, id, what, at=at, seen=seen, now=desk.now)
    except ChangedEntryError as error:
        view = desk.view(slug)
        merged = _merged(_stand(view, id), error.theirs, typed, desk)
        return _form(request, desk, view, stand, merged, theirs=error.theirs)
    except InputError as error:
        field = f"entry-{batch_form.field_of(error.field)}"
        return _form(request, desk, view, stand, typed, {field: said(error)})
    return back_to(slug, "", f"#e-{id}")


def _merged(now: Standing, theirs: Sequence[Entry], typed: TypedForm, desk: Desk) -> TypedForm:
    """What was typed; fields that were left alone take what the other one wrote."""
    first = theirs[0].what
    if not isinstance(first, Correction):
        return typed
    unit = typed.get("unit_opened") or "C"
    was = what_from(now.entry.what.kind, first.before)
    gallons = typed.get("volume_unit") or "L"
    base = batch_form.typed_from(was, first.at_before, unit, desk.zone, gallons)
    other = batch_form.typed_from(now.what, now.at, unit, desk.zone, gallons)
    kept = {
        name: other.get(name, value) if value.strip() == base.get(name).strip() else value
        for name, value in typed.fields.items()
    }
    return TypedForm(kept, typed.rows, typed.many)


def _opened(view: BatchView, stand: Standing, typed: TypedForm, desk: Desk) -> TypedForm:
    """The form as it was when opened, in the unit it was opened in."""
    unit = typed.get("unit_opened") or temperature_unit(view.progress.plan.sheet)
    return batch_form.typed_from(
        stand.what, stand.at, unit, desk.zone, typed.get("volume_unit") or "L"
    )


def _form(
    request: Request,
    desk: Desk,
    view: BatchView,
    stand: Standing,
    typed: TypedForm | None = None,
    errors: Mapping[str, str] | None = None,
    theirs: Sequence[Entry] = (),
) -> Response:
    if not isinstance(stand.what, CORRECTABLE):
        raise InputError("entry", say("needs one that can be corrected"), stand.what.kind)
    now = _stand(view, stand.entry.id)
    plan = view.progress.plan
    unit = temperature_unit(plan.sheet)
    return show_form(
        request,
        "batch_entry.html",
        stamp=str(view.record.version),
        errors=errors,
        theirs=_both(now, theirs, plan, desk),
        record=view.record,
        plan=plan,
        stand=now,
        said=words.said(now.what, plan),
        when_said=words.moment(now.at, desk.zone, desk.now),
        kind=now.what.kind,
        typed=typed
        or batch_form.typed_from(now.what, now.at, unit, desk.zone, units_of(plan.sheet).volume),
        unit=unit,
        changes=words.history(now, desk.zone, plan),
        jars=_jars(plan, now),
        instruments=batch_form.instrument_options(),
        units=batch_form.UNIT_OPTIONS,
        events=batch_form.EVENT_OPTIONS,
        step_fields=batch_form.step_labels(now.what),
    )


def _both(now: Standing, theirs: Sequence[Entry], plan: BatchPlan, desk: Desk) -> str:
    """What the entry says by now, where someone else changed it."""
    if not theirs:
        return ""
    gone = "Deleted. It said: " if now.removed else ""
    said = words.said(now.what, plan)
    return say(
        "{gone}{said}, {when}", gone=gone, said=said, when=words.moment(now.at, desk.zone, desk.now)
    )


def _jars(plan: BatchPlan, stand: Standing) -> list[tuple[str, str]]:
    """Nutrients that a feed may be corrected to: those of the plan and those it has."""
    found = dict(batch_options.jar_options(plan))
    for item in getattr(stand.what, "items", ()):
        found.setdefault(item.nutrient, item.name or item.nutrient)
    return list(found.items())


# Delete, bring back, undo ---------------------------------------------------------------------


@router.post("/batches/{slug}/entries/{id}/delete")
def delete(request: Request, slug: str, id: str, typed: Form) -> Response:
    """Stop the entry from counting."""
    return _counted(request, slug, id, typed, remove, say("delete it"))


@router.post("/batches/{slug}/entries/{id}/restore")
def bring_back(request: Request, slug: str, id: str, typed: Form) -> Response:
    """Make a deleted entry count again."""
    return _counted(request, slug, id, typed, restore, say("bring it back"))


def _counted(
    request: Request, slug: str, id: str, typed: TypedForm, use: Callable[..., object], wanted: str
) -> Response:
    """Stop an entry from counting, or make it count again; show what others wrote since."""
    desk = Desk(request)
    try:
        use(desk.ledger, slug, id, seen=number_of(typed, "seen"), now=desk.now)
    except ChangedEntryError as error:
        return _clash(request, desk, slug, id, error, wanted)
    return back_to(slug, "", f"#e-{id}")


def _clash(
    request: Request, desk: Desk, slug: str, id: str, error: ChangedEntryError, wanted: str
) -> Response:
    """Both sides of a conflict: what was wanted here, and what happened elsewhere meanwhile."""
    view = desk.view(slug)
    stand = _stand(view, id)
    plan = view.progress.plan
    ids = {entry.id for entry in error.theirs}
    rows = words.history(stand, desk.zone, plan)
    return show(
        request,
        "batch_clash.html",
        409,
        record=view.record,
        stand=stand,
        said=words.said(stand.what, plan),
        when=words.moment(stand.at, desk.zone, desk.now),
        wanted=wanted,
        changes=rows[: max(len(ids), 1)],
    )


@router.post("/batches/{slug}/undo")
def take_back(request: Request, slug: str, typed: Form) -> Response:
    """Take the latest line back, if it is still the one that was shown."""
    desk = Desk(request)
    last = to_undo(desk.ledger.log(slug))
    if last is not None and last.id != typed.get("line"):
        conflict = say("something was written since you opened the page; nothing was undone")
        return shown(request, desk, slug, conflict=conflict)
    undone, _ = undo(desk.ledger, slug, seen=number_of(typed, "seen"), now=desk.now)
    target = getattr(undone.what, "target", undone.id)
    return back_to(slug, "", f"#e-{target}")
