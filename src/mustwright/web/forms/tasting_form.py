"""What is typed to make a tasting, and what a taster sends."""

from __future__ import annotations

from mustwright.errors import InputError
from mustwright.learning.tasting import TastedMead, TastingRecord, seat_of
from mustwright.texts import say
from mustwright.web.forms.typed import TypedForm

REFERENCE = "reference"


def meads_typed(text: str, names: dict[str, str]) -> tuple[TastedMead, ...]:
    """One mead a line: the short name of a batch, or any name.

    Parameters
    ----------
    names : dict of str to str
        Names of batches by their short names.
    """
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    return tuple(
        TastedMead(names[line], line) if line in names else TastedMead(line[:80]) for line in lines
    )


def whole_number(typed: TypedForm, field: str) -> int:
    """A field that is a whole number.

    Raises
    ------
    InputError
    """
    text = typed.get(field).strip()
    if not text.isdecimal() or len(text) > 9:
        raise InputError(field, say("needs a whole number"), text)
    return int(text)


def answer_typed(
    tasting: TastingRecord, number: int, typed: TypedForm
) -> tuple[dict[int, float], dict[int, str]]:
    """Answer and notes of a seat, by code.

    Raises
    ------
    InputError
    """
    seat = seat_of(tasting, number)
    notes = {code: typed.get(f"note_{code}") for code in seat.codes}
    if tasting.kind in ("ranking", "scores"):
        return {code: _number(typed, code) for code in seat.codes}, notes
    chosen = typed.many.get("glass", [])
    known = {str(code): code for code in seat.codes}
    unknown = [word for word in chosen if word not in known]
    if unknown:
        raise InputError("answer", say("needs codes of your own glasses"), unknown[0])
    return {known[word]: 1.0 for word in chosen}, notes


def _number(typed: TypedForm, code: int) -> float:
    text = typed.get(f"value_{code}").strip()
    try:
        return float(text)
    except ValueError:
        raise InputError(
            "answer", say("needs a number for glass {code}", code=code), text
        ) from None
