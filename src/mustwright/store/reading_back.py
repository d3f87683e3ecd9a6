"""Can the program read every record of a cellar, so that no page fails on it later."""

from __future__ import annotations

import hashlib
import json
import sqlite3
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, select
from sqlalchemy.types import LargeBinary

from mustwright.batch.entries import PlanAdopted, what_from
from mustwright.batch.log import plan_in_force, standing
from mustwright.errors import MustwrightError, not_plain, words_of
from mustwright.how_far import Progress, go_on, tell
from mustwright.services.notebook import KINDS, TASTING, TRIAL, NotePage
from mustwright.services.repository import is_slug
from mustwright.services.tastings import tasting_from
from mustwright.services.trials import trial_from
from mustwright.store import tables
from mustwright.store.column_types import Count, UtcDateTime
from mustwright.store.engine import StoreError
from mustwright.store.log_rows import log_of
from mustwright.texts import say

CHUNK = 500


def read_rows(connection: Connection, source: Path, progress: Progress = go_on) -> None:
    """Look at every value of every record.

    Raises
    ------
    StoreError
        Naming the first table with a record that cannot be read.
    StoppedError
        If `progress` said not to go on.
    """
    every = tables.metadata.sorted_tables
    for i, table in enumerate(every):
        tell(progress, i / len(every))
        try:
            _rows(connection, table)
        except (ValueError, TypeError, KeyError, sqlite3.Error, MustwrightError) as error:
            raise StoreError(
                say(
                    "{source} cannot be read: {table}: {error}",
                    source=source,
                    table=table.name,
                    error=words_of(error),
                )
            ) from error


def read_logs(connection: Connection, source: Path, progress: Progress = go_on) -> None:
    """Read every log as the pages do, and more strictly.

    Raises
    ------
    StoreError
        Naming the first batch that cannot be read.
    StoppedError
        If `progress` said not to go on.
    """
    every = connection.execute(select(tables.batch.c.key)).scalars().all()
    for i, slug in enumerate(every):
        tell(progress, i / len(every))
        try:
            _log(connection, slug)
        except (ValueError, TypeError, KeyError, MustwrightError) as error:
            raise StoreError(
                say(
                    "{source} cannot be read: batch {slug!r}: {error}",
                    source=source,
                    slug=slug,
                    error=words_of(error),
                )
            ) from error


def _rows(connection: Connection, table: Any) -> None:
    """Every value is of the type of its column, and fits what the program expects of it."""
    result = connection.execution_options(yield_per=CHUNK).execute(select(table))
    for row in result.mappings():
        for column in table.c:
            _of_its_type(column, row[column.name])
        _CHECKS.get(table.name, _nothing_more)(row)


def _of_its_type(column: Any, value: Any) -> None:
    if value is None and column.nullable:
        return
    if isinstance(value, str) and (wrong := not_plain(value)):
        raise ValueError(f"{column.name} needs plain text, got {wrong}")
    kinds: dict[type[Any], type[Any]] = {
        Count: int, LargeBinary: bytes, UtcDateTime: datetime,
    }  # fmt: skip
    wanted = next((v for k, v in kinds.items() if isinstance(column.type, k)), str)
    if not isinstance(value, wanted):
        raise ValueError(f"{column.name} needs {wanted.__name__}, got {type(value).__name__}")


def _nothing_more(_row: Any) -> None:
    return


def _batch(row: Any) -> None:
    _short_name(row)
    if row["version"] < 1:
        raise ValueError(f"{row['key']}: needs a version from 1")
    if not 0 < len(row["name"]) <= 120:
        raise ValueError(f"{row['key']}: needs a name of 1 to 120 characters")


def _short_name(row: Any) -> None:
    if not is_slug(row["key"]):
        raise ValueError(f"needs a short name of letters, digits and hyphens, got {row['key']!r}")


def _photo(row: Any) -> None:
    content = row["content"]
    if hashlib.sha256(content).hexdigest() != row["sha256"] or len(content) != row["size_bytes"]:
        raise ValueError(f"the picture {row['id']!r} is not the one that was kept")
    if row["media_type"] != "image/jpeg":
        raise ValueError(f"the picture {row['id']!r} needs to be a JPEG")


def _page(row: Any) -> None:
    page = NotePage(**row)
    if page.version < 1:
        raise ValueError(f"{page.key}: needs a version from 1")
    if page.kind not in KINDS:
        raise ValueError(f"{page.key}: needs a kind of page this program writes, got {page.kind!r}")
    readers = {TRIAL: trial_from, TASTING: tasting_from}
    readers.get(page.kind, lambda p: json.loads(p.content))(page)


_CHECKS = {"batch": _batch, "sheet": _short_name, "photo": _photo, "notebook": _page}


def _log(connection: Connection, slug: str) -> None:
    """A log begins with a plan, its places go up, and each line holds what its kind needs."""
    lines = log_of(connection, slug)
    contents = select(tables.entry.c.kind, tables.entry.c.content, tables.entry.c.id)
    here = contents.where(tables.entry.c.batch == slug).order_by(tables.entry.c.seq)
    for kind, content, id in connection.execute(here):
        what_from(kind, json.loads(content), f"entry {id}")
    if not lines or not isinstance(lines[0].what, PlanAdopted):
        raise ValueError("needs to begin with a plan")
    for line in lines:
        line.__post_init__()  # the quick reader leaves it out
    version = connection.execute(
        select(tables.batch.c.version).where(tables.batch.c.key == slug)
    ).scalar_one()
    if lines[-1].seq > version:
        raise ValueError(f"needs a version of at least {lines[-1].seq}, got {version}")
    if plan_in_force(standing(lines)) is None:
        raise ValueError("needs a plan that counts")
