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
from mustwright.how_far import Progress, go_on, tell
from mustwright.plain_data import picked
from mustwright.services.batch.repository import Ledger, PhotoRecord, TakenIn
from mustwright.texts import say

SCHEMA = "mustwright-batch-1"
LARGEST_TEXT = 200_000_000
TOLD_EVERY = 200  # lines of a log between two words of how far it is
LINES_OF_A_PICTURE = 1000  # that take as long as preparing one picture, about


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


def import_json(ledger: Ledger, text: str, progress: Progress = go_on) -> BatchRecord:
    """The batch of such a file, as it was: its lines keep their places, times and authors.

    A file whose batch is kept already with the same log writes nothing and gives that batch.

    Parameters
    ----------
    progress : callable
        Told how far it is; can stop it until the batch is written.

    Raises
    ------
    InputError
        Naming the first thing that cannot be used; nothing is written then.
    ConflictError
        When the batch is kept already and its log says something else, or it was deleted.
    StoppedError
        When `progress` said not to go on; nothing is written then.
    """
    taken = _taken(_parsed(text), progress)
    tell(progress, 0.9)
    first = taken.entries[0].id
    slug = ledger.holding([first]).get(first)
    return ledger.take_in(taken) if slug is None else _kept_already(ledger, slug, taken)


def _kept_already(ledger: Ledger, slug: str, taken: TakenIn) -> BatchRecord:
    """The batch that is there, if it says at least what the file says."""
    if slug not in {record.slug for record in ledger.batches()}:
        raise ConflictError(
            say(
                "this batch was here before as {slug!r} and was deleted: bring that "
                "one back instead; nothing was written",
                slug=slug,
            )
        )
    log = {entry.id: entry for entry in ledger.log(slug)}
    for line in taken.entries:
        kept = log.get(line.id)
        if kept is None or (kept.at, kept.who, kept.what) != (line.at, line.who, line.what):
            raise ConflictError(
                say(
                    "this batch is already here as {slug!r}, and line {seq} of the "
                    "file is not in it; nothing was written",
                    slug=slug,
                    seq=line.seq,
                )
            )
    return ledger.batch(slug)


def _taken(content: Mapping[str, Any], progress: Progress) -> TakenIn:
    log, pictures = _list(content, "log"), _list(content, "photos")
    of = len(log) + LINES_OF_A_PICTURE * len(pictures)
    entries = []
    for i, one in enumerate(log):
        if i % TOLD_EVERY == 0:
            tell(progress, 0.9 * i / of)
        entries.append(_entry(one, i))
    if not entries or not isinstance(entries[0].what, PlanAdopted):
        raise InputError(
            "log", say("needs to begin with a plan"), say("{count} lines", count=len(entries))
        )
    if any(b.seq <= a.seq for a, b in pairwise(entries)) or entries[0].seq < 1:
        raise InputError("log", say("needs places that go up from 1"), say("others"))
    if plan_in_force(standing(entries)) is None:
        raise InputError("log", say("needs a plan that counts"), say("none"))
    photos = []
    for i, one in enumerate(pictures):
        tell(progress, 0.9 * (len(log) + LINES_OF_A_PICTURE * i) / of)
        photos.append(_photo(one, i))
    name, sheet = content.get("name"), content.get("sheet", "")
    if not isinstance(name, str) or not 0 < len(name.strip()) <= 120:
        raise InputError("name", say("needs a name of 1 to 120 characters"), name)
    if not isinstance(sheet, str):
        raise InputError("sheet", say("needs the short name of a must"), sheet)
    shown = {e.what.photo for e in entries if isinstance(e.what, Photo)}
    if missing := shown - {p.id for p in photos}:
        raise InputError("photos", say("needs every picture of the log"), sorted(missing)[0])
    if len({p.id for p in photos}) < len(photos):
        raise InputError("photos", say("needs an id of its own for each picture"), say("one twice"))
    last = entries[-1]
    version, slug = content.get("version", last.seq), content.get("slug", name)
    if not isinstance(version, int) or isinstance(version, bool) or version < last.seq:
        raise InputError("version", say("needs a whole number from {seq}", seq=last.seq), version)
    if not isinstance(slug, str):
        raise InputError("slug", say("needs the short name of a batch"), slug)
    updated = last.logged_at or last.at
    if "updated_at" in content:
        updated = moment_from(content["updated_at"], "updated_at")
    return TakenIn(slug, name.strip(), sheet, version, updated, entries, photos)


def _parsed(text: str) -> Mapping[str, Any]:
    if len(text) > LARGEST_TEXT:
        raise InputError(
            "file", say("needs at most 200 MB"), say("{count} characters", count=len(text))
        )
    try:
        content = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise InputError("file", say("needs JSON"), str(error)) from None
    if not isinstance(content, dict) or content.get("schema") != SCHEMA:
        raise InputError("schema", say("needs {schema}", schema=SCHEMA), say("another file"))
    return content


def _list(content: Mapping[str, Any], name: str) -> list[Any]:
    value = content.get(name, [])
    if not isinstance(value, list):
        raise InputError(name, say("needs a list"), value)
    return value


def _entry(one: object, i: int) -> Entry:
    where = f"log[{i}]"
    if not isinstance(one, dict):
        raise InputError(where, say("needs a table of named values"), one)
    what = what_from(str(one.get("kind")), one.get("content"), f"{where}.content")
    at = moment_from(one.get("at"), f"{where}.at")
    kept = one.get("logged_at")
    logged_at = None if kept is None else moment_from(kept, f"{where}.logged_at")
    seq = one.get("seq", i + 1)
    if not isinstance(seq, int) or isinstance(seq, bool):
        raise InputError(f"{where}.seq", say("needs a whole number"), seq)
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
        raise InputError(where, say("needs a table of named values"), one)
    try:
        content = base64.b64decode(str(one.get("base64")), validate=True)
    except ValueError:
        raise InputError(f"{where}.base64", say("needs base64"), say("other text")) from None
    digest = hashlib.sha256(content).hexdigest()
    if digest != one.get("sha256"):
        raise InputError(
            f"{where}.sha256", say("needs the checksum of the picture"), one.get("sha256")
        )
    made, width, height = prepared_once(content)
    moment: datetime = moment_from(one.get("created_at"), f"{where}.created_at")
    id = str(one.get("id"))
    if not (id.isalnum() and len(id) <= 64):
        raise InputError(f"{where}.id", say("needs letters and digits"), id)
    made_digest = hashlib.sha256(made).hexdigest()
    return PhotoRecord(id, "", "image/jpeg", width, height, len(made), made_digest, moment, made)
