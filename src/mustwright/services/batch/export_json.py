"""A batch as one JSON file: plan, log, every change and picture, and back again without loss."""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Mapping
from datetime import datetime
from itertools import pairwise
from typing import Any

from mustwright.batch.codec import moment_from
from mustwright.batch.entries import Entry, Photo, PlanAdopted, what_data, what_from
from mustwright.batch.log import plan_in_force, standing
from mustwright.batch.view import BatchRecord
from mustwright.errors import ConflictError, InputError
from mustwright.plain_data import picked
from mustwright.services.batch.repository import Ledger, PhotoRecord, TakenIn

SCHEMA = "mustwright-batch-1"
LARGEST_TEXT = 200_000_000


def export_json(ledger: Ledger, slug: str) -> str:
    """The batch, whole; tokens stay behind."""
    record = ledger.batch(slug)
    log = ledger.log(slug)
    photos = [ledger.photo(slug, p.id) for p in ledger.photos(slug)]
    return json.dumps(
        {
            "schema": SCHEMA,
            "slug": record.slug,
            "name": record.name,
            "sheet": record.sheet,
            "version": record.version,
            "updated_at": record.updated_at.isoformat(),
            "log": [entry_data(entry) for entry in log],
            "photos": [_photo_data(photo) for photo in photos],
        },
        ensure_ascii=False,
        indent=1,
        allow_nan=False,
    )


def entry_data(entry: Entry) -> dict[str, Any]:
    """One line of the log as plain data."""
    return {
        **picked(entry, "seq id at logged_at who"),
        "kind": entry.what.kind,
        "content": what_data(entry.what),
    }


def import_json(ledger: Ledger, text: str) -> BatchRecord:
    """The batch of such a file, as it was: its lines keep their places, times and authors.

    A file whose batch is kept already with the same log writes nothing and gives that batch.

    Raises
    ------
    InputError
        Naming the first thing that cannot be used; nothing is written then.
    ConflictError
        When the batch is kept already and its log says something else, or it was deleted.
    """
    taken = _taken(_parsed(text))
    first = taken.entries[0].id
    slug = ledger.holding([first]).get(first)
    return ledger.take_in(taken) if slug is None else _kept_already(ledger, slug, taken)


def _kept_already(ledger: Ledger, slug: str, taken: TakenIn) -> BatchRecord:
    """The batch that is there, if it says at least what the file says."""
    if slug not in {record.slug for record in ledger.batches()}:
        raise ConflictError(
            f"this batch was here before as {slug!r} and was deleted: bring that one back instead;"
            " nothing was written"
        )
    log = {entry.id: entry for entry in ledger.log(slug)}
    for line in taken.entries:
        kept = log.get(line.id)
        if kept is None or (kept.at, kept.who, kept.what) != (line.at, line.who, line.what):
            raise ConflictError(
                f"this batch is already here as {slug!r}, and line {line.seq} of the file is not"
                " in it; nothing was written"
            )
    return ledger.batch(slug)


def _taken(content: Mapping[str, Any]) -> TakenIn:
    entries = [_entry(one, i) for i, one in enumerate(_list(content, "log"))]
    if not entries or not isinstance(entries[0].what, PlanAdopted):
        raise InputError("log", "needs to begin with a plan", f"{len(entries)} lines")
    if any(b.seq <= a.seq for a, b in pairwise(entries)) or entries[0].seq < 1:
        raise InputError("log", "needs places that go up from 1", "others")
    if plan_in_force(standing(entries)) is None:
        raise InputError("log", "needs a plan that counts", "none")
    photos = [_photo(one, i) for i, one in enumerate(_list(content, "photos"))]
    name, sheet = content.get("name"), content.get("sheet", "")
    if not isinstance(name, str) or not 0 < len(name.strip()) <= 120:
        raise InputError("name", "needs a name of 1 to 120 characters", name)
    if not isinstance(sheet, str):
        raise InputError("sheet", "needs the short name of a must", sheet)
    shown = {e.what.photo for e in entries if isinstance(e.what, Photo)}
    if missing := shown - {p.id for p in photos}:
        raise InputError("photos", "needs every picture of the log", sorted(missing)[0])
    if len({p.id for p in photos}) < len(photos):
        raise InputError("photos", "needs an id of its own for each picture", "one twice")
    last = entries[-1]
    version, slug = content.get("version", last.seq), content.get("slug", name)
    if not isinstance(version, int) or isinstance(version, bool) or version < last.seq:
        raise InputError("version", f"needs a whole number from {last.seq}", version)
    if not isinstance(slug, str):
        raise InputError("slug", "needs the short name of a batch", slug)
    updated = last.logged_at or last.at
    if "updated_at" in content:
        updated = moment_from(content["updated_at"], "updated_at")
    return TakenIn(slug, name.strip(), sheet, version, updated, entries, photos)


def _parsed(text: str) -> Mapping[str, Any]:
    if len(text) > LARGEST_TEXT:
        raise InputError("file", "needs at most 200 MB", f"{len(text)} characters")
    try:
        content = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise InputError("file", "needs JSON", str(error)) from None
    if not isinstance(content, dict) or content.get("schema") != SCHEMA:
        raise InputError("schema", f"needs {SCHEMA}", "another file")
    return content


def _list(content: Mapping[str, Any], name: str) -> list[Any]:
    value = content.get(name, [])
    if not isinstance(value, list):
        raise InputError(name, "needs a list", value)
    return value


def _entry(one: object, i: int) -> Entry:
    where = f"log[{i}]"
    if not isinstance(one, dict):
        raise InputError(where, "needs a table of named values", one)
    what = what_from(str(one.get("kind")), one.get("content"), f"{where}.content")
    at = moment_from(one.get("at"), f"{where}.at")
    kept = one.get("logged_at")
    logged_at = None if kept is None else moment_from(kept, f"{where}.logged_at")
    seq = one.get("seq", i + 1)
    if not isinstance(seq, int) or isinstance(seq, bool):
        raise InputError(f"{where}.seq", "needs a whole number", seq)
    return Entry(str(one.get("id")), at, str(one.get("who", "")), what, seq, logged_at)


def _photo_data(photo: PhotoRecord) -> dict[str, Any]:
    return {
        **picked(photo, "id media_type width height created_at sha256"),
        "base64": base64.b64encode(photo.content).decode("ascii"),
    }


def _photo(one: object, i: int) -> PhotoRecord:
    """A picture from the file; prepared again unless it is ours, since it may be anything."""
    from mustwright.services.batch.photos import prepared_once

    where = f"photos[{i}]"
    if not isinstance(one, dict):
        raise InputError(where, "needs a table of named values", one)
    try:
        content = base64.b64decode(str(one.get("base64")), validate=True)
    except ValueError:
        raise InputError(f"{where}.base64", "needs base64", "other text") from None
    digest = hashlib.sha256(content).hexdigest()
    if digest != one.get("sha256"):
        raise InputError(f"{where}.sha256", "needs to be that of the picture", one.get("sha256"))
    made, width, height = prepared_once(content)
    moment: datetime = moment_from(one.get("created_at"), f"{where}.created_at")
    id = str(one.get("id"))
    if not (id.isalnum() and len(id) <= 64):
        raise InputError(f"{where}.id", "needs letters and digits", id)
    made_digest = hashlib.sha256(made).hexdigest()
    return PhotoRecord(id, "", "image/jpeg", width, height, len(made), made_digest, moment, made)
