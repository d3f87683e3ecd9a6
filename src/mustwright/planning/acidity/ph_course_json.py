"""The pH of a forecast as plain data, the same for every shell."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from mustwright.kinetics.bands import PROBABILITIES
from mustwright.must.acidity.claims import lowest_shown
from mustwright.must.acidity.draws import chance, quantile
from mustwright.planning.acidity.ph_course import FEW, MODEL, PhForecast
from mustwright.planning.acidity.result import ph_band, risk_of
from mustwright.texts import join, say, say_n

Floats = NDArray[np.float64]
WITHIN = say(
    "How much acid and too little potassium raise the odds of stopping above, "
    "against the same runs without them. The size of the harm is assumed."
)
STALL = say(
    "From a pH below {lowest:g} on the ferment is likely to stall.",
    lowest=lowest_shown(),
)


def ph_data(
    found: PhForecast | None, times_h: Floats, sticking: float, odds_factor: float
) -> dict[str, object]:
    """The `ph`, `ph_trough`, `ph_note` and `sticking_by_acid` of a forecast as plain data.

    Parameters
    ----------
    found : PhForecast or None
        None where nothing honest can be said: the fields are null then, but for the note.
    times_h : ndarray
        Where the forecast's bands stand; straight lines lie between the times of the path.
    sticking : float
        The forecast's chance of sticking, the one there is.
    odds_factor : float
        On its odds, by acid and potassium (`kinetics.counterfactual.odds_by_acid`).
    """
    if found is None:
        return {
            "ph": None,
            "ph_trough": None,
            "ph_note": say("No pH: neither the ingredients nor a measured pH are known."),
            "sticking_by_acid": None,
        }
    return {
        "ph": band_lines(found, times_h),
        "ph_trough": trough_data(found),
        "ph_note": join(" ", ph_notes(found)),
        "sticking_by_acid": sticking_data(sticking, odds_factor),
    }


def band_lines(found: PhForecast, times_h: Floats) -> dict[str, list[float]]:
    """Quantiles along the times, cut off at the lowest shown, and the share below it."""
    lowest = lowest_shown()
    low_share = (found.ph < lowest).mean(axis=0)
    lines = {
        _name(p): _shown(np.interp(times_h, found.times_h, line), lowest)
        for p, line in zip(PROBABILITIES, quantile_lines(found.ph), strict=True)
    }
    below = np.interp(times_h, found.times_h, low_share)
    return {**lines, "below_2_9": [round(float(v), 4) for v in below]}


def quantile_lines(ph: Floats) -> list[Floats]:
    """Quantiles at every time, the member nearest to each probability."""
    ordered = np.sort(ph, axis=0)
    return [ordered[round(p * (ph.shape[0] - 1))] for p in PROBABILITIES]


def _name(p: float) -> str:
    return f"p{round(100 * p):02d}"


def _shown(values: Floats, lowest: float) -> list[float]:
    return [round(max(float(v), lowest), 2) for v in values]


def trough_data(found: PhForecast) -> dict[str, object]:
    """The lowest pH and what it means, as plain data."""
    lowest = lowest_shown()
    band = ph_band(found.trough, say("lowest pH of the ferment"), MODEL)
    return {
        "band": {_name(p): round(max(quantile(found.trough, p), lowest), 2) for p in PROBABILITIES},
        "words": band.words,
        "expected_h": {_name(p): quantile(found.trough_h, p) for p in PROBABILITIES},
        "floor": found.floor,
        "chance_below_floor": round(found.chance_below_floor, 4),
        "risk": risk_of(found.chance_below_floor),
        "below_2_9": round(chance(found.trough < lowest), 4),
        "members": int(found.trough.size),
        "effective_members": None if found.effective is None else round(found.effective, 1),
        "interpolation_error": round(found.interpolation_error, 4),
    }


def ph_notes(found: PhForecast) -> list[str]:
    """Where the band comes from, and what was left out of it."""
    if found.measured_ph is not None:
        first = say("Fitted to a pH of {ph:g} measured before the yeast.", ph=found.measured_ph)
    else:
        first = say("A range from a recipe, not measured. Read the pH before the yeast goes in.")
    notes: list[str] = [first]
    if found.used_readings:
        notes.append(
            say_n(
                "Fitted to {count} later pH reading too.",
                "Fitted to {count} later pH readings too.",
                found.used_readings,
            )
        )
        if found.effective is not None and found.effective <= FEW * 1.01:
            notes.append(say("Few runs meet them, so they were given less weight."))
    notes += [*found.odd, *found.notes]
    if chance(found.trough < lowest_shown()) >= 0.05:
        notes.append(STALL)
    return notes


def sticking_data(sticking: float, odds_factor: float) -> dict[str, object]:
    """Odds of sticking by potassium and pH, within the one chance of sticking."""
    return {
        "odds_factor": dict.fromkeys(_ENDS, round(odds_factor, 3)),
        "chance_of_sticking": dict.fromkeys(_ENDS, round(sticking, 4)),
        "note": WITHIN,
    }


_ENDS = ("p05", "p50", "p95")
