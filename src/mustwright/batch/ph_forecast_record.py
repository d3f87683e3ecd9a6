"""What the acid model says of a batch: its pH so far and ahead, and the salt that would keep it."""

from __future__ import annotations

from dataclasses import dataclass

from mustwright.batch.quantiles import Along, Quantiles


@dataclass(frozen=True)
class SaltDose:
    """The smallest dose, from now on, that keeps the floor with the chance wanted.

    Parameters
    ----------
    salt, name : str
    g_l, grams : float
        Never above what is allowed, in the scale's step; [g/L] and [g].
    when : str
        Now, or the part of the sugar to wait for.
    chance_kept : float
        That pH keeps the floor with it, 0 to 1.
    wanted_g_l : float or None
        What the floor would need, if law, label or shelf allow less [g/L].
    limit : str
        What holds it back; empty where nothing does.
    highest : float
        pH that 95 of 100 runs stay below with it.
    caution : str
    """

    salt: str
    name: str
    g_l: float
    grams: float
    when: str
    chance_kept: float
    wanted_g_l: float | None
    limit: str
    highest: float
    caution: str


@dataclass(frozen=True)
class ReadingWorth:
    """What one more pH reading, now, would tell.

    Parameters
    ----------
    name : str
    width, width_after : float
        Of the 90 % band of the lowest pH ahead, without it and on average with it [-].
    saved_g_l : float
        Salt saved on average [g/L].
    """

    name: str
    width: float
    width_after: float
    saved_g_l: float


@dataclass(frozen=True)
class PhSeen:
    """A pH reading: when [h after pitch], what it showed and its standard error [-].

    Parameters
    ----------
    is_odd : bool
        Left out, because no run matches it.
    """

    hours: float
    ph: float
    sd: float
    is_odd: bool


@dataclass(frozen=True)
class PhForeseen:
    """pH along a batch, bent to its readings, by equally likely runs.

    Parameters
    ----------
    times_h, ph : tuple, Along
        Quantiles, cut off at the lowest pH that is shown [h], [-].
    read_h, read_ph : float or None
        The latest reading it knows of: when [h after pitch], and what it showed.
    start_measured : bool
        Whether pH was read before the yeast.
    readings : int
        Later readings it bends to.
    now, lowest_so_far, lowest_ahead : Quantiles
        pH when it was made, and the lowest before and after [-].
    lowest_ahead_h : Quantiles
        When runs first come within 0.05 of it [h].
    floor : float
        pH to keep.
    chance_low_now, chance_low_ahead, chance_stall_ahead : float
        Share of runs under the floor now, under it at some moment ahead, and under the lowest pH
        shown (a stall is likely) at some moment ahead.
    potassium_short : float
        Share of runs with less potassium per acid than published.
    odds_factor : Quantiles
        On the odds of sticking, from acid and potassium, within the chance of sticking; one
        figure, the same at every quantile.
    effective : float or None
        Runs that the readings left, in equal ones.
    odd : tuple of str
        Readings that were left out, and why.
    seen : tuple of PhSeen
        The readings, many of them thinned.
    dose : SaltDose or None
        If the floor is not kept without one, and pH was read at all.
    worth : tuple of ReadingWorth
    notes : tuple of str
    """

    times_h: tuple[float, ...]
    ph: Along
    read_h: float | None
    read_ph: float | None
    start_measured: bool
    readings: int
    now: Quantiles
    lowest_so_far: Quantiles
    lowest_ahead: Quantiles
    lowest_ahead_h: Quantiles
    floor: float
    chance_low_now: float
    chance_low_ahead: float
    chance_stall_ahead: float
    potassium_short: float
    odds_factor: Quantiles
    effective: float | None
    odd: tuple[str, ...]
    seen: tuple[PhSeen, ...]
    dose: SaltDose | None
    worth: tuple[ReadingWorth, ...]
    notes: tuple[str, ...]

    @property
    def is_read(self) -> bool:
        """Whether any pH reading supports it."""
        return self.start_measured or self.readings > 0

    @property
    def latest_is_odd(self) -> bool:
        """Whether no run matches the latest reading."""
        return bool(self.seen) and self.seen[-1].is_odd
