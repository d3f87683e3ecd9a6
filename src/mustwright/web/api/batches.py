"""The batch for devices and programs: post readings, ask how it stands."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Literal

import orjson
from fastapi import APIRouter, Depends, HTTPException, Request
from fastapi.security import HTTPAuthorizationCredentials, HTTPBearer
from pydantic import BaseModel, ConfigDict, Field
from starlette.responses import Response

from mustwright.batch.calendar import calendar_text
from mustwright.batch.clock import refuse_future
from mustwright.batch.codec import moment_from
from mustwright.batch.entries import Entry, Reading
from mustwright.batch.tasting_dates import TASTED_UNTIL
from mustwright.batch.view_json import is_closed, view_data
from mustwright.errors import InputError
from mustwright.plain_data import data_of
from mustwright.services.batch.batch_view import look
from mustwright.services.batch.export_json import entry_data, export_json
from mustwright.services.batch.log_table import export_csv
from mustwright.services.batch.repository import Ledger, TokenRecord
from mustwright.services.batch.tokens import CALENDAR, DEVICE, token_of
from mustwright.services.batch.worklist import DueList, due_today

MOST_READINGS, MOST_LISTED = 500, 100
CHALLENGE = {"WWW-Authenticate": "Bearer"}
router = APIRouter(prefix="/api", tags=["batches"])
feed_router = APIRouter(tags=["calendar"])
bearer = HTTPBearer(auto_error=False, description="The token of a device, for one batch.")
Credentials = Annotated[HTTPAuthorizationCredentials | None, Depends(bearer)]
ERRORS: dict[int | str, dict[str, Any]] = {
    400: {"description": "The body is no JSON."},
    401: {"description": "No token, or one that was ended or is for another batch."},
    403: {"description": "A change asked for by a page of another origin."},
    404: {"description": "No such batch."},
    409: {"description": "An id was used before and says otherwise."},
    413: {"description": "More than 1 MB."},
    422: {"description": "A field cannot be used, or lies ahead of the clock; it is named."},
    503: {"description": "The cellar cannot be reached: see Retry-After; nothing was written."},
    507: {"description": "The disk is full, read-only or failing; nothing was written."},
}
READ_ERRORS: dict[int | str, dict[str, Any]] = {k: ERRORS[k] for k in (400, 401, 404, 422, 503)}


class ReadingIn(BaseModel):
    """One reading; at least one of gravity, brix, temperature_c, ph."""

    model_config = ConfigDict(extra="forbid")

    client_id: str = Field(
        pattern=r"^[A-Za-z0-9][A-Za-z0-9._:-]{0,79}$",
        description="Chosen by the device; sending it again writes nothing again.",
    )
    at: str = Field(
        max_length=40,
        description="When, ISO 8601 with its zone.",
        examples=["2031-05-01T18:00:00+02:00"],
    )
    gravity: float | None = Field(None, ge=0.95, le=1.25, description="As read [-].")
    brix: float | None = Field(None, ge=-10, le=50, description="As read [Brix].")
    instrument: str = Field("sensor", pattern="^(hydrometer|refractometer|sensor)$")
    calibration_c: float = Field(20.0, ge=10, le=30, description="Of the instrument [°C].")
    sample_c: float | None = Field(None, ge=0, le=60, description="Of the liquid read [°C].")
    temperature_c: float | None = Field(None, ge=-10, le=60, description="Of the must [°C].")
    ph: float | None = Field(None, ge=1.5, le=8)
    ph_by: Literal["meter", "strip"] = Field("meter", description="What pH was read with.")
    note: str = Field("", max_length=400)


class ReadingsIn(BaseModel):
    """A batch of readings; all are kept, or none."""

    model_config = ConfigDict(extra="forbid")

    readings: list[ReadingIn] = Field(min_length=1, max_length=MOST_READINGS)


class Kept(BaseModel):
    """What became of one reading."""

    client_id: str
    seq: int
    logged_at: str


class ReadingsOut(BaseModel):
    """What is now in the log."""

    kept: list[Kept]


def _ledger(request: Request) -> Ledger:
    ledger: Ledger = request.app.state.compose.ledger
    return ledger


def _device(request: Request, slug: str, given: Credentials) -> TokenRecord | None:
    """The device whose token came; without one, a session or loopback is enough to read."""
    if given is None:
        return None
    token = token_of(_ledger(request), given.credentials, DEVICE, slug)
    if token is None:
        raise HTTPException(
            401, "The token is not one of this batch", {"WWW-Authenticate": "Bearer"}
        )
    return token


@router.post("/batches/{slug}/readings", responses=ERRORS)
def post_readings(request: Request, slug: str, body: ReadingsIn, given: Credentials) -> ReadingsOut:
    """Keep readings of a device.

    Needs ``Authorization: Bearer TOKEN``. When this answers, the readings are on the disk.
    """
    token = _device(request, slug, given)
    if token is None:
        raise HTTPException(401, "A token is needed", CHALLENGE)
    now = request.app.state.compose.clock()
    entries = [_entry(one, i, token.label, now) for i, one in enumerate(body.readings)]
    written = _ledger(request).append(slug, entries)
    return ReadingsOut(
        kept=[
            Kept(client_id=e.id, seq=e.seq, logged_at=e.logged_at.isoformat())
            for e in written
            if e.logged_at is not None
        ]
    )


def _entry(one: ReadingIn, i: int, label: str, now: datetime) -> Entry:
    at: datetime = moment_from(one.at, f"readings[{i}].at")
    refuse_future(f"readings[{i}].at", at, now)
    content = one.model_dump(exclude={"client_id", "at"})
    try:
        made = Entry(one.client_id, at, f"device: {label}", Reading(**content))
    except InputError as error:
        where = f"readings[{i}].{error.field}"
        raise InputError(where, error.requirement, error.got) from None
    return made


@router.get("/batches", responses=READ_ERRORS)
def due(request: Request) -> Response:
    """What is due today across all batches, the worst first; at most a hundred of each kind."""
    compose = request.app.state.compose
    found = due_today(_ledger(request), compose.clock(), compose.local_zone)
    kept = getattr(request.app.state, "due_said", None)
    if kept is None or kept[0] is not found:  # the list itself is kept: so is what it says
        kept = request.app.state.due_said = (found, _due_json(found))
    return Response(kept[1], media_type="application/json")


def _due_json(found: DueList) -> bytes:
    shown = {
        "today": data_of(found.today[:MOST_LISTED]),
        "later": data_of(found.later[:MOST_LISTED]),
        "today_count": len(found.today),
        "later_count": len(found.later),
        "closed_count": found.closed,
        "stale_count": found.stale,
    }
    return orjson.dumps(shown)


@router.get("/batches/{slug}", responses=READ_ERRORS)
def state(request: Request, slug: str, given: Credentials) -> Response:
    """How one batch stands: gravity, next step, findings, feeds, forecast."""
    _device(request, slug, given)
    compose = request.app.state.compose
    view = look(_ledger(request), slug, compose.clock(), compose.local_zone)
    return _said(view_data(view))


@router.get("/batches/{slug}/log", responses=READ_ERRORS)
def log(request: Request, slug: str, given: Credentials, after: int = 0) -> Response:
    """The log as it was written, lines after a place in it."""
    _device(request, slug, given)
    lines = [e for e in _ledger(request).log(slug) if e.seq > after]
    return _said({"log": [entry_data(e) for e in lines[:2000]]})


@router.get("/batches/{slug}/export.json", responses=READ_ERRORS)
def whole(request: Request, slug: str, given: Credentials) -> Response:
    """The batch, whole, to be taken in elsewhere."""
    _device(request, slug, given)
    return _file(export_json(_ledger(request), slug), "application/json", f"{slug}.json")


@router.get("/batches/{slug}/export.csv", responses=READ_ERRORS)
def table(request: Request, slug: str, given: Credentials) -> Response:
    """Readings, feeds, events, finishing steps and notes as a table."""
    _device(request, slug, given)
    compose = request.app.state.compose
    view = look(_ledger(request), slug, compose.clock(), compose.local_zone)
    return _file(export_csv(view.stands), "text/csv; charset=utf-8", f"{slug}.csv")


@router.get("/batches/{slug}/calendar.ics", responses=READ_ERRORS)
def calendar(request: Request, slug: str, given: Credentials) -> Response:
    """Feeds and checks of one batch, once."""
    _device(request, slug, given)
    return _file(_calendar(request, slug), "text/calendar; charset=utf-8", f"{slug}.ics")


@feed_router.get("/calendar/{secret}.ics", responses={404: ERRORS[404], 422: ERRORS[422]})
def calendar_feed(request: Request, secret: str, batch: str | None = None) -> Response:
    """The calendar to subscribe to; the address itself is the key, so it can be ended."""
    if token_of(_ledger(request), secret, CALENDAR, batch) is None:
        raise HTTPException(404, "No such calendar")
    return Response(
        _calendar(request, batch),
        media_type="text/calendar; charset=utf-8",
        headers={"Cache-Control": "private, max-age=300"},
    )


def _calendar(request: Request, slug: str | None) -> bytes:
    compose = request.app.state.compose
    ledger = _ledger(request)
    slugs = [slug] if slug is not None else _going_on(ledger, compose.clock())
    views = [look(ledger, one, compose.clock(), compose.local_zone) for one in slugs]
    name = views[0].record.name if slug and views else "Mustwright"
    return calendar_text(views, name, compose.local_zone)


def _going_on(ledger: Ledger, now: datetime) -> list[str]:
    """The batches changed last, those closed long ago left out; at most a hundred."""
    records = sorted(ledger.batches(), key=lambda r: r.updated_at, reverse=True)
    found = [r for r in records if not is_closed(r.digest) or now - r.updated_at < TASTED_UNTIL]
    return [r.slug for r in found][:100]


def _said(data: object) -> Response:
    """Plain data as JSON: hundreds of readings and bands, too many for the usual encoder."""
    return Response(orjson.dumps(data), media_type="application/json")


def _file(content: str | bytes, media_type: str, name: str) -> Response:
    disposition = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(content, media_type=media_type, headers=disposition)
