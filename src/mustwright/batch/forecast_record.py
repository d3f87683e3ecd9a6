"""What the fermentation model says of a batch: a summary small enough to keep beside its log."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass

from mustwright.batch.codec import record_from
from mustwright.batch.ph_forecast_record import PhForeseen
from mustwright.batch.quantiles import Along, Quantiles
from mustwright.errors import InputError
from mustwright.plain_data import data_of

FORM = 3  # counts up when the model or this summary changes: older ones are made again


@dataclass(frozen=True)
class FeedForeseen:
    """When a feed still ahead falls due.

    Parameters
    ----------
    key : str
        Of the planned feed.
    hours : Quantiles
        [h after pitch].
    chance_never : float
        Share of runs in which its moment does not come before the horizon.
    chance_left_out : float
        Share in which it comes with too little sugar left.
    """

    key: str
    hours: Quantiles
    chance_never: float
    chance_left_out: float


@dataclass(frozen=True)
class Releases:
    """Share of the runs that fit the readings which one thing put right would have kept going.

    Parameters
    ----------
    at_h : float
        Moment looked at [h after pitch].
    held_up : float
        Share of runs with sugar left then.
    share : mapping of str to float
        By cause, of those held up.
    """

    at_h: float
    held_up: float
    share: Mapping[str, float]


@dataclass(frozen=True)
class Foreseen:
    """The kinetic forecast of a batch, summed up.

    Parameters
    ----------
    version : int
        Of the batch whose log it was made from.
    plan : int
        Number of the plan in force.
    from_h : float
        Hours after pitch when it was made; feeds still ahead are given after it [h].
    until_h : float or None
        Of the latest reading it bends to [h].
    readings, members, seed : int
        Readings it bends to, and runs it rests on.
    times_h, gravity : tuple, Along
        Bands of what would be read, error of reading included [-].
    fractions, used_h : tuple, Along
        When each part of the sugar is gone [h].
    onset_h, hours_to_dry : Quantiles
        [h after pitch].
    chance_of_sticking, chance_of_dry : float
        At the horizon.
    residual_sugar_g_l, residual_yan_mg_l : Quantiles
        At the horizon; [g/L] and [mg N/L].
    stops_sweet : float
        Share that ends where its yeast ends, in a must made to stop sweet; not counted as sticking.
    chance_not_modelled : float
        Part of the chance of sticking that stands for reasons the model does not have.
    peak_gas_l_h : Quantiles
        CO2 of the whole must at its fastest [L/h].
    feeds : tuple of FeedForeseen
    explained : bool
        Runs were found that explain every reading.
    met : bool
        All readings are explained, or all but one that others came after.
    odd_entry : str or None
        Entry of the reading that fits worst, if one does not fit.
    message : str
        How the readings fit, in a sentence.
    releases : Releases or None
        Where there are readings.
    notes : tuple of str
        What was assumed.
    ph : PhForeseen or None
        None where nothing honest can be said of the acid.
    house : str
        Key of the house it starts from; empty for the population.
    """

    version: int
    plan: int
    from_h: float
    until_h: float | None
    readings: int
    members: int
    seed: int
    times_h: tuple[float, ...]
    gravity: Along
    fractions: tuple[float, ...]
    used_h: Along
    onset_h: Quantiles
    hours_to_dry: Quantiles
    chance_of_sticking: float
    chance_of_dry: float
    residual_sugar_g_l: Quantiles
    residual_yan_mg_l: Quantiles
    stops_sweet: float
    chance_not_modelled: float
    peak_gas_l_h: Quantiles
    feeds: tuple[FeedForeseen, ...]
    explained: bool
    met: bool
    odd_entry: str | None
    message: str
    releases: Releases | None
    notes: tuple[str, ...]
    ph: PhForeseen | None = None
    house: str = ""
    form: int = FORM


def foreseen_text(foreseen: Foreseen) -> str:
    """A forecast as JSON."""
    return json.dumps(data_of(foreseen), separators=(",", ":"), allow_nan=False)


def foreseen_from(text: str) -> Foreseen | None:
    """A forecast that was kept; None if it has another form and has to be made again."""
    try:
        found = record_from(Foreseen, json.loads(text), "forecast")
    except (ValueError, InputError):
        return None
    return found if found.form == FORM else None
