"""What does a reading change: members brought into line with a measured pH, acid, or both."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from mustwright import data
from mustwright.must.acidity.balance import base_to_ph, titratable_acid
from mustwright.must.acidity.draws import quantile
from mustwright.must.acidity.members import TARTARIC_MEQ_G, MustMembers, pick
from mustwright.texts import literal, say

Floats = NDArray[np.float64]
LEAST_SCALE, MOST_SCALE = 0.02, 50.0
SHARP = 0.15  # a reading sharper than this is set, not only drawn towards
ENOUGH = 60  # equal members that must be left, else the likelihood is widened
KEPT = ("phosphoric", "ammonium", "amino")  # a measured acid says nothing of these


@dataclass(frozen=True)
class Calibrated:
    """Members that agree with what was measured.

    Parameters
    ----------
    must : MustMembers
    notes : tuple of str
        Where a reading and the recipe do not go together.
    """

    must: MustMembers
    notes: tuple[str, ...]


def reading_sd(kind: str) -> float:
    """Standard deviation of a pH reading by ``meter`` or ``strip``."""
    return float(data.load("acids")["reading"][f"{kind}_sd"])


def calibrate(
    must: MustMembers,
    seed: int,
    *,
    ph: float | None = None,
    ph_sd: float | None = None,
    ta_g_l: float | None = None,
    members: int | None = None,
) -> Calibrated:
    """Bring the members into line with a reading of the must before the yeast went in.

    Parameters
    ----------
    must : MustMembers
        As drawn from the recipe; several times as many as wanted, so that enough come near.
    seed : int
    ph : float or None
        Measured pH, 2 to 9 [-].
    ph_sd : float or None
        Standard deviation of that reading, above 0 [-]; None takes that of a pH meter.
    ta_g_l : float or None
        Titratable acid to pH 8.2, as tartaric, above 0 [g/L].
    members : int or None
        How many are wanted; as many as came in unless given.

    Returns
    -------
    Calibrated

    Notes
    -----
    Members are redrawn by how likely each makes the readings, so that whatever explains a
    reading (hard water, a dark honey) is drawn along with it. Where a reading is sharper than
    0.15 pH or 15 % of the acid, each member is then set to it, within its error: pH by the
    unknown strong-ion difference at unchanged titratable acid, acid by scaling the organic
    acids. The errors of the instruments are assumed (`reading` in the acid records).
    """
    wanted = must.size if members is None else members
    if ph is None and ta_g_l is None:
        return Calibrated(pick(must, np.arange(must.size)[:wanted]), ())
    rng = np.random.default_rng(seed + 7919)
    notes: list[str] = []
    read = must.rested(rng.uniform(0, 1, must.size))
    ph_here = read.ph()
    acid = np.maximum(_titratable(read, ph_here), 1e-3)
    sd = reading_sd("meter") if ph_sd is None else ph_sd
    acid_sd = _acid_sd(ta_g_l) if ta_g_l is not None else 1.0
    if ph is not None:
        notes += _odd_ph(ph_here, ph, sd)
    chosen = _near(ph_here, ph, sd, acid, ta_g_l, acid_sd, wanted, rng)
    read, target, acid = pick(read, chosen), ph_here[chosen], acid[chosen]
    if ph is not None and sd < SHARP:
        target = np.clip(ph + sd * rng.standard_normal(wanted), 1.5, 9.5)
    if ta_g_l is not None and acid_sd < SHARP:
        acid = ta_g_l * np.exp(acid_sd * rng.standard_normal(wanted))
    read, off = _with_acid(read, target, acid)
    if ta_g_l is not None and off > 0.2:
        notes.append(
            say(
                "A titratable acid of {ta_g_l:g} g/L does not go together with this "
                "pH and these ingredients: check the titration (degassed? strength "
                "of the base?).",
                ta_g_l=ta_g_l,
            )
        )
    base = base_to_ph(read.rows, target)
    done = replace(
        read,
        rows=read.rows.with_base(base),
        ph_sd=None if ph is None else sd,
        ta_measured=ta_g_l is not None,
    )
    return Calibrated(done, tuple(notes))


def _acid_sd(ta_g_l: float) -> float:
    """Relative error of a titration."""
    record = data.load("acids")["reading"]
    return float(np.hypot(record["ta_relative_sd"], record["ta_sd_g_l"] / ta_g_l))


def _near(
    ph_here: Floats,
    ph: float | None,
    ph_sd: float,
    acid: Floats,
    ta_g_l: float | None,
    acid_sd: float,
    wanted: int,
    rng: np.random.Generator,
) -> NDArray[np.int64]:
    """Members drawn again by the likelihood of the readings, widened until enough are left."""
    wide = 1.0
    while True:
        log = np.zeros(ph_here.size)
        if ph is not None:
            log -= 0.5 * ((ph_here - ph) / (wide * max(ph_sd, SHARP))) ** 2
        if ta_g_l is not None:
            log -= 0.5 * (np.log(acid / ta_g_l) / (wide * max(acid_sd, SHARP))) ** 2
        weights = np.exp(log - log.max())
        weights /= weights.sum()
        if 1 / float((weights**2).sum()) >= ENOUGH or wide > 100:
            break
        wide *= 1.5
    places = (rng.uniform() + np.arange(wanted)) / wanted
    drawn = np.searchsorted(np.cumsum(weights), places)
    return np.asarray(rng.permutation(np.minimum(drawn, ph_here.size - 1)), dtype=np.int64)


def _odd_ph(prior: Floats, ph: float, sd: float) -> list[str]:
    low, high = quantile(prior, 0.01) - 2 * sd, quantile(prior, 0.99) + 2 * sd
    if low <= ph <= high:
        return []
    words = (
        literal(
            "The measured pH {ph:g} is below nearly all that this recipe could give ({low:.1f} to "
            "{high:.1f}): check the meter in fresh buffer, and the recipe."
        )
        if ph < low
        else literal(
            "The measured pH {ph:g} is above nearly all that this recipe could give ({low:.1f} to "
            "{high:.1f}): check the meter in fresh buffer, and the recipe."
        )
    )
    return [words.format(ph=ph, low=low, high=high)]


def _with_acid(must: MustMembers, ph: Floats, target: Floats) -> tuple[MustMembers, float]:
    """Organic acids scaled to a titratable acid at a pH, and the share of members that miss it."""
    keep = np.array([a.id in KEPT for a in must.rows.chemistry.acids])
    scale = np.ones(must.size)
    for _ in range(3):  # the acid is nearly a straight line in the scale
        here = _titratable(_scaled(must, scale, keep), ph)
        more = _titratable(_scaled(must, scale * 1.05, keep), ph)
        slope = np.maximum((more - here) / (0.05 * scale), 1e-9)
        scale = np.clip(scale + (target - here) / slope, LEAST_SCALE, MOST_SCALE)
    missed = np.abs(_titratable(_scaled(must, scale, keep), ph) - target) > 0.05 * target + 0.02
    return _scaled(must, scale, keep), float(missed.mean())


def _scaled(must: MustMembers, scale: Floats, keep: NDArray[np.bool_]) -> MustMembers:
    totals = np.where(keep[None, :], must.rows.totals, must.rows.totals * scale[:, None])
    return replace(must, rows=replace(must.rows, totals=totals), lactone=must.lactone * scale)


def _titratable(must: MustMembers, ph: Floats) -> Floats:
    """Acid as tartaric that each member would show if it stood at a pH [g/L]."""
    rows = must.rows.without_gas()
    there = rows.with_base(base_to_ph(rows, ph))
    return np.asarray(1000 * titratable_acid(there) * must.solvent_kg_l / TARTARIC_MEQ_G)
