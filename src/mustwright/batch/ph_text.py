"""The pH of a batch in words: where it stands, where it goes, which salt, what a reading tells."""

from __future__ import annotations

from mustwright.batch.alert import threshold
from mustwright.batch.clock import NOW
from mustwright.batch.duration_text import hours_words
from mustwright.batch.ph_forecast_record import PhForeseen, SaltDose
from mustwright.batch.quantiles import Quantiles
from mustwright.must.acidity.claims import REST_UNDER, lowest_shown
from mustwright.texts import literal, say
from mustwright.weighing import first_half

READ_ON = say("read pH again after half a day")


def stands_words(ph: PhForeseen) -> str:
    """Where it stands."""
    if not ph.is_read:
        return say("Read the pH: from the recipe alone it is {band}.", band=band_words(ph.now))
    return say(
        "pH is {band} in nine of ten runs that fit the readings.",
        band=band_words(ph.now),
    )


def ahead_words(ph: PhForeseen, now_h: float) -> str:
    """Where it goes from here on."""
    return say(
        "As planned from here, the lowest pH ahead is {band}, {when}; "
        "{share} fall under {floor:g}.",
        band=band_words(ph.lowest_ahead),
        when=when_words(ph, now_h),
        share=_share(ph.chance_low_ahead),
        floor=ph.floor,
    )


def _share(part: float) -> str:
    """A share of runs as a count.

    Examples
    --------
    >>> _share(0.0), _share(0.994), _share(1.0)
    ('none of 100 runs', '99 of 100 runs', 'all runs')
    """
    count = round(100 * part)
    if not count:
        return say("none of 100 runs")
    return say("all runs") if count == 100 else say("{count} of 100 runs", count=count)


def low_words(ph: PhForeseen, now_h: float) -> str:
    """How many runs fall low, how low, and when."""
    return say(
        "{share} fall under {floor:g}; the lowest pH ahead is {band}, {when}",
        share=_share(ph.chance_low_ahead),
        floor=ph.floor,
        band=band_words(ph.lowest_ahead),
        when=when_words(ph, now_h),
    )


def when_words(ph: PhForeseen, now_h: float) -> str:
    """When the runs are lowest."""
    hours = ph.lowest_ahead_h.p50
    if hours is None:
        return say("later")
    return NOW if hours - now_h < 3 else say("in about {time}", time=hours_words(hours - now_h))


def band_words(q: Quantiles) -> str:
    """Nine in ten, to a tenth; nothing below the lowest pH that may be said.

    Examples
    --------
    >>> band_words(Quantiles(2.9, 3.0, 3.1, 3.2, 3.31)), band_words(Quantiles(*[2.9] * 5))
    ('3.3 or lower', 'below 2.9')
    >>> band_words(Quantiles(2.9, 3.0, 3.4, 3.8, 4.1))
    'below 2.9 to 4.1'
    """
    low, high = q.p05 or 0.0, q.p95 or 0.0
    lowest = lowest_shown()
    if high <= lowest + 0.005:
        return say("below {lowest:g}", lowest=lowest)
    if low <= lowest + 0.005:
        if high >= threshold("ph_low", "comfort"):  # "or lower" would not be heard as low
            return say("below {lowest:g} to {high:.1f}", lowest=lowest, high=high)
        return say("{high:.1f} or lower", high=high)
    return (
        say("{low:.1f}", low=low)
        if f"{low:.1f}" == f"{high:.1f}"
        else say("{low:.1f} to {high:.1f}", low=low, high=high)
    )


def dose_words(dose: SaltDose | None, floor: float, scale_g: float) -> str:
    """The smallest dose that keeps the floor, in parts to the scale's step [g]; its caution goes
    beside it.
    """
    if dose is None:
        return say(
            "No salt: the runs keep pH {floor:g} from here on; {read_on}.",
            floor=floor,
            read_on=READ_ON,
        )
    if dose.grams <= 0:
        return say(
            "No salt may go in: {limit} Give amino nitrogen in place of ammonium "
            "from here on, and {read_on}.",
            limit=dose.limit,
            read_on=READ_ON,
        )
    words = say(
        "{grams:g} g of {salt} ({g_l:.2f} g/L) {when} is the smallest dose that keeps "
        "pH {floor:g} in {kept:.0f} of 100 runs. Give half of it ({half:g} g) and stir. "
        "Read again after half a day; give the rest only under pH {rest_under:.1f}.",
        grams=dose.grams,
        salt=literal(dose.name).lower(),
        g_l=dose.g_l,
        when=literal(dose.when),
        floor=floor,
        kept=100 * dose.chance_kept,
        half=first_half(dose.grams, scale_g),
        rest_under=floor + REST_UNDER,
    )
    if dose.limit:
        words += " " + say("More is not planned: {limit}", limit=dose.limit)
    return words


def half_dose_words(dose: SaltDose, scale_g: float) -> str:
    """The first half of it, to the scale's step [g], as one action: add half, measure again."""
    return say(
        "Add {grams:g} g of {salt} now, half the dose, and {read_on}",
        grams=first_half(dose.grams, scale_g),
        salt=literal(dose.name).lower(),
        read_on=READ_ON,
    )


def part_words(grams: float) -> str:
    """A first part of the salt, where no model has worked a dose out.

    Examples
    --------
    >>> part_words(4.8)
    'Add 4.8 g of potassium bicarbonate now, and read pH again after half a day'
    """
    return say(
        "Add {grams:g} g of potassium bicarbonate now, and {read_on}",
        grams=grams,
        read_on=READ_ON,
    )


def no_salt_words(is_salted: bool, too_low: bool = False) -> str:
    """What is left to do where no salt may go in, or no more of it.

    Parameters
    ----------
    too_low : bool
        Whether the pH is so low that the ferment would not go on by itself.
    """
    what = say("blend it with a less sour mead, or thin it") if too_low else READ_ON
    if is_salted:
        return say("Add no more salt, give no ammonium, and {what}", what=what)
    return say("Add no salt, give no ammonium, and {what}", what=what)


def dose_caution(dose: SaltDose | None) -> str:
    """What to mind with the salt; empty if none is to be given."""
    return dose.caution if dose is not None and dose.grams > 0 else ""


def worth_words(ph: PhForeseen) -> tuple[str, ...]:
    """What one more reading would tell."""
    found = []
    for one in ph.worth:
        if f"{one.width:.1f}" == f"{one.width_after:.1f}" and one.saved_g_l < 0.005:
            continue
        words = say(
            "{reading}: narrows the range of the lowest pH ahead from "
            "{width:.1f} to {width_after:.1f}",
            reading=literal(one.name),
            width=one.width,
            width_after=one.width_after,
        )
        if ph.dose is not None and one.saved_g_l >= 0.005:
            words = say(
                "{narrows} and saves {saved:.2f} g/L of salt on average",
                narrows=words,
                saved=one.saved_g_l,
            )
        found.append(words + ".")
    return tuple(found)
