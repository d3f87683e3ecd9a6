"""The finishing bench for a batch: its own numbers in the forms, what is done written into it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from urllib.parse import urlencode

from starlette.requests import Request

from mustwright.batch import log_text as words
from mustwright.batch.finishing_text import added_words
from mustwright.batch.view_json import is_closed
from mustwright.bench.batch_start import BatchStart, start_from
from mustwright.bench.liquid import FACTS
from mustwright.bench.step import StepPage
from mustwright.bench.step_table import PAGES
from mustwright.errors import InputError
from mustwright.services.batch.finishing import amounts_of, why_not
from mustwright.services.batch.record import new_id
from mustwright.services.repository import MissingRecordError
from mustwright.texts import join, say, uncapital
from mustwright.unit_system import speak_of
from mustwright.web.forms.finish_form import FinishForm, finish_form
from mustwright.web.forms.typed import TypedForm, as_kept
from mustwright.web.pages.batch.shared import Desk

_SLUG = re.compile(r"[a-z0-9][a-z0-9-]{0,119}")
MOST_BATCHES = 60


def start_of(desk: Desk, slug: str) -> BatchStart | None:
    """A kept batch's numbers; None for what is no batch."""
    if not _SLUG.fullmatch(slug):
        return None
    try:
        return start_from(desk.view(slug), desk.zone)
    except MissingRecordError:
        return None


def form_of(request: Request, page: StepPage, pairs: Iterable[tuple[str, str]]) -> FinishForm:
    """A step's form, filled by the batch where one is named."""
    every = [(name, as_kept(name, value)) for name, value in pairs]
    named = next((v for k, v in every if k == "batch"), "")
    desk = Desk(request)
    start = start_of(desk, named)
    if start is None:
        return finish_form(page, every)
    speak_of(desk.view(named).progress.plan.sheet)
    more = {}
    if "link" in page.names:
        base = request.app.state.access.address or str(request.base_url)
        more["link"] = f"{base.rstrip('/')}/batches/{start.slug}"

    def other(slug: str) -> BatchStart:
        found = start_of(desk, slug)
        if found is None:
            raise InputError("lot", say("needs a batch of the cellar"), slug)
        return found

    return finish_form(page, every, start, other, more)


def addresses(known: Mapping[str, str]) -> dict[str, str]:
    """Where each step is, with a batch or the facts of a liquid in the address."""
    tail = f"?{urlencode(known)}" if known else ""
    return {"": f"/finish{tail}", **{slug: f"/finish/{slug}{tail}" for slug in PAGES}}


def batch_context(desk: Desk, start: BatchStart) -> dict[str, object]:
    """What is in the vessel, with where each fact comes from, and what went in."""
    held, view = start.held, desk.view(start.slug)
    speak_of(view.progress.plan.sheet)
    facts = [
        (fact.label, fact.printed(value), held.how.get(name, ""))
        for name, fact in FACTS.items()
        if (value := getattr(held, name)) is not None
    ]
    if held.stabilised:
        facts.append((say("Yeast stopped by"), held.stabilised.replace("+", " and "), ""))
    return {
        "start": start,
        "facts": facts,
        "went_in": [
            (words.moment(at, desk.zone, desk.now), added_words(one)) for at, one in held.added
        ],
        "doubts": start.doubts(),
        "step_due": view.step,
    }


def own_words(form: FinishForm) -> str:
    """Which fields were typed over the batch's numbers."""
    if form.start is None:
        return ""
    over = [
        (form.label(name) or name, form.own[name].replace("\n", "; "))
        for name in (*form.changed, *form.emptied)
        if name in form.own
    ]
    told = (
        say("{field} (the batch has {own})", field=uncapital(label), own=own) for label, own in over
    )
    return join("; ", told)


def record_context(request: Request, form: FinishForm, result: object | None) -> dict[str, object]:
    """The form that writes an answer into the batch, or why it may not be written yet."""
    none: dict[str, object] = {"record": None, "record_errors": {}, "record_typed": TypedForm()}
    none |= {
        "batches": _batches(request, form),
        "doubts": form.start.doubts() if form.start else (),
    }
    if form.start is None or form.filled is None or result is None:
        return none
    refused = why_not(result, form.filled)
    uses = amounts_of(result, form.filled)
    asked = {**form.typed, **dict.fromkeys(form.emptied, "")}
    return none | {
        "record": {
            "name": form.start.name,
            "refused": refused,
            "uses": uses,
            "asked": urlencode([*asked.items(), ("batch", form.start.slug), ("show", "1")]),
            "over": ",".join(form.changed),
            "id": new_id(),
        },
        "record_typed": TypedForm({use.key: use.text for use in uses}),
    }


def _batches(request: Request, form: FinishForm) -> list[tuple[str, str]]:
    """Batches that a lot can come from."""
    if form.start is None or not form.page.lot:
        return []
    records = sorted(Desk(request).ledger.batches(), key=lambda r: r.updated_at, reverse=True)
    found = [(r.slug, r.name) for r in records if not is_closed(r.digest)]
    return [("", say("typed below")), *found[:MOST_BATCHES]]
