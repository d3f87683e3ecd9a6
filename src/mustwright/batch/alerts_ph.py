"""Is the acid going well: rules on pH, by the acid model, else by the last reading alone."""

from __future__ import annotations

import math

from mustwright.batch.alert import Finding, finding, threshold
from mustwright.batch.assessment import Assessment
from mustwright.batch.clock import NOW
from mustwright.batch.duration_text import hours_words
from mustwright.batch.ph_forecast_record import PhForeseen
from mustwright.batch.ph_text import band_words, low_words, when_words
from mustwright.batch.progress import Progress
from mustwright.batch.salt_advice import AFTER_SALT, dose_said, salt_advice
from mustwright.texts import Text, join, literal, say

JUST_READ_H, HOLDS_H, GROWN = 1.0, 48.0, 0.5  # how long a pH read holds (assumed)
FOAMS = say("It foams up, and the dust irritates eyes and lungs: small parts, goggles.")


def watch_ph(now: Progress, of: Assessment, ph: PhForeseen | None) -> list[Finding]:
    """What the rules on pH find.

    Parameters
    ----------
    ph : PhForeseen or None
        None where no model ran, or where a pH was read since: then the reading alone counts.
    """
    if of.is_over:
        return []
    by_model = () if ph is None else (_odd(ph), _low(now, of, ph) or _falling(now, of, ph))
    rules = by_model or (_low_by_reading(now, of),)
    return [one for one in rules if one is not None]


def _low_by_reading(now: Progress, of: Assessment) -> Finding | None:
    floor, error = threshold("ph_low", "floor"), threshold("ph_low", "error")
    if now.ph is None or now.ph_at is None:
        return None
    chance = 0.5 * (1 + math.erf((floor - now.ph) / (error * math.sqrt(2))))
    if chance < threshold("ph_low", "perhaps"):
        return None
    meaning = _floor_words(now.ph, floor)
    words = say("pH {ph:.2f} was read; {meaning}.", ph=now.ph, meaning=meaning)
    sure = chance >= threshold("ph_low", "sure")
    why = say("it was {ph:.2f}; {meaning}", ph=now.ph, meaning=meaning)
    do = _next_words(now, of)
    return finding("ph_low", 75, chance, words, sure=sure, why=why, do=do)


def _next_words(now: Progress, of: Assessment) -> str:
    """What to do by the reading alone, as the next step has it."""
    found = salt_advice(now, of, None)
    if found.kind == "read":
        return AFTER_SALT + "."
    if found.kind == "none":
        return join(" ", [part for part in (found.words + ".", found.caution) if part])
    return say("{add}; add nothing more before that reading. {foams}", add=found.words, foams=FOAMS)


def _floor_words(ph: float, floor: float) -> Text:
    """What the floor means for a reading; one that stands at it is not under it."""
    if abs(ph - floor) < 0.005:
        return say("that is the floor, below which yeast struggles")
    return say("under {floor:g} yeast struggles", floor=floor)


def _odd(ph: PhForeseen) -> Finding | None:
    """No run matches the latest pH reading; an older one is overtaken by those after it."""
    if not ph.latest_is_odd:
        return None
    return finding("ph_implausible", 65, 0.9, ph.odd[-1])


def _low(now: Progress, of: Assessment, ph: PhForeseen) -> Finding | None:
    if not ph.is_read or ph.chance_low_now < threshold("ph_low", "perhaps"):
        return None
    if _just_read_above(now, ph):
        return None
    makes = say(
        "it is {band} now; under {floor:g} yeast struggles", band=band_words(ph.now), floor=ph.floor
    )
    words = _read(now, ph, makes)
    sure = ph.chance_low_now >= threshold("ph_low", "sure")
    why = say(
        "pH is {band}, and under {floor:g} yeast struggles",
        band=band_words(ph.now),
        floor=ph.floor,
    )
    return finding("ph_low", 75, ph.chance_low_now, words, sure=sure, do=_do(now, of, ph), why=why)


def _just_read_above(now: Progress, ph: PhForeseen) -> bool:
    """Whether a reading shows more than the floor, its error allowed for, and still holds.

    The pH falls fast while cells grow, and hardly once half of the sugar is gone.
    """
    if ph.read_ph is None or ph.read_h is None:
        return False
    holds_h = JUST_READ_H if now.sugar_used < GROWN else HOLDS_H
    enough = ph.floor + 2 * threshold("ph_low", "error") - 1e-9
    return ph.read_ph >= enough and (now.hours or 0.0) - ph.read_h <= holds_h


def is_dose_due(now: Progress, ph: PhForeseen | None) -> bool:
    """Whether a salt may go in at once: pH was read just now, and the dose does not wait."""
    if ph is None or ph.read_h is None or ph.dose is None or ph.dose.grams <= 0:
        return False
    is_fresh = (now.hours or 0.0) - ph.read_h <= JUST_READ_H
    return is_fresh and str(ph.dose.when) == str(NOW)


def _falling(now: Progress, of: Assessment, ph: PhForeseen) -> Finding | None:
    if ph.chance_low_ahead < threshold("ph_falling", "chance"):
        return None
    fall = low_words(ph, now.hours or 0.0)
    if not ph.is_read:
        worth = ph.worth[0]
        words = say(
            "No pH was read. By the recipe alone {fall}; {reading} would "
            "narrow that band from {width:.1f} to {width_after:.1f}.",
            fall=fall,
            reading=literal(worth.name),
            width=worth.width,
            width_after=worth.width_after,
        )
        do = say("Read pH before anything is added: without a reading, any dose is a guess.")
        why = say("the recipe alone suggests that it may fall low, and it was not read")
        return finding("ph_falling", 45, ph.chance_low_ahead, words, sure=False, do=do, why=why)
    grave = ph.chance_stall_ahead >= threshold("ph_falling", "stall_chance")
    words = _read(now, ph, fall)
    why = say(
        "it is heading to {band} {when}",
        band=band_words(ph.lowest_ahead),
        when=when_words(ph, now.hours or 0.0),
    )
    severity = 62 if grave else 48
    return finding("ph_falling", severity, ph.chance_low_ahead, words, do=_do(now, of, ph), why=why)


def _do(now: Progress, of: Assessment, ph: PhForeseen) -> str:
    return join(" ", [part for part in dose_said(now, of, ph) if part])


def _read(now: Progress, ph: PhForeseen, makes: str) -> Text:
    """What was read, and when; and what the runs make of it, a part of a sentence."""
    if ph.read_ph is None or ph.read_h is None:
        return say("From the pH of the sheet and what was fed since, {makes}.", makes=makes)
    ago = max((now.hours or 0.0) - ph.read_h, 0.0)
    if ago < 1:
        return say("pH {ph:g} was read. By the forecast, {makes}.", ph=ph.read_ph, makes=makes)
    return say(
        "pH {ph:g} was read {time} ago. By the forecast, {makes}.",
        ph=ph.read_ph,
        time=hours_words(ago),
        makes=makes,
    )
