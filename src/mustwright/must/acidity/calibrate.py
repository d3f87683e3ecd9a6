"""What does a reading change: members brought into line with a measured pH, acid, or both."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from mustwright import data
from mustwright.must.acidity.balance import base_to_ph, titratable_acid
from mustwright.must.acidity.draws import quantile
from mustwright.must.acidity.members import TARTARIC_MEQ_G, MustMembers

Floats = NDArray[np.float64]
LEAST_SCALE, MOST_SCALE = 0.02, 50.0
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
) -> Calibrated:
    """Members after a reading of the must before yeast.

    Parameters
    ----------
    must : MustMembers
    seed : int
    ph : float or None
        Measured, 2 to 9.
    ph_sd : float or None
        Of the reading; that of a meter unless given [-].
    ta_g_l : float or None
        Titratable acid to pH 8.2, as tartaric, above 0 [g/L].

    Notes
    -----
    Each member moves towards the reading by the gain ``prior variance / (prior + reading
    variance)``, the reading perturbed by its own error. A pH is met by the unknown strong-ion
    difference while the titratable acid stays, a titratable acid by scaling the organic acids.
    """
    if ph is None and ta_g_l is None:
        return Calibrated(must, ())
    rng = np.random.default_rng(seed + 7919)
    notes: list[str] = []
    read = must.rested(rng.uniform(0, 1, must.size))
    target = read.ph()
    if ph is not None:
        sd = reading_sd("meter") if ph_sd is None else ph_sd
        notes += _odd_ph(target, ph, sd)
        target = np.clip(_moved(target, ph, sd, rng), 1.5, 9.5)
    acid = np.maximum(_titratable(read, read.ph()), 1e-3)
    if ta_g_l is not None:
        acid = _moved_acid(acid, ta_g_l, rng)
    read, off = _with_acid(read, target, acid)
    if ta_g_l is not None and off > 0.2:
        notes.append(
            f"A titratable acid of {ta_g_l:g} g/L does not go together with this pH and these "
            "ingredients: check the titration (degassed? strength of the base?)."
        )
    base = base_to_ph(read.rows, target)
    done = replace(
        read,
        rows=read.rows.with_base(base),
        ph_sd=must.ph_sd if ph is None else sd,
        ta_measured=ta_g_l is not None,
    )
    return Calibrated(done, tuple(notes))


def _moved(prior: Floats, reading: float, sd: float, rng: np.random.Generator) -> Floats:
    variance = float(prior.var())
    gain = variance / (variance + sd**2) if variance + sd**2 > 0 else 1.0
    noise = sd * rng.standard_normal(prior.size)
    return np.asarray(prior + gain * (reading + noise - prior))


def _odd_ph(prior: Floats, ph: float, sd: float) -> list[str]:
    low, high = quantile(prior, 0.01) - 2 * sd, quantile(prior, 0.99) + 2 * sd
    if low <= ph <= high:
        return []
    side = "below" if ph < low else "above"
    return [
        f"The measured pH {ph:g} is {side} nearly all that this recipe could give "
        f"({low:.1f} to {high:.1f}): check the meter in fresh buffer, and the recipe."
    ]


def _moved_acid(prior: Floats, ta_g_l: float, rng: np.random.Generator) -> Floats:
    """Titratable acid of each member after a titration, moved on a log scale [g/L]."""
    record = data.load("acids")["reading"]
    sd = float(np.hypot(record["ta_relative_sd"], record["ta_sd_g_l"] / ta_g_l))
    return np.asarray(np.exp(_moved(np.log(prior), float(np.log(ta_g_l)), sd, rng)))


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
    return np.asarray(
        1000 * titratable_acid(there) * must.solvent_kg_l / TARTARIC_MEQ_G
    )
