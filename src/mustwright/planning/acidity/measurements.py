"""What would a reading save, and is there enough potassium: the watch on the acid."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mustwright import data
from mustwright.figure import ARITHMETIC, Figure, total
from mustwright.must.acidity.claims import claims_data, lowest_shown
from mustwright.must.acidity.dose import Trial
from mustwright.must.acidity.members import MustMembers
from mustwright.must.acidity.path import Path
from mustwright.must.acidity.potassium import (
    potassium_for_ph,
    potassium_sheet,
    published_ratio,
    ratio_to_hydrogen,
    sticking_odds_factor,
)
from mustwright.must.acidity.reading import Worth, worth_of_reading
from mustwright.nutrition.balance import BalanceRow
from mustwright.planning.acidity.result import (
    MeasuringAnswer,
    PotassiumAnswer,
    band_figure,
    chance_figure,
)
from mustwright.texts import literal, say

Floats = NDArray[np.float64]


def answer_measuring(
    must: MustMembers,
    path: Path,
    trial: Trial | None,
    ph_known: bool,
    ta_known: bool,
) -> tuple[MeasuringAnswer, ...]:
    """What each reading would save, the most valuable first."""
    readings = data.load("acids")["reading"]
    meter, strip = float(readings["meter_sd"]), float(readings["strip_sd"])
    each = trial.each_g_l if trial is not None else np.zeros(must.size)
    most = float(np.max(each, initial=0.0)) if trial is None else max(trial.salt.max_g_l, trial.g_l)
    trough = path.trough()
    start = float(claims_data()["start_after_sugar_used"])
    first = 0.0 if trial is None else min(at for at, _ in trial.schedule.moments)
    asked: list[tuple[str, Floats, float, float]] = []
    if not ph_known:
        asked.append((say("pH before yeast with a paper strip"), must.ph(), strip, 0.0))
        asked.append((say("pH before yeast with a meter"), must.ph(), meter, 0.0))
    if not ta_known:
        acid = np.maximum(must.titratable_g_l(), 0.02)
        sd = float(np.hypot(readings["ta_relative_sd"], readings["ta_sd_g_l"] / np.median(acid)))
        asked.append((say("titratable acid before yeast"), np.log(acid), sd, 0.0))
    asked.append(
        (
            say("pH with a strip at {start:.0%} of the sugar", start=start),
            path.at(start),
            strip,
            start,
        )
    )
    asked.append(
        (
            say("pH with a meter at {start:.0%} of the sugar", start=start),
            path.at(start),
            meter,
            start,
        )
    )
    asked.append((say("pH with a meter at 30 % of the sugar"), path.at(0.30), meter, 0.30))
    found = []
    for name, read, sd, when in asked:
        worth = worth_of_reading(name, read, sd, each, trough, most_g_l=max(most, 1e-9))
        found.append(_measuring(worth, trial is not None and when <= first + 1e-9))
    return tuple(m for m in found if m.trough_width_after < m.trough_width_now or m.saves_g_per_l)


def _measuring(worth: Worth, in_time: bool) -> MeasuringAnswer:
    saves = round(worth.saved_g_l, 3) if in_time else None
    if saves is not None and saves >= 0.005:
        words = literal(
            "narrows the range of the lowest pH from {now:.2f} to {then:.2f} and saves {saves:.2f} "
            "g/L of salt on average"
        )
    elif in_time:
        words = literal(
            "narrows the range of the lowest pH from {now:.2f} to {then:.2f}, but saves no salt on "
            "average"
        )
    else:
        words = literal("narrows the range of the lowest pH from {now:.2f} to {then:.2f}")
    words = words.format(now=worth.width, then=worth.width_after, saves=saves)
    return MeasuringAnswer(
        worth.name, saves, round(worth.width, 2), round(worth.width_after, 2), words
    )


def answer_potassium(
    must: MustMembers,
    row: BalanceRow,
    dose_mg_l: float,
    path: Path,
    dosed: Path,
    seed: int,
    ways: Ways,
) -> PotassiumAnswer:
    """Potassium as the plan counts it, and against the published ratio at the trough.

    Parameters
    ----------
    must : MustMembers
    row : BalanceRow
        Potassium's line of the plan's balance.
    dose_mg_l : float
        Brought by the salt, at least 0 [mg/L].
    path, dosed : Path
        The pH without the salt, and with it.
    seed : int
    ways : Ways
        What can still be done about it.
    """
    lowest = lowest_shown()
    fed_mg_l = row.plan_mg_l.value + row.rehydration_mg_l.value
    whole = must.potassium_mg_l + fed_mg_l + dose_mg_l
    shown = np.maximum(dosed.trough(), lowest)
    short = potassium_sheet(must.potassium_mg_l, fed_mg_l, dose_mg_l, shown).chance_short
    source = "Kudo1998, ratio from memory"
    return PotassiumAnswer(
        must_mg_l=row.must_mg_l,
        feeds_mg_l=total({"feeds": row.plan_mg_l, "rehydration": row.rehydration_mg_l}, "mg/L"),
        dose_mg_l=Figure(dose_mg_l + 0.0, "mg/L", say("of the salt"), ARITHMETIC),
        needed_mg_l=row.need_mg_l,
        short_mg_l=row.short_mg_l,
        by_ratio_mg_l=needed_by_ratio(path.trough()),
        ratio=band_figure(
            ratio_to_hydrogen(whole, shown), "mol/mol", say("potassium over hydrogen ion"), source
        ),
        published_ratio=Figure(published_ratio(), "mol/mol", say("published"), source),
        chance_short=chance_figure(short, say("under the published ratio"), shown.size),
        sticking_odds_factor=band_figure(
            sticking_odds_factor(dosed.trough(), whole, seed),
            "",
            say(
                "factor on the odds of stopping short; the size of the harm is assumed, at most 50"
            ),
            source,
        ),
        words=_potassium_words(short, ways),
    )


def needed_by_ratio(trough: Floats) -> Figure:
    """Potassium that the published ratio asks for, the same on the plan and beside the acid.

    Parameters
    ----------
    trough : ndarray
        Lowest pH of each member; nothing below the lowest that may be said is counted [-].

    Returns
    -------
    Figure
        [mg/L].
    """
    lowest = lowest_shown()
    return band_figure(
        potassium_for_ph(np.maximum(trough, lowest)),
        "mg/L",
        say(
            "{ratio:g} mol K per mol H at the lowest pH (at least pH {lowest:g})",
            ratio=published_ratio(),
            lowest=lowest,
        ),
        "Kudo1998, ratio from memory",
    )


@dataclass(frozen=True)
class Ways:
    """What can still be done where potassium is short: feed less ammonium, add a salt."""

    less_ammonium: bool
    salt: bool


def _potassium_words(short: float, ways: Ways) -> str:
    if short < 0.1:
        return say("Potassium is enough for the acid expected.")
    if short < 0.5:
        if ways.salt:
            return say("Potassium may be short at the lowest pH. A potassium salt helps with both.")
        return say("Potassium may be short at the lowest pH.")
    if ways.less_ammonium and ways.salt:
        return say(
            "Potassium is probably short for this acid. Use less ammonium or a potassium salt."
        )
    if ways.less_ammonium:
        return say("Potassium is probably short for this acid. Use less ammonium.")
    if ways.salt:
        return say("Potassium is probably short for this acid. Use a potassium salt.")
    return say("Potassium is probably short for this acid.")
