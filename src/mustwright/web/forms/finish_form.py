"""One step's form: what was typed or carried along, what the use case gets, where an error goes."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any
from urllib.parse import urlencode

from mustwright.bench.batch_start import BatchStart
from mustwright.bench.kinds import FieldKind
from mustwright.bench.liquid import NAMES, MeadNow, mead_now
from mustwright.bench.step import StepPage
from mustwright.bench.steps.blend import LOT_KEYS
from mustwright.errors import ImpossibleError, InputError
from mustwright.services.batch.finishing import FilledFields, StartOf, filled
from mustwright.texts import say, uncapital
from mustwright.unit_hints import with_unit
from mustwright.unit_system import METRIC, current
from mustwright.web.forms.typed import said

SUBMIT = "show"
LONGEST = 4000
COUNTED = ("reading", "lot", "target")  # too few of them is as good as none yet
SENT = "sent"  # comes with the button, never in an address that is kept
MOST_LOTS = 6
LOT_NAMES = (*LOT_KEYS, "batch")
_LOT = re.compile(rf"lot\.([1-{MOST_LOTS}])\.({'|'.join(LOT_NAMES)})")
_LOT_ERROR = re.compile(r"lot (.+?)(?:\.([a-z0-9]+))?")


@dataclass
class FinishForm:
    """A step with what was typed into it.

    Parameters
    ----------
    typed : dict of str to str
        Every field of the form that holds something, rows of lots as ``lot.1.volume``.
    carried : dict of str to str
        Facts of the liquid that this form does not ask for; they go on to the next step.
    submitted : bool
        Whether the button was pressed, or the address only fills the form.
    """

    page: StepPage
    typed: dict[str, str]
    carried: dict[str, str]
    submitted: bool
    errors: dict[str, str] = field(default_factory=dict)
    refused: InputError | None = None
    start: BatchStart | None = None
    own: dict[str, str] = field(default_factory=dict)
    emptied: tuple[str, ...] = ()
    start_of: StartOf | None = None
    filled: FilledFields | None = None
    unclear: list[InputError] = field(default_factory=list)

    def address(self, path: str = "") -> str:
        """The address of this form as it is filled; a batch's own numbers stay with the batch."""
        pairs = {**self.carried, **self.typed}
        if self.start is not None:
            pairs = {k: v for k, v in pairs.items() if v != self.own.get(k)}
            pairs |= dict.fromkeys(self.emptied, "") | {"batch": self.start.slug}
        tail = [(SUBMIT, "1")] if self.submitted else []
        query = urlencode([*pairs.items(), *tail])
        return f"/finish/{self.page.slug}{path}" + (f"?{query}" if query else "")

    @property
    def changed(self) -> tuple[str, ...]:
        """The fields that were typed over the batch's numbers."""
        return tuple(k for k, v in self.typed.items() if v != self.own.get(k))

    def given(self) -> dict[str, object]:
        """What the use case gets."""
        unread = self.page.step(self.typed).unread
        names = [n for n in self.page.names if n in self.typed and n not in unread]
        found: dict[str, object] = {name: self.typed[name] for name in names if "." not in name}
        if self.page.lot:
            found["lot"] = [self._lot(number) for number in self.lot_numbers()]
            wanted = [name for name in names if "." in name]
            found["target"] = [f"{n.partition('.')[2]}={self.typed[n]}" for n in wanted]
        return found

    def lot_numbers(self) -> list[int]:
        """The rows that hold something."""
        found = {int(m[1]) for m in map(_LOT.fullmatch, self.typed) if m}
        return sorted(found)

    def _lot(self, number: int) -> dict[str, object]:
        row: dict[str, object] = {
            name: self.typed[f"lot.{number}.{name}"]
            for name in LOT_NAMES
            if f"lot.{number}.{name}" in self.typed
        }
        return row if row.get("batch") else {"name": say("part {number}", number=number), **row}

    def before(self) -> MeadNow:
        """The liquid as it stands in this form."""
        if self.start is not None:
            return self.start.mead
        known = {**self.carried, **{k: v for k, v in self.typed.items() if k in NAMES}}
        for name, fact in _takes(self.page).items():
            if name in self.typed and fact not in self.page.names:
                known[fact] = self.typed[name]
        return mead_now(known)

    def run(self, today: date) -> Any | None:
        """Do the step; None where something stands in the way, kept in `errors` and `refused`.

        An address that merely fills the form is not blamed for what it leaves out.
        """
        try:
            return self.page.run(self.used(), today)
        except InputError as error:
            left_out = error.got is None or error.field in COUNTED
            if self.submitted or not left_out:
                self.refuse(error)
            return None

    def used(self) -> Mapping[str, object]:
        """What the use case gets, a batch's numbers among it.

        Raises
        ------
        InputError
            Where a bare number may be a specific gravity, and another scale is chosen.
        """
        if self.unclear:
            raise self.unclear[0]
        if self.start is None or self.start_of is None:
            return self.given()
        found = filled(self.page.fields, self.given(), self.start, self.start_of, self.emptied)
        self.filled = replace(found, typed=tuple(n for n in found.typed if n in self.changed))
        return self.filled.given

    @property
    def impossible(self) -> bool:
        """Whether every field can be read, and what they ask together cannot be met."""
        return isinstance(self.refused, ImpossibleError)

    def refuse(self, error: InputError) -> None:
        """Put an error beside its field."""
        self.refused = error
        self.errors[self.place(error.field)] = said(error)

    def label(self, name: str) -> str:
        """What stands above a field, to begin an error with."""
        if lot := _LOT.fullmatch(name):
            found = LOT_KEYS[lot[2]].label if lot[2] in LOT_KEYS else ""
            return say("Part {number}, {field}", number=lot[1], field=uncapital(found))
        return {one.name: one.label for one in self.page.fields}.get(name, "")

    def place(self, name: str) -> str:
        """The id of the field an error belongs to; ``all`` where there is none."""
        if name in self.page.names:
            return name
        lot = _LOT_ERROR.fullmatch(name) if self.page.lot else None
        if lot:
            return self._lot_place(lot[1], lot[2])
        first = name.split(" ")[0].split(".")[0]
        if self.page.lot and first in ("lot", "target"):
            return "lot.1.name" if first == "lot" else "target.alcohol"
        return first if first in self.page.names else "all"

    def _lot_place(self, which: str, what: str | None) -> str:
        numbers = self.lot_numbers()
        names = [str(self._lot(n)["name"]) for n in numbers]
        row = numbers[0] if numbers else 1
        if which in names:
            row = numbers[names.index(which)]
        elif which.isdecimal() and 1 <= int(which) <= len(numbers):
            row = numbers[int(which) - 1]
        return f"lot.{row}.{what if what in LOT_NAMES else 'name'}"


def finish_form(
    page: StepPage,
    pairs: Iterable[tuple[str, str]],
    start: BatchStart | None = None,
    start_of: StartOf | None = None,
    more: Mapping[str, str] | None = None,
) -> FinishForm:
    """A step's form out of the query of an address.

    Parameters
    ----------
    start : BatchStart or None
        The batch whose numbers fill what was not typed.
    start_of : callable or None
        Gives another batch, for a lot of a blend.
    more : mapping of str to str or None
        What else is known of the batch, by field.
    """
    came = _read(page, pairs)
    if start is not None:
        return _of_batch(page, came, start, start_of, more or {})
    typed, unclear = _typed(page, came)
    takes = _takes(page)
    carried = {
        name: came[name]
        for name in NAMES
        if came.get(name) and name not in page.names and name not in takes.values()
    }
    left_out = {name: fact for name, fact in takes.items() if name not in came and came.get(fact)}
    typed |= {name: came[fact] for name, fact in left_out.items()}
    if page.lot and not any(name.startswith("lot.") for name in came):
        typed |= _this_mead_as_lot(came)
        typed.pop("volume", None)
    return FinishForm(page, typed, carried, SUBMIT in came, unclear=unclear)


def _takes(page: StepPage) -> dict[str, str]:
    """Fields filled from a fact of the liquid of another name."""
    return {
        one.name: one.filled_by
        for one in page.fields
        if one.filled_by != one.name and one.filled_by in NAMES
    }


def _typed(page: StepPage, came: Mapping[str, str]) -> tuple[dict[str, str], list[InputError]]:
    """What came for a field of the form, and what could be read either way."""
    kinds = {name: one.kind for name, one in LOT_KEYS.items()}
    kinds |= {one.name: one.kind for one in page.fields}
    typed: dict[str, str] = {}
    unclear: list[InputError] = []
    for name, text in came.items():
        if not text or not (name in page.names or (page.lot and _LOT.fullmatch(name))):
            continue
        try:
            typed[name] = _as_read(
                text, name, kinds.get(name) or kinds.get(name.rpartition(".")[2])
            )
        except InputError as error:
            typed[name] = text
            unclear.append(error)
    return typed, unclear


def _as_read(text: str, name: str, kind: FieldKind | None) -> str:
    """What was typed; a bare number with its unit, where it is not the usual one."""
    if kind is not None and kind.scaled is not None:
        return kind.scaled(text, name)
    dimension = "" if kind is None else kind.dimension
    if dimension not in ("volume", "temperature") or current() == METRIC:
        return text
    return with_unit(text, dimension)


def _of_batch(
    page: StepPage,
    came: Mapping[str, str],
    start: BatchStart,
    start_of: StartOf | None,
    more: Mapping[str, str],
) -> FinishForm:
    """The form filled by a batch; what came in the address stands above it."""
    own = {**start.fields_for(page.fields), **more}
    ticks = {one.name for one in page.fields if one.shape == "tick"} if SENT in came else set()
    emptied = tuple(n for n in own if n != "batch" and not came.get(n, "" if n in ticks else "x"))
    typed = {k: v for k, v in own.items() if k not in emptied}
    filled_in, unclear = _typed(page, came)
    typed |= filled_in
    if page.lot and not any(name.startswith("lot.") for name in came):
        typed["lot.1.batch"] = start.slug
    carried = {} if "batch" in page.names else {"batch": start.slug}
    return FinishForm(
        page, typed, carried, SUBMIT in came, start=start, own=own, emptied=emptied,
        start_of=start_of, unclear=unclear,
    )  # fmt: skip


def _read(page: StepPage, pairs: Iterable[tuple[str, str]]) -> dict[str, str]:
    """Every field once; what may come several times is joined as its field can hold it."""
    rows = {one.name for one in page.fields if one.rows}
    many = {one.name for one in page.fields if one.many}
    came: dict[str, str] = {}
    for name, value in pairs:
        text = value.replace("\r\n", "\n").strip()[:LONGEST]
        between = "\n" if name in rows else "; "
        if name not in rows:
            text = between.join(part.strip() for part in text.splitlines() if part.strip())
        again = name in many and came.get(name) and text
        came[name] = f"{came[name]}{between}{text}" if again else text
    return came


def _this_mead_as_lot(came: Mapping[str, str]) -> dict[str, str]:
    """The liquid carried along as the first lot."""
    facts = {one.name: one.filled_by for one in LOT_KEYS.values() if one.filled_by in NAMES}
    return {f"lot.1.{name}": came[fact] for name, fact in facts.items() if came.get(fact)}
