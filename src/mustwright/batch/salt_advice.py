"""What to do against a low pH, in the same words everywhere: measure, add half, measure again."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from mustwright import data
from mustwright.batch.alert import threshold
from mustwright.batch.allowed_additions import CARBONATES, room_of_kind
from mustwright.batch.assessment import STOPPED, Assessment
from mustwright.batch.ph_forecast_record import PhForeseen
from mustwright.batch.ph_text import (
    READ_ON,
    dose_caution,
    dose_words,
    half_dose_words,
    no_salt_words,
    part_words,
)
from mustwright.batch.progress import Progress, salt_ahead
from mustwright.must.acidity.claims import claims_data
from mustwright.must.acidity.salts import all_salts, allowance
from mustwright.texts import capital, join, say
from mustwright.weighing import down_to_step

SHOWS_AFTER = timedelta(hours=12)  # of a salt that was stirred in (assumed)
MOVES_PH = ("ph_adjusted", "acid")
SHOWS = say("it shows what the addition did")
AFTER_SALT = say("Read pH and gravity half a day after what went in; add nothing more before that")


@dataclass(frozen=True)
class SaltAdvice:
    """One action against a low pH.

    Parameters
    ----------
    words : str
        The action, with its amount.
    caution : str
        What to mind, with what the law says of the salt.
    at : datetime or None
        When; None for now.
    kind : str
        ``read``, ``add``, or ``none`` where no salt may go in.
    """

    words: str
    caution: str
    at: datetime | None
    kind: str


def salt_advice(now: Progress, of: Assessment, ph: PhForeseen | None) -> SaltAdvice:
    """What comes next against a low pH.

    Parameters
    ----------
    ph : PhForeseen or None
        What the acid model says; without it, half of the largest step between two readings, as far
        as law, label and stock allow.
    """
    since = salted_since(now, of)
    if since is not None:
        return SaltAdvice(say("Read pH and gravity"), "", since + SHOWS_AFTER, "read")
    dose = ph.dose if ph is not None else None
    too_low = (
        of.phase == STOPPED and now.ph is not None and now.ph < threshold("ph_low", "restart_low")
    )
    nothing = no_salt_words(_is_salted(now), too_low)
    powder: str = data.load("cautions")["powder_in_gassy_must"]["text"]
    if dose is not None and dose.grams > 0:
        return SaltAdvice(
            half_dose_words(dose, now.plan.scale_g), dose.caution or powder, None, "add"
        )
    if dose is not None and dose.limit:
        return SaltAdvice(nothing, dose.limit, None, "none")
    grams, law = _first_part_g(now, of)
    if grams <= 0:
        return SaltAdvice(nothing, join(" ", law), None, "none")
    return SaltAdvice(part_words(grams), join(" ", (powder, *law)), None, "add")


def dose_said(now: Progress, of: Assessment, ph: PhForeseen) -> tuple[str, str]:
    """What the acid model says of a salt, and what to mind with it.

    Nothing more before a reading shows what the last one did; beside a salt that is still planned,
    which of the two amounts holds.
    """
    if salted_since(now, of) is not None:
        return AFTER_SALT + ".", ""
    planned = sum(part.grams for part in salt_ahead(now))
    dose = ph.dose
    if dose is None or (dose.grams <= 0 and not dose.limit):
        if ph.chance_low_ahead <= 1 - float(claims_data()["chance_wanted"]):
            return dose_words(None, ph.floor, now.plan.scale_g), ""
        lead = say("Add no salt yet: the plan's is not due") if planned else say("Add no salt now")
        return lead + ". " + capital(READ_ON) + ".", ""
    words = dose_words(dose, ph.floor, now.plan.scale_g)
    if planned and dose.grams > 0:
        words = join(
            " ",
            (words, say("It takes the place of the {planned:g} g in the plan.", planned=planned)),
        )
    return words, dose_caution(dose)


def salted_since(now: Progress, of: Assessment) -> datetime | None:
    """When something went in that moves pH and no reading has shown yet; None otherwise.

    A reading at the same moment is of what was there before.
    """
    done = of.last_done
    found = [] if now.salted_at is None else [now.salted_at]
    if done is not None and done.name in MOVES_PH:
        found.append(done.at)
    last = max(found, default=None)
    return last if last is not None and now.ph_at is not None and last >= now.ph_at else None


def _is_salted(now: Progress) -> bool:
    return any(now.given_g.get(salt, 0.0) > 0 for salt in CARBONATES)


def _first_part_g(now: Progress, of: Assessment) -> tuple[float, tuple[str, ...]]:
    """Half a step of potassium bicarbonate, to the scale [g], and what the law says of it.

    Never past what law, label and stock leave of it after the base that went in; acid that nobody
    measured counts as none.
    """
    known, held = all_salts(), of.held
    salt = known[CARBONATES[0]]
    allowed = allowance(salt, now.plan.profile, held.acidity_g_l or 0.0)
    gone = sum(
        now.given_g.get(name, 0.0) * known[name].base_meq_g / salt.base_meq_g for name in CARBONATES
    )
    most = min(
        0.5 * threshold("ph_low", "step_g_l") * held.volume_l,
        allowed.most_g_l * held.volume_l - gone,
        room_of_kind(now, salt.id).grams,
    )
    law = (allowed.binding,) if allowed.binding else ()
    return down_to_step(max(most, 0.0), now.plan.scale_g), law
