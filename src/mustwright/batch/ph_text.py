"""The pH of a batch in words: where it stands, where it goes, which salt, what a reading tells."""

from __future__ import annotations

from mustwright.batch.duration_text import hours_words
from mustwright.batch.ph_forecast_record import PhForeseen, SaltDose
from mustwright.batch.quantiles import Quantiles
from mustwright.must.acidity.claims import lowest_shown

READ_ON = "read pH again after half a day"


def stands_words(ph: PhForeseen) -> str:
    """Where it stands."""
    if not ph.is_read:
        return f"Read the pH: from the recipe alone it is {band_words(ph.now)}."
    return f"pH is {band_words(ph.now)} in nine of ten runs that fit the readings."


def ahead_words(ph: PhForeseen, now_h: float) -> str:
    """Where it goes from here on."""
    return (
        f"With the feeds still planned, the lowest pH ahead is {band_words(ph.lowest_ahead)}, "
        f"{when_words(ph, now_h)}; {_share(ph.chance_low_ahead)} fall under {ph.floor:g}."
    )


def _share(part: float) -> str:
    """A share of runs as a count.

    Examples
    --------
    >>> _share(0.0), _share(0.994), _share(1.0)
    ('none of 100 runs', '99 of 100 runs', 'all runs')
    """
    count = round(100 * part)
    return "all runs" if count == 100 else f"{count or 'none'} of 100 runs"


def low_words(ph: PhForeseen, now_h: float) -> str:
    """How many runs fall low, how low, and when."""
    return (
        f"{_share(ph.chance_low_ahead)} fall under {ph.floor:g}, to {band_words(ph.lowest_ahead)} "
        f"{when_words(ph, now_h)}"
    )


def when_words(ph: PhForeseen, now_h: float) -> str:
    """When the runs are lowest."""
    hours = ph.lowest_ahead_h.p50
    if hours is None:
        return "later"
    return "now" if hours - now_h < 3 else f"in about {hours_words(hours - now_h)}"


def band_words(q: Quantiles) -> str:
    """Nine in ten, to a tenth; nothing below the lowest pH that may be said.

    Examples
    --------
    >>> band_words(Quantiles(2.9, 3.0, 3.1, 3.2, 3.31)), band_words(Quantiles(*[2.9] * 5))
    ('3.3 or lower', 'below 2.9')
    """
    low, high = q.p05 or 0.0, q.p95 or 0.0
    lowest = lowest_shown()
    if high <= lowest + 0.005:
        return f"below {lowest:g}"
    if low <= lowest + 0.005:
        return f"{high:.1f} or lower"
    return f"{low:.1f}" if f"{low:.1f}" == f"{high:.1f}" else f"{low:.1f} to {high:.1f}"


def dose_words(dose: SaltDose | None, floor: float) -> str:
    """The smallest dose that keeps the floor, in parts; its caution goes beside it."""
    if dose is None:
        return f"No salt: the runs keep pH {floor:g} from here on; {READ_ON}."
    if dose.grams <= 0:
        return (
            f"No salt may be planned: {dose.limit} Give amino nitrogen in place of ammonium from "
            f"here on, and {READ_ON}."
        )
    words = (
        f"{dose.grams:g} g of {dose.name.lower()} ({dose.g_l:.2f} g/L) {dose.when} is the smallest "
        f"dose that keeps pH {floor:g} in {100 * dose.chance_kept:.0f} of 100 runs. Give half of "
        f"it ({dose.grams / 2:.3g} g), stir, let the gas go, read again; give the rest only under "
        f"pH {floor + 0.2:.1f}."
    )
    if dose.limit:
        words += f" More is not planned: {dose.limit}"
    return words


def half_dose_words(dose: SaltDose) -> str:
    """The first half of it as one action: measure, add half, measure again."""
    return f"Add {dose.grams / 2:.3g} g of {dose.name.lower()} now, half the dose, and {READ_ON}"


def part_words(grams: float) -> str:
    """A first part of the salt, where no model has worked a dose out.

    Examples
    --------
    >>> part_words(4.75)
    'Add 4.8 g of potassium bicarbonate now, and read pH again after half a day'
    """
    return f"Add {grams:.2g} g of potassium bicarbonate now, and {READ_ON}"


def no_salt_words(is_salted: bool, too_low: bool = False) -> str:
    """What is left to do where no salt may go in, or no more of it.

    Parameters
    ----------
    too_low : bool
        Whether the pH is so low that the ferment would not go on by itself.
    """
    what = "blend it with a less sour mead, or thin it" if too_low else READ_ON
    return f"Add no {'more ' if is_salted else ''}salt, give no ammonium, and {what}"


def dose_caution(dose: SaltDose | None) -> str:
    """What to mind with the salt; empty if none is to be given."""
    return dose.caution if dose is not None and dose.grams > 0 else ""


def worth_words(ph: PhForeseen) -> tuple[str, ...]:
    """What one more reading would tell."""
    found = []
    for one in ph.worth:
        words = (
            f"{one.name}: narrows the range of the lowest pH ahead from {one.width:.1f} to "
            f"{one.width_after:.1f}"
        )
        if ph.dose is not None and one.saved_g_l >= 0.005:
            words += f" and saves {one.saved_g_l:.2f} g/L of salt on average"
        found.append(f"{words}.")
    return tuple(found)
