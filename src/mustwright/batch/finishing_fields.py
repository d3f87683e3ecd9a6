"""A finishing step of the log with some of its amounts retyped."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace

from mustwright.batch.entries import what_data, what_from
from mustwright.batch.finishing_record import Added, StepDone
from mustwright.errors import InputError
from mustwright.texts import kept, say
from mustwright.units import mass_kg, volume_l

LOST = "lost"


def step_fields(done: StepDone) -> dict[str, tuple[str, str]]:
    """The fields a step can be corrected by: label and text, by name.

    ``used.1`` and on are its additions, in grams or litres; ``lost`` is what left the vessel.

    Examples
    --------
    >>> step_fields(StepDone("rack", (Added("water", "water", 225.0, litres=0.2254),), 0.9))
    {'used.1': ('water', '0.2254 L'), 'lost': ('Left the vessel', '0.9 L'), 'note': ('Note', '')}
    """
    found = {}
    for i, one in enumerate(done.added, 1):
        amount = f"{one.grams:.6g} g" if one.litres is None else f"{one.litres:.6g} L"
        found[f"used.{i}"] = (kept(one.name), amount)
    if done.lost_l > 0 or done.step in ("rack", "blend", "drawn", "bottle"):
        found[LOST] = (say("Left the vessel"), f"{done.lost_l:.6g} L")
    return {**found, "note": (say("Note"), done.note)}


def step_retyped(done: StepDone, changes: Mapping[str, str | None]) -> StepDone:
    """The step with amounts retyped; what they bring changes in proportion.

    Raises
    ------
    InputError
    """
    known = step_fields(done)
    for name, text in changes.items():
        typed = (text or "").strip()
        if name not in known:
            raise InputError(
                name, say("is not known; known: {known}", known=", ".join(known)), typed
            )
        if name == "note":
            done = replace(done, note=typed)
        elif name == LOST:
            done = replace(done, lost_l=_litres(name, typed), volume_after_l=None)
        else:
            done = _used(done, int(name.partition(".")[2]) - 1, name, typed)
    return done


def _used(done: StepDone, place: int, name: str, typed: str) -> StepDone:
    old = done.added[place]
    if old.litres is not None:
        new = _times(old, name, _litres(name, typed), old.litres)
    else:
        new = _times(old, name, 1000 * mass_kg(_with_unit(typed, "g"), name)[0], old.grams)
    added = (*done.added[:place], new, *done.added[place + 1 :])
    same = done.volume_after_l if old.liquid is None else None
    return replace(done, added=added, volume_after_l=same)


def _times(old: Added, name: str, now: float, before: float) -> Added:
    if now < 0 or not before > 0:
        raise InputError(name, say("needs an amount of nought or more, where there was one"), now)
    return old.times(now / before)


def _litres(name: str, typed: str) -> float:
    litres = volume_l(_with_unit(typed, "L"), name)[0]
    if not litres >= 0:
        raise InputError(name, say("needs litres of nought or more"), typed)
    return litres


def _with_unit(text: str, unit: str) -> str:
    """A bare number with the unit its field is in."""
    bare = text.replace(",", ".", 1)
    return f"{text} {unit}" if bare.replace(".", "", 1).isdigit() else text


def step_row(done: StepDone) -> dict[str, str]:
    """A step as cells of a table: its amounts to read, and all of it as JSON."""
    items = "; ".join(f"{one.substance}={one.grams!r} g" for one in done.added)
    litres = "" if done.volume_after_l is None else f"{done.volume_after_l!r} L"
    whole = json.dumps(what_data(done), ensure_ascii=False, allow_nan=False)
    return {"what": done.step, "items": items, "litres": litres, "note": done.note, "finish": whole}


def step_of_row(row: Mapping[str, str]) -> StepDone:
    """The step of such a row, from its JSON alone.

    Raises
    ------
    InputError
    """
    try:
        content = json.loads(row.get("finish") or "")
    except (ValueError, RecursionError):
        needs = say("needs the JSON that an exported table has there")
        raise InputError("finish", needs, row.get("finish", "")[:80]) from None
    made: StepDone = what_from(StepDone.kind, content, "finish")
    return made
