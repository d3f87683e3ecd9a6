"""Is this copy whole, and did this cellar make it: a digest of every table, signed with a key.

The key is 32 random bytes in the data folder, readable by its owner alone. Anyone can make a file
whose digests fit; only who has the key can sign them.
"""

from __future__ import annotations

import hashlib
import hmac
import os
import secrets
import sqlite3
from contextlib import closing, suppress
from pathlib import Path

from mustwright.store.engine import StoreError
from mustwright.texts import say

SEAL = "seal"
SIGNATURE = "*"  # the name of the row that holds it; no table can be called so
KEY_FILE, KEY_BYTES = "seal.key", 32


def key_of(home: Path) -> bytes:
    """The key of a data folder, made when it is first asked for.

    Raises
    ------
    StoreError
        If it cannot be read or made, or is not a key.
    """
    path = home / KEY_FILE
    try:
        if not path.exists():
            home.mkdir(parents=True, exist_ok=True, mode=0o700)
            _make_key(path)
        key = path.read_bytes()
    except OSError as error:
        raise StoreError(
            say("the key {path} cannot be used: {strerror}", path=path, strerror=error.strerror)
        ) from error
    if len(key) != KEY_BYTES:
        raise StoreError(
            say(
                "the key {path} is damaged: it needs {count} bytes",
                path=path,
                count=KEY_BYTES,
            )
        )
    return key


def _make_key(path: Path) -> None:
    """Write it aside and link it into place, so that two at once end with one whole key."""
    part = path.with_name(f".{path.name}.{secrets.token_hex(8)}")
    handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        with os.fdopen(handle, "wb") as out:
            out.write(secrets.token_bytes(KEY_BYTES))
            out.flush()
            os.fsync(out.fileno())
        with suppress(FileExistsError):
            os.link(part, path)
    finally:
        part.unlink()


def seal(path: Path, key: bytes | None) -> dict[str, int]:
    """Write a digest of every table into a copy, signed where there is a key; rows by table."""
    with closing(sqlite3.connect(path)) as copy:
        copy.execute("PRAGMA journal_mode=DELETE")
        found = digests(copy)
        copy.execute(f"CREATE TABLE {SEAL} (name TEXT PRIMARY KEY, rows INTEGER, sha256 TEXT)")
        rows = [(name, count, digest) for name, (count, digest) in found.items()]
        if key is not None:
            rows.append((SIGNATURE, len(found), _signature(found, key)))
        copy.executemany(f"INSERT INTO {SEAL} VALUES (?, ?, ?)", rows)
        copy.commit()
    return {name: count for name, (count, _) in found.items() if name != "alembic_version"}


def is_signed(copy: sqlite3.Connection, source: Path, key: bytes | None) -> bool:
    """Whether a sealed copy was signed with this key.

    Raises
    ------
    StoreError
        If a digest does not fit: the copy was damaged or changed since it was sealed.
    """
    found = digests(copy)
    kept = {n: d for n, d in copy.execute(f"SELECT name, sha256 FROM {SEAL}")}  # noqa: C416
    signature = kept.pop(SIGNATURE, None)
    for name in sorted({*found, *kept}):
        if name not in found or kept.get(name) != found[name][1]:
            raise StoreError(
                say(
                    "{source} is damaged: the seal of {table!r} is broken",
                    source=source,
                    table=str(name)[:80],
                )
            )
    if key is None or not isinstance(signature, str):
        return False
    return hmac.compare_digest(signature.encode(), _signature(found, key).encode())


def _signature(found: dict[str, tuple[int, str]], key: bytes) -> str:
    said = "".join(f"{name}\n{rows}\n{digest}\n" for name, (rows, digest) in sorted(found.items()))
    return hmac.new(key, said.encode(), hashlib.sha256).hexdigest()


def digests(copy: sqlite3.Connection) -> dict[str, tuple[int, str]]:
    """Rows and SHA-256 of each table, rows in the order of their key."""
    query = "SELECT name FROM sqlite_master WHERE type='table' AND name NOT LIKE 'sqlite_%'"
    names = sorted(r[0] for r in copy.execute(query) if r[0] != SEAL)
    found = {}
    for name in names:
        columns = copy.execute(f"PRAGMA table_info({_quoted(name)})")
        keys = [_quoted(r[1]) for r in columns if r[5]]
        order = f" ORDER BY {', '.join(keys)}" if keys else ""
        digest, rows = hashlib.sha256(), 0
        for row in copy.execute(f"SELECT * FROM {_quoted(name)}{order}"):
            digest.update(repr(row).encode())
            rows += 1
        found[name] = (rows, digest.hexdigest())
    return found


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'
