"""A finishing step done to a batch from the command line: its numbers in, what was done written."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from mustwright.cli.batch_context import moment_of, opened, view_now
from mustwright.cli.speech import confirm, echo
from mustwright.errors import InputError, UnlikelyError
from mustwright.services.repository import MissingRecordError
from mustwright.texts import join, say
from mustwright.units import plainly_typed

if TYPE_CHECKING:
    from mustwright.bench.amounts import Use
    from mustwright.bench.batch_start import BatchStart
    from mustwright.compose import Compose
    from mustwright.services.batch.finishing import FilledFields

Finish = Callable[[object, Mapping[str, Any]], None]


def for_batch(
    name: str,
    given: Mapping[str, Any],
    wish: Mapping[str, Any],
    finish: Finish,
    as_json: bool,
) -> None:
    """Run one command from a batch's numbers, and write it into the batch where that was asked.

    Parameters
    ----------
    wish : mapping
        ``batch``, ``record``, ``used``, ``yes``, ``at``, ``note`` as typed.
    finish : callable
        Shows an answer, with more data beside it.
    """
    from mustwright.bench.step_table import run_step

    slug = wish["batch"]
    if slug is None:
        raise InputError("--batch", say("needs the batch to write it into"), None)
    if not wish["record"] and any(wish[k] for k in ("used", "yes", "at", "note")):
        said = say("needs to stand beside --used, --yes, --at and --note")
        raise InputError("--record", said, say("nothing"))
    with opened() as compose:
        try:
            start = start_of(compose, slug)
        except MissingRecordError:
            if name != "bottle" or wish["record"]:
                raise
            finish(run_step(name, {**given, "batch": slug}), {})  # words for the lot code
            return
        _speak_of_batch(compose, slug)
        _from_start(compose, name, given, wish, start, finish, as_json)


def start_of(compose: Compose, slug: str) -> BatchStart:
    """A batch's numbers."""
    from mustwright.bench.batch_start import start_from

    return start_from(view_now(compose, slug), compose.local_zone)


def _speak_of_batch(compose: Compose, slug: str) -> None:
    """From here on amounts are said in the units of the batch's must."""
    from mustwright.unit_system import speak_of

    speak_of(view_now(compose, slug).progress.plan.sheet)


def _from_start(
    compose: Compose,
    name: str,
    given: Mapping[str, Any],
    wish: Mapping[str, Any],
    start: BatchStart,
    finish: Finish,
    as_json: bool,
) -> None:
    from mustwright.bench.step_table import STEPS
    from mustwright.services.batch.finishing import filled, unsafe

    step = STEPS[name]
    fields = filled(step.fields, given, start, lambda other: start_of(compose, other))
    today = compose.clock().astimezone(compose.local_zone).date()
    result = step.run(fields.given, today)
    more: dict[str, Any] = {
        "batch": start.slug,
        "started_from": dict(fields.own),
        "doubts": list(start.doubts()),
    }
    danger = unsafe(result, fields)
    if danger is not None:
        more["unsafe"] = danger.requirement
    entry = _written(compose, result, fields, wish, as_json) if wish["record"] else None
    if entry is not None:
        from mustwright.services.batch.export_json import entry_data

        more["entry"] = entry_data(entry)
    if not as_json:
        for line in _head(start, fields):
            echo(line)
        if danger is not None:
            echo(say("! Do not do this yet: it {why}.\n", why=danger.requirement))
    finish(result, more)
    if entry is not None and not as_json:
        view = view_now(compose, start.slug)
        echo(say("\nWritten ({id}). {step}", id=entry.id[:8], step=view.step.sentence))


def _head(start: BatchStart, fields: FilledFields) -> list[str]:
    """Where the numbers come from."""
    own = {k: v for k, v in fields.own.items() if k not in fields.typed}
    said = ", ".join(f"{k} {' / '.join(v.splitlines())}" for k, v in own.items())
    lines = [say("From {batch}: {fields}.", batch=start.name, fields=said or say("nothing"))]
    return [*lines, *(say("  ! {doubt}", doubt=doubt) for doubt in start.doubts()), ""]


def _written(
    compose: Compose, result: object, fields: FilledFields, wish: Mapping[str, Any], as_json: bool
) -> Any:
    """Write it; an amount that is likely a slip is asked about once, where someone can answer."""
    from mustwright.services.batch.finishing import amounts_of, record_step

    used = _used(wish["used"], amounts_of(result, fields))
    at, note = moment_of(compose, wish["at"]), wish["note"] or ""

    def write(sure: bool) -> Any:
        return record_step(compose.ledger, result, fields, used, at=at, note=note, sure=sure)

    try:
        return write(bool(wish["yes"]))
    except UnlikelyError as doubt:
        if as_json or not sys.stdin.isatty():
            said = say("{doubt}; if the amount is right, add --yes", doubt=doubt.requirement)
            raise UnlikelyError(doubt.field, said, doubt.got) from None
        if not confirm(say("{doubt}. Is the amount right?", doubt=doubt.text), err=True):
            raise
        return write(True)


def _used(typed: Sequence[str], uses: Sequence[Use]) -> dict[str, str]:
    """Amounts by key; an amount without a name is that of the first."""
    found: dict[str, str] = {}
    for text in typed:
        name, equals, amount = text.rpartition("=")
        key = name.strip() if equals else (uses[0].key if uses else "")
        if key not in {use.key for use in uses}:
            known = [say("{key} ({label})", key=use.key, label=use.label) for use in uses]
            needs = say("needs amounts out of {known}", known=join(", ", known) or say("none"))
            raise InputError("--used", needs, text)
        found[key] = plainly_typed(amount.strip())
    return found
