"""Is the acid going well: rules on pH, by the acid model, else by the last reading alone."""

from __future__ import annotations

import math

from mustwright.batch.alert import Finding, finding, threshold
from mustwright.batch.assessment import Assessment
from mustwright.batch.duration_text import hours_words
from mustwright.batch.ph_forecast_record import PhForeseen
from mustwright.batch.ph_text import (
    band_words,
    dose_caution,
    dose_words,
    low_words,
    when_words,
)
from mustwright.batch.progress import Progress
from mustwright.batch.salt_advice import salt_advice

FOAMS = "Carbonate foams up and the powder is caustic: small parts, goggles."


def watch_ph(now: Progress, of: Assessment, ph: PhForeseen | None) -> list[Finding]:
    """What the rules on pH find.

    Parameters
    ----------
    ph : PhForeseen or None
        None where no model ran, or where a pH was read since: then the reading alone counts.
    """
    if of.is_over:
        return []
    by_model = () if ph is None else (_odd(ph), _low(now, ph) or _falling(now, ph))
    rules = by_model or (_low_by_reading(now, of),)
    return [one for one in rules if one is not None]


def _low_by_reading(now: Progress, of: Assessment) -> Finding | None:
    floor, error = threshold("ph_low", "floor"), threshold("ph_low", "error")
    if now.ph is None or now.ph_at is None:
        return None
    chance = 0.5 * (1 + math.erf((floor - now.ph) / (error * math.sqrt(2))))
    if chance < threshold("ph_low", "perhaps"):
        return None
    words = f"pH {now.ph:.2f} was read; {_floor_words(now.ph, floor)}."
    sure = chance >= threshold("ph_low", "sure")
    why = f"it was {now.ph:.2f}; {_floor_words(now.ph, floor)}"
    do = _next_words(now, of)
    return finding("ph_low", 75, chance, words, sure=sure, why=why, do=do)


def _next_words(now: Progress, of: Assessment) -> str:
    """What to do by the reading alone, as the next step has it."""
    found = salt_advice(now, of, None)
    if found.kind == "read":
        return f"{found.words} half a day after what went in; add nothing more before that."
    if found.kind == "none":
        return f"{found.words}. {found.caution}".strip()
    return f"{found.words}; add nothing more before that reading. {FOAMS}"


def _floor_words(ph: float, floor: float) -> str:
    """What the floor means for a reading; one that stands at it is not under it."""
    if abs(ph - floor) < 0.005:
        return "that is the floor, below which yeast struggles"
    return f"under {floor:g} yeast struggles"


def _odd(ph: PhForeseen) -> Finding | None:
    """No run matches the latest pH reading; an older one is overtaken by those after it."""
    if not ph.latest_is_odd:
        return None
    return finding("ph_implausible", 65, 0.9, ph.odd[-1])


def _low(now: Progress, ph: PhForeseen) -> Finding | None:
    if not ph.is_read or ph.chance_low_now < threshold("ph_low", "perhaps"):
        return None
    words = f"{_read(now, ph)}it is {band_words(ph.now)} now; under {ph.floor:g} yeast struggles."
    sure = ph.chance_low_now >= threshold("ph_low", "sure")
    why = f"pH is {band_words(ph.now)}, and under {ph.floor:g} yeast struggles"
    return finding("ph_low", 75, ph.chance_low_now, words, sure=sure, do=_do(ph), why=why)


def _falling(now: Progress, ph: PhForeseen) -> Finding | None:
    if ph.chance_low_ahead < threshold("ph_falling", "chance"):
        return None
    fall = low_words(ph, now.hours or 0.0)
    if not ph.is_read:
        worth = ph.worth[0]
        words = (
            f"No pH was read. By the recipe alone {fall}; {worth.name} would narrow that band from "
            f"{worth.width:.1f} to {worth.width_after:.1f}."
        )
        do = "Read pH before anything is added: without a reading, any dose is a guess."
        why = "the recipe alone suggests that it may fall low, and it was not read"
        return finding("ph_falling", 45, ph.chance_low_ahead, words, sure=False, do=do, why=why)
    grave = ph.chance_stall_ahead >= threshold("ph_falling", "stall_chance")
    words = f"{_read(now, ph)}{fall}."
    why = f"it is heading to {band_words(ph.lowest_ahead)} {when_words(ph, now.hours or 0.0)}"
    severity = 62 if grave else 48
    return finding("ph_falling", severity, ph.chance_low_ahead, words, do=_do(ph), why=why)


def _do(ph: PhForeseen) -> str:
    return f"{dose_words(ph.dose, ph.floor)} {dose_caution(ph.dose)}".strip()


def _read(now: Progress, ph: PhForeseen) -> str:
    """What was read, and when: the sentence continues with what the runs make of it."""
    if ph.read_ph is None or ph.read_h is None:
        return "From the pH of the sheet and what was fed since, "
    ago = max((now.hours or 0.0) - ph.read_h, 0.0)
    when = "" if ago < 1 else f" {hours_words(ago)} ago"
    return f"pH {ph.read_ph:g} was read{when}. By the forecast, "
