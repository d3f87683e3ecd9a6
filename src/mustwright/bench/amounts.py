"""Which amounts of an answer a maker confirms before it is written down as done."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from mustwright.bench import kinds
from mustwright.errors import InputError, UnlikelyError
from mustwright.texts import Text, kept, say
from mustwright.unit_system import current
from mustwright.units import in_unit

_NONE = re.compile(r"0+(?:[.,]0+)?\s*[a-zA-Z]*")
_BARE = re.compile(r"[+-]?\d*[.,]?\d+(?:[eE][+-]?\d+)?")
LIKELY = 3.0  # times the answer: more may be a slip of the pen, and is asked about
MOST_G, MOST_L = 1e9, 1e6  # what the log can hold of one thing
KINDS = {"g": kinds.MASS, "L": kinds.VOLUME, "": kinds.NUMBER}


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
    likely : float or None
        What it is hardly more than; None where nothing says so.
    """

    key: str
    label: str
    unit: str
    amount: float | None
    most: float
    likely: float | None = None

    @property
    def text(self) -> str:
        """The amount as it stands in its field."""
        if self.amount is None:
            return ""
        if self.unit == "":
            return f"{self.amount:.0f}"
        return self._written(self.amount, 5)

    @property
    def _answer(self) -> str:
        """The amount as it stands in a sentence."""
        if self.amount is None or self.unit == "":
            return self.text
        return self._said(self.amount, 5)

    @property
    def field_unit(self) -> str:
        """The unit of a bare number in its field."""
        return current().volume if self.unit == "L" else self.unit

    def _written(self, amount: float, figures: int) -> str:
        return f"{self._number(amount, figures):g} {self.field_unit}".strip()

    def _said(self, amount: float, figures: int) -> Text:
        """The same to be read, and not to be typed."""
        number = self._number(amount, figures)
        return say("{number:g} {unit}", number=number, unit=self.field_unit).strip()

    def _number(self, amount: float, figures: int) -> float:
        unit = self.field_unit
        value = amount if unit == self.unit else in_unit(amount, unit)
        return float(f"{value:.{figures}g}")

    def doubt(self, text: str | None) -> UnlikelyError | None:
        """What to ask before so large an amount is taken; None where it is likely enough.

        Raises
        ------
        InputError
        """
        value = self.read(text)
        if self.likely is None or value <= self.likely * (1 + 1e-9):
            return None
        most = self._said(self.likely, 3)
        needs = say("needs a second look: more than {most} is hardly ever right", most=most)
        if self.amount is not None:
            needs = say(
                "needs a second look: more than {most} is hardly ever right, and the answer was "
                "{answer}",
                most=most,
                answer=self._answer,
            )
        return UnlikelyError(self.key, needs, text)

    def read(self, text: str | None) -> float:
        """The amount used, as typed; what was left as it is is the answer's, to its last digit.

        Raises
        ------
        InputError
        """
        typed = (text or "").strip()
        if typed in ("", self.text) and self.amount is not None:
            return self.amount
        if not typed:
            unit = self.field_unit or say("pieces")
            raise InputError(self.key, say("needs how much it was, in {unit}", unit=unit), None)
        if _NONE.fullmatch(typed):
            return 0.0
        full = f"{typed} {self.field_unit}".strip() if _BARE.fullmatch(typed) else typed
        value = float(KINDS[self.unit].read(full, self.key, kinds.AsTyped()))
        if not 0 <= value <= self.most * (1 + 1e-9):
            most = self._said(self.most, 4)
            raise InputError(self.key, say("needs an amount from 0 to {most}", most=most), typed)
        return value


def additions_used(result: Any, _volume_l: float = 0.0) -> list[Use]:
    """The grams of everything that goes in."""
    return [
        Use(
            f"grams.{i}",
            say("{name}, used", name=kept(one.name)),
            "g",
            one.grams.value,
            MOST_G,
            LIKELY * one.grams.value,
        )
        for i, one in enumerate(result.recorded.additions, 1)
    ]
