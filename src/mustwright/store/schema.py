"""Is a file laid out as this program lays it out: compared object by object, nothing more in it."""

from __future__ import annotations

import os
import sqlite3
import tempfile
from contextlib import closing
from functools import lru_cache
from pathlib import Path
from typing import Any

from mustwright.store.engine import StoreError
from mustwright.store.migrating import migrate
from mustwright.store.sealing import SEAL
from mustwright.texts import say

Layout = dict[tuple[str, str], tuple[Any, ...]]


def refuse_other_layout(copy: sqlite3.Connection, source: Path, revision: str) -> None:
    """Refuse a file with anything else in it than the tables and indexes of its revision.

    Raises
    ------
    StoreError
        Naming the first object that is missing, unknown or made otherwise; a trigger or a view
        is always unknown.
    """
    here, wanted = layout(copy), _layout_of(revision)
    for kind, name in sorted({*here, *wanted}):
        part = f"{kind} {name[:80]!r}"
        if (kind, name) not in wanted:
            raise StoreError(
                say(
                    "{source} is no cellar of ours: it holds an unknown {part}",
                    source=source,
                    part=part,
                )
            )
        if (kind, name) not in here:
            raise StoreError(
                say("{source} is no cellar: its {part} is missing", source=source, part=part)
            )
        if here[kind, name] != wanted[kind, name]:
            raise StoreError(
                say(
                    "{source} is no cellar of ours: its {part} is made otherwise",
                    source=source,
                    part=part,
                )
            )


def layout(copy: sqlite3.Connection) -> Layout:
    """Every object of a file but its seal and SQLite's own: columns, keys, references, indexes."""
    found: Layout = {}
    rows = copy.execute("SELECT type, name, tbl_name FROM sqlite_master").fetchall()
    for kind, name, table in rows:
        if str(name).startswith("sqlite_") or name == SEAL:
            continue
        found[str(kind), str(name)] = (str(table), *_made_of(copy, str(kind), str(name)))
    return found


def _made_of(copy: sqlite3.Connection, kind: str, name: str) -> tuple[Any, ...]:
    def asked(pragma: str, of: str) -> tuple[Any, ...]:
        return tuple(copy.execute(f"SELECT * FROM pragma_{pragma}(?)", (of,)).fetchall())

    if kind == "table":
        indexes = sorted(
            (unique, origin, partial, asked("index_xinfo", index))
            for _, index, unique, origin, partial in asked("index_list", name)
        )
        return asked("table_xinfo", name), asked("foreign_key_list", name), tuple(indexes)
    return asked("index_xinfo", name) if kind == "index" else ()


@lru_cache(maxsize=8)
def _layout_of(revision: str) -> Layout:
    """What an empty cellar of a revision looks like."""
    handle, name = tempfile.mkstemp(prefix="mustwright-layout.", suffix=".db")
    os.close(handle)
    try:
        migrate(Path(name), revision)
        with closing(sqlite3.connect(name)) as empty:
            return layout(empty)
    finally:
        for left in Path(name).parent.glob(f"{Path(name).name}*"):
            left.unlink()
