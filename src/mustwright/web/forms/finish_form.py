"""One step's form: what was typed or carried along, what the use case gets, where an error goes."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from urllib.parse import urlencode

from mustwright.errors import ImpossibleError, InputError
from mustwright.services.finish.mead_now import NAMES, MeadNow, mead_now
from mustwright.web.forms.finish_ask import Step
from mustwright.web.forms.finish_fields import (
    LOT_FIELDS,
    MORE_LOT_FIELDS,
    MOST_LOTS,
    SHEET_FIELDS,
)
from mustwright.web.forms.typed import said

SUBMIT = "show"
LONGEST = 4000
COUNTED = ("reading", "lot", "target")  # too few of them is as good as none yet
LOT_NAMES = tuple(ask.name for ask in (*LOT_FIELDS, *MORE_LOT_FIELDS))
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

    step: Step
    typed: dict[str, str]
    carried: dict[str, str]
    submitted: bool
    errors: dict[str, str] = field(default_factory=dict)
    refused: InputError | None = None

    def address(self, path: str = "") -> str:
        """The address of this form as it is filled."""
        pairs = {**self.carried, **self.typed}
        tail = [(SUBMIT, "1")] if self.submitted else []
        query = urlencode([*pairs.items(), *tail])
        return f"/finish/{self.step.slug}{path}" + (f"?{query}" if query else "")

    def given(self) -> dict[str, object]:
        """What the use case gets."""
        names = [n for n in self.step.names if n not in SHEET_FIELDS]
        found: dict[str, object] = {
            name: self.typed[name]
            for name in names
            if name in self.typed and not name.startswith("target.")
        }
        if self.step.slug == "blend":
            found["lot"] = [self._lot(number) for number in self.lot_numbers()]
            found["target"] = [
                f"{name.removeprefix('target.')}={self.typed[name]}"
                for name in names
                if name.startswith("target.") and name in self.typed
            ]
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
        return {"name": f"lot {number}", **row}

    def before(self) -> MeadNow:
        """The liquid as it stands in this form."""
        known = {**self.carried, **{k: v for k, v in self.typed.items() if k in NAMES}}
        for name, fact in self.step.takes.items():
            if name in self.typed and fact not in self.step.names:
                known[fact] = self.typed[name]
        return mead_now(known)

    def run(self, today: date) -> object | None:
        """Do the step; None where something stands in the way, kept in `errors` and `refused`.

        An address that merely fills the form is not blamed for what it leaves out.
        """
        try:
            return self.step.work(self.given(), today)
        except InputError as error:
            left_out = error.got is None or error.field in COUNTED
            if self.submitted or not left_out:
                self.refuse(error)
            return None

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
        lot = _LOT.fullmatch(name)
        asks = (*LOT_FIELDS, *MORE_LOT_FIELDS) if lot else self.step.asks
        found = {ask.name: ask.label for ask in asks}.get(lot[2] if lot else name, "")
        return f"Lot {lot[1]}, {found[:1].lower()}{found[1:]}" if lot else found

    def place(self, name: str) -> str:
        """The id of the field an error belongs to; ``all`` where there is none."""
        if name in self.step.names:
            return name
        lot = _LOT_ERROR.fullmatch(name) if self.step.slug == "blend" else None
        if lot:
            return self._lot_place(lot[1], lot[2])
        first = name.split(" ")[0].split(".")[0]
        if self.step.slug == "blend" and first in ("lot", "target"):
            return "lot.1.name" if first == "lot" else "target.alcohol"
        return first if first in self.step.names else "all"

    def _lot_place(self, which: str, what: str | None) -> str:
        numbers = self.lot_numbers()
        names = [str(self._lot(n)["name"]) for n in numbers]
        row = numbers[0] if numbers else 1
        if which in names:
            row = numbers[names.index(which)]
        elif which.isdecimal() and 1 <= int(which) <= len(numbers):
            row = numbers[int(which) - 1]
        return f"lot.{row}.{what if what in LOT_NAMES else 'name'}"


def finish_form(step: Step, pairs: Iterable[tuple[str, str]]) -> FinishForm:
    """A step's form out of the query of an address."""
    came = _read(step, pairs)
    typed = {
        name: text
        for name, text in came.items()
        if text and (name in step.names or (step.slug == "blend" and _LOT.fullmatch(name)))
    }
    carried = {
        name: came[name]
        for name in NAMES
        if came.get(name) and name not in step.names and name not in step.takes.values()
    }
    for name, fact in step.takes.items():
        if name not in came and came.get(fact):
            typed[name] = came[fact]
    if step.slug == "blend":
        _this_mead_as_lot(came, typed)
    return FinishForm(step, typed, carried, SUBMIT in came)


def _read(step: Step, pairs: Iterable[tuple[str, str]]) -> dict[str, str]:
    """Every field once; what may come several times is joined as its field can hold it."""
    rows = {ask.name for ask in step.asks if ask.shape == "lines"}
    came: dict[str, str] = {}
    for name, value in pairs:
        text = value.replace("\r\n", "\n").strip()[:LONGEST]
        between = "\n" if name in rows else "; "
        if name not in rows:
            text = between.join(part.strip() for part in text.splitlines() if part.strip())
        again = name in step.several and came.get(name) and text
        came[name] = f"{came[name]}{between}{text}" if again else text
    return came


def _this_mead_as_lot(came: Mapping[str, str], typed: dict[str, str]) -> None:
    """The liquid carried along as the first lot, unless lots were typed."""
    if any(name.startswith("lot.") for name in came):
        return
    facts = {"name": "batch", "alcohol": "alcohol", "gravity": "gravity", "acidity": "acidity",
             "so2": "total", "sugar": "residual_sugar"}  # fmt: skip
    for name, fact in facts.items():
        if came.get(fact):
            typed[f"lot.1.{name}"] = came[fact]
    if came.get("volume"):
        typed["lot.1.volume"] = typed.pop("volume")
