"""Which amounts of an answer a maker confirms before it is written down as done."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from mustwright.bench.fields import TypedFields
from mustwright.errors import InputError
from mustwright.finishing.blending import BlendResult
from mustwright.finishing.bottling import Bottling
from mustwright.finishing.label_facts import volume_text
from mustwright.finishing.racking import Racking
from mustwright.finishing.tannin import TanninDose

_NONE = re.compile(r"0+(?:[.,]0+)?\s*[a-zA-Z]*")
MOST_USED = 3.0  # times the answer: more is a slip of the pen


@dataclass(frozen=True)
class Use:
    """An amount to be confirmed.

    Parameters
    ----------
    key : str
        Its field.
    label, unit : str
        How it is asked for: grams, litres or pieces.
    amount : float or None
        The answer's; None where only the maker knows.
    most : float
        What it cannot be more than.
    """

    key: str
    label: str
    unit: str
    amount: float | None
    most: float

    @property
    def text(self) -> str:
        """The amount as it stands in its field."""
        if self.amount is None:
            return ""
        if self.unit == "":
            return f"{self.amount:.0f}"
        return f"{float(f'{self.amount:.5g}'):g} {self.unit}"

    def read(self, text: str | None) -> float:
        """The amount used, as typed; what was left as it is is the answer's, to its last digit.

        Raises
        ------
        InputError
        """
        typed = (text or "").strip()
        if typed in ("", self.text) and self.amount is not None:
            return self.amount
        if _NONE.fullmatch(typed):
            return 0.0
        fields = TypedFields({self.key: typed}, (self.key,))
        if self.unit == "":
            value = fields.number(self.key)
        else:
            bare = f"{typed} {self.unit}" if _is_bare(typed) else typed
            fields = TypedFields({self.key: bare}, (self.key,))
            value = fields.grams(self.key) if self.unit == "g" else fields.volume(self.key)
        if value is None:
            raise InputError(self.key, f"needs how much it was, in {self.unit or 'pieces'}", None)
        if not 0 <= value <= self.most * (1 + 1e-9):
            most = f"{self.most:.4g} {self.unit}".strip()
            raise InputError(self.key, f"needs an amount from 0 to {most}", typed)
        return value


def _is_bare(text: str) -> bool:
    try:
        float(text.replace(",", "."))
    except ValueError:
        return False
    return True


def uses(result: object, volume_l: float) -> list[Use]:
    """The amounts of an answer that a maker confirms.

    Parameters
    ----------
    volume_l : float
        Of the batch before [L].
    """
    if isinstance(result, Racking):
        found = [Use("came_over", "Came over", "L", result.racked_l.value, volume_l)]
        if result.top_up_l is not None:
            most = MOST_USED * result.top_up_l.value
            found.append(Use("top_up", "Topped up with", "L", result.top_up_l.value, most))
        return found
    if isinstance(result, BlendResult):
        return [
            Use(f"litres.{i}", f"{part.name}, poured", "L", part.litres.value, _most_of(part))
            for i, part in enumerate(result.parts, 1)
        ]
    if isinstance(result, Bottling):
        filled = [
            Use(f"bottles.{i}", f"Bottles of {volume_text(b.litres)} filled", "",
                round(b.count.value), 100_000)
            for i, b in enumerate(result.bottles, 1)
        ]  # fmt: skip
        return [*filled, Use("left", "Left over", "L", result.left_l.value, volume_l)]
    if isinstance(result, TanninDose):
        return [Use("grams.1", "Tannin used", "g", None, MOST_USED * result.grams_high.value)]
    additions = result.recorded.additions  # type: ignore[attr-defined]
    return [
        Use(f"grams.{i}", f"{one.name}, used", "g", one.grams.value, MOST_USED * one.grams.value)
        for i, one in enumerate(additions, 1)
    ]


def _most_of(part: Any) -> float:
    available = part.litres.inputs.get("available_l")
    return float(available) if available is not None else float(part.litres.value)
