"""What a finishing step that was done says in the log of its batch, in words."""

from __future__ import annotations

from datetime import date

from mustwright.batch.clock import date_words
from mustwright.batch.finishing_record import Added, StepDone
from mustwright.batch.liquid_words import LIQUID, short_name
from mustwright.texts import join, kept, say
from mustwright.unit_system import Spoken, in_pounds, mass, volume

BROUGHT = {
    "total_so2": "SO2", "sorbic_acid": say("sorbic acid"),
    "potassium": say("potassium"), "calcium": say("calcium"),
}  # fmt: skip


def step_words(done: StepDone, sheet: str = "") -> str:
    """Amounts, volumes, what was typed for it, in one line; in the units of `sheet`.

    Examples
    --------
    >>> step_words(StepDone("rack", lost_l=0.9, volume_before_l=19.0, volume_after_l=18.1))
    '0.90 L left behind; 19.00 L before, 18.10 L after'
    """
    parts: list[str] = []
    if done.step != "drawn" and done.words.get("bottles"):
        parts.append(_bottles(done.words["bottles"]))
    parts += [added_words(one, sheet) for one in done.added]
    if done.lost_l > 0.005:
        parts.append(_left(done, sheet))
    if done.volume_before_l is not None and done.volume_after_l is not None:
        before, after = done.volume_before_l, done.volume_after_l
        if abs(before - after) > 0.005:
            parts.append(
                say(
                    "{before} before, {after} after",
                    before=volume(before, sheet, 2),
                    after=volume(after, sheet, 2),
                )
            )
    parts += _facts(done)
    typed = [LIQUID[name].said(value, sheet) for name, value in done.measured.items()]
    if typed:
        parts.append(say("typed for it: {facts}", facts=join(", ", typed)))
    parts = parts or [kept(done.said).rstrip(".")]
    return join("; ", [part for part in (*parts, done.note) if part])


def _left(done: StepDone, sheet: str) -> str:
    """What left the vessel, and where it went."""
    litres = volume(done.lost_l, sheet, 2)
    if "into" not in done.words:
        return join(" ", (litres, done.leaving))
    return say(
        "{litres} {leaving} into {batch}",
        litres=litres,
        leaving=done.leaving,
        batch=done.words["into"],
    )


def _facts(done: StepDone) -> list[str]:
    """Facts in words: the lot, a limit passed, how yeast was stopped, the verdict."""
    facts: list[str] = []
    if "lot" in done.words:
        facts.append(say("lot {lot}", lot=done.words["lot"]))
    if "over the limit" in done.words:
        facts.append(say("over the limit {how}", how=kept(done.words["over the limit"])))
    if stopped := done.words.get("stabilised"):
        facts.append(say("yeast stopped by: {how}", how=stopped_by(stopped)))
    if "verdict" in done.words:
        verdict, look = done.words["verdict"], done.words.get("next check")
        verdict = VERDICTS.get(verdict, verdict)
        facts.append(
            say("{verdict}, look again {when}", verdict=verdict, when=day_said(look))
            if look
            else verdict
        )
    return facts


def stopped_by(code: str) -> str:
    """How yeast was stopped, of the code that is kept.

    Examples
    --------
    >>> stopped_by("sulfite+sorbate")
    'sulfite and sorbate'
    """
    return STOPPED_BY.get(code) or code.replace("+", " and ")


VERDICTS = {
    "dry and settled": say("dry and settled"),
    "settled and sterile": say("settled and sterile"),
    "settled, not safe": say("settled, not safe"),
    "moving": say("moving"),
    "too soon to tell": say("too soon to tell"),
}
STOPPED_BY = {
    "sulfite+sorbate": say("sulfite and sorbate"),
    "pasteurised": say("pasteurised"),
    "sterile-filtered": say("sterile-filtered"),
    "alcohol": say("alcohol", context="what stopped the yeast"),
}


def day_said(day: str) -> str:
    """A day to look again, as it is kept: a date, or the count of days."""
    try:
        return date_words(date.fromisoformat(day))
    except ValueError:
        return kept(day)


def _bottles(sizes: str) -> str:
    """The bottles of a lot as they are kept: 12 of 750 mL and 3 of 375 mL."""
    parts = sizes.split(" and ")
    counted = [part.split(" of ", 1) for part in parts]
    if any(len(one) != 2 for one in counted):
        return kept(sizes)
    said = [say("{count} of {size}", count=count, size=size) for count, size in counted]
    return join(say(" and "), said)


def added_words(one: Added, sheet: Spoken = None) -> str:
    """An addition with what it brought: 0.74 g of potassium metabisulfite (0.43 g SO2)."""
    amount = (
        volume(one.litres, sheet, 2) if one.litres is not None else grams_words(one.grams, sheet)
    )
    brought = [
        join(" ", (grams_words(one.brings_g[key], sheet), word))
        for key, word in BROUGHT.items()
        if one.litres is None and one.brings_g.get(key, 0.0) > 0.0005
    ]
    added = say("{amount} of {name}", amount=amount, name=short_name(one.name))
    return (
        say("{added} ({brought})", added=added, brought=join(", ", brought)) if brought else added
    )


def grams_words(grams: float, sheet: Spoken = None) -> str:
    """Grams as one weighs them; a pound and more in pounds, where those are used.

    Examples
    --------
    >>> grams_words(0.7412), grams_words(1127.3)
    ('0.741 g', '1127 g')
    """
    if in_pounds(grams, sheet):
        return mass(grams / 1000, sheet)
    if grams >= 100:
        return say("{grams:.0f} g", grams=grams)
    return say("{grams:g} g", grams=float(f"{grams:.3g}"))
