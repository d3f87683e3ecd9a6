"""Files and tokens of a batch on the command line."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

from mustwright.cli.sheets import print_json
from mustwright.cli.speech import echo
from mustwright.errors import InputError
from mustwright.texts import literal, say

if TYPE_CHECKING:
    from mustwright.compose import Compose

LARGEST_FILE = 200_000_000
_WOULD_WRITE = literal("{new} would be written, {known} there already")
_WRITTEN = literal("{new} written, {known} there already")


def read_text(path: str) -> str:
    """The text of a file of any size up to 200 MB."""
    try:
        if Path(path).stat().st_size > LARGEST_FILE:
            raise InputError("FILE", say("needs a file of at most 200 MB"), path)
        return Path(path).read_text(encoding="utf-8-sig")
    except OSError as error:
        needs = say("needs a file that can be read")
        raise InputError("FILE", needs, f"{path}: {error.strerror}") from None
    except UnicodeDecodeError:
        raise InputError("FILE", say("needs UTF-8 text"), path) from None


def import_json_file(compose: Compose, path: str, as_json: bool) -> None:
    """A whole batch becomes a new one; one that is kept already stays as it is."""
    from mustwright.cli.progress_line import on_stderr
    from mustwright.services.batch.export_json import import_json

    before = {record.slug for record in compose.ledger.batches()}
    record = import_json(compose.ledger, read_text(path), on_stderr("importing"))
    if as_json:
        print_json({"batch": record.slug, "name": record.name, "version": record.version})
        return
    if record.slug in before:
        echo(
            say(
                "{slug}: already here, with everything in the file; nothing written",
                slug=record.slug,
            )
        )
        return
    echo(say("{slug}: imported, {version} lines of log", slug=record.slug, version=record.version))


def import_csv_file(
    compose: Compose,
    path: str,
    slug: str,
    columns: tuple[str, ...],
    only_look: bool,
    as_json: bool,
) -> None:
    """Show what a CSV file would write, and, unless only that was asked, write it."""
    from mustwright.batch.log_text import said
    from mustwright.services.batch.log_table import import_csv, preview_csv

    mapping = dict(_pair(one) for one in columns)
    preview = preview_csv(
        compose.ledger,
        slug,
        read_text(path),
        now=compose.clock(),
        zone=compose.local_zone,
        columns=mapping or None,
    )
    if not only_look:
        import_csv(compose.ledger, slug, preview)
    if as_json:
        problems = [{"line": p.line, "message": p.message} for p in preview.problems]
        known = {"new": len(preview.new), "known": preview.known, "problems": problems}
        print_json({**known, "ignored": list(preview.ignored), "written": not only_look})
        return
    for problem in preview.problems:
        echo(say("  line {line}: {problem}", line=problem.line, problem=problem.message))
    if only_look:
        for entry in preview.new:
            at, what = entry.at.astimezone(compose.local_zone), said(entry.what, preview.plan)
            echo(say("  {at:%Y-%m-%d %H:%M}  {what}", at=at, what=what))
    done = _WOULD_WRITE if only_look else _WRITTEN
    echo(done.format(new=len(preview.new), known=preview.known))
    if preview.ignored:
        echo(say("Ignored columns: {ignored}", ignored=", ".join(preview.ignored)))


def _pair(text: str) -> tuple[str, str]:
    ours, equals, theirs = text.partition("=")
    if not equals:
        raise InputError("--column", say("needs OURS=THEIRS, such as gravity=SG"), text)
    return ours.strip(), theirs.strip()


def token_lines(
    compose: Compose,
    slug: str,
    label: str,
    purpose: str,
    revoke: str | None,
    listed: bool,
    as_json: bool,
) -> list[str]:
    """Make, list or end tokens; what to print."""
    from mustwright.plain_data import data_of
    from mustwright.services.batch.tokens import new_token

    ledger = compose.ledger
    ledger.batch(slug)
    if revoke is not None:
        record = ledger.revoke_token(revoke)
        return (
            [_json(data_of(record))]
            if as_json
            else [say("{id} ({label}): ended", id=record.id, label=record.label)]
        )
    if listed:
        records = ledger.tokens(slug)
        if as_json:
            return [_json({"tokens": data_of(records)})]
        ended = {True: say(" (ended)"), False: ""}
        return [
            say(
                "{id}  {purpose}  {label}{ended}",
                id=t.id,
                purpose=t.purpose,
                label=t.label,
                ended=ended[bool(t.revoked_at)],
            )
            for t in records
        ]
    record, secret = new_token(ledger, slug, purpose, label)
    if as_json:
        return [_json({**data_of(record), "token": secret})]
    use = f"/calendar/{secret}.ics?batch={slug}" if purpose == "calendar" else secret
    return [say("{id} ({label}), shown this once:", id=record.id, label=record.label), use]


def _json(data: object) -> str:
    return json.dumps(data, ensure_ascii=False, indent=2)
