"""What a finishing step that was done says in the log of its batch, in words."""

from __future__ import annotations

from mustwright.batch.finishing_record import Added, StepDone
from mustwright.batch.liquid_words import LIQUID, short_name
from mustwright.unit_system import Spoken, in_pounds, mass, volume

BROUGHT = {
    "total_so2": "SO2", "sorbic_acid": "sorbic acid",
    "potassium": "potassium", "calcium": "calcium",
}  # fmt: skip


def step_words(done: StepDone, sheet: str = "") -> str:
    """Amounts, volumes, what was typed for it, in one line; in the units of `sheet`.

    Examples
    --------
    >>> step_words(StepDone("rack", lost_l=0.9, volume_before_l=19.0, volume_after_l=18.1))
    '0.90 L left behind; 19.00 L before, 18.10 L after'
    """
    parts = []
    if done.step != "drawn" and done.words.get("bottles"):
        parts.append(done.words["bottles"])
    parts += [added_words(one, sheet) for one in done.added]
    if done.lost_l > 0.005:
        where = f" into {done.words['into']}" if "into" in done.words else ""
        parts.append(f"{volume(done.lost_l, sheet, 2)} {done.leaving}{where}")
    if done.volume_before_l is not None and done.volume_after_l is not None:
        before, after = done.volume_before_l, done.volume_after_l
        if abs(before - after) > 0.005:
            parts.append(f"{volume(before, sheet, 2)} before, {volume(after, sheet, 2)} after")
    parts += [
        f"{name} {done.words[name]}" for name in ("lot", "over the limit") if name in done.words
    ]
    if done.words.get("stabilised"):
        parts.append(f"yeast stopped by: {done.words['stabilised'].replace('+', ' and ')}")
    if "verdict" in done.words:
        look = done.words.get("next check")
        parts.append(done.words["verdict"] + (f", look again {look}" if look else ""))
    typed = [LIQUID[name].said(value, sheet) for name, value in done.measured.items()]
    if typed:
        parts.append(f"typed for it: {', '.join(typed)}")
    parts = parts or [done.said.rstrip(".")]
    return "; ".join(part for part in (*parts, done.note) if part)


def added_words(one: Added, sheet: Spoken = None) -> str:
    """An addition with what it brought: 0.74 g of potassium metabisulfite (0.43 g SO2)."""
    amount = (
        volume(one.litres, sheet, 2) if one.litres is not None else grams_words(one.grams, sheet)
    )
    brought = [
        f"{grams_words(one.brings_g[key], sheet)} {word}"
        for key, word in BROUGHT.items()
        if one.litres is None and one.brings_g.get(key, 0.0) > 0.0005
    ]
    return f"{amount} of {short_name(one.name)}" + (f" ({', '.join(brought)})" if brought else "")


def grams_words(grams: float, sheet: Spoken = None) -> str:
    """Grams as one weighs them; a pound and more in pounds, where those are used.

    Examples
    --------
    >>> grams_words(0.7412), grams_words(1127.3)
    ('0.741 g', '1127 g')
    """
    if in_pounds(grams, sheet):
        return mass(grams / 1000, sheet)
    return f"{grams:.0f} g" if grams >= 100 else f"{float(f'{grams:.3g}'):g} g"
