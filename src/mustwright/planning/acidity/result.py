"""How an answer on acid is put: bands, risks, and the words that go with them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mustwright.figure import TYPED, Figure
from mustwright.must.acidity.claims import claims_data, lowest_shown, stall_words
from mustwright.must.acidity.draws import chance, quantile
from mustwright.must.acidity.path import Path
from mustwright.planning.must_setup import MustResult
from mustwright.texts import say

Floats = NDArray[np.float64]
COUNTED = say("arithmetic: counted over the possible musts")
RISKS = {
    "low": say("low", context="risk"),
    "middle": say("middle", context="risk"),
    "high": say("high", context="risk"),
}


@dataclass(frozen=True)
class PhBand:
    """A band of pH; nothing below the lowest pH that is shown.

    Parameters
    ----------
    p05, p50, p95 : Figure
    below_shown : bool
        Whether the lower end lies under the lowest pH shown, which then stands in for it.
    words : str
    """

    p05: Figure
    p50: Figure
    p95: Figure
    below_shown: bool
    words: str


@dataclass(frozen=True)
class StartAnswer:
    """pH before yeast."""

    measured: bool
    measured_ph: Figure | None
    ta_measured: bool
    band: PhBand
    from_recipe: PhBand


@dataclass(frozen=True)
class TroughAnswer:
    """Lowest pH of the ferment, and the risk it stands for."""

    band: PhBand
    at_sugar_used: Figure
    floor: float
    chance_below_floor: Figure
    chance_below_shown: Figure
    risk: str
    words: str


@dataclass(frozen=True)
class AcidFeed:
    """What one feed does to the acid."""

    name: str
    sugar_used: float
    ammonium_mg_l: float
    amino_mg_l: float
    acid_load_meq_l: Figure
    moves_trough: Figure


@dataclass(frozen=True)
class SourceAcid:
    """The same nitrogen from one kind of source."""

    id: str
    words: str
    acid_load_meq_l: Figure
    trough: TroughAnswer


@dataclass(frozen=True)
class ProtocolAcid:
    """What a protocol does to the acid."""

    id: str
    name: str
    ammonium_share: float
    acid_load_meq_l: Figure
    trough: TroughAnswer


@dataclass(frozen=True)
class Moment:
    """A part of a dose."""

    sugar_used: float
    grams: Figure
    words: str


@dataclass(frozen=True)
class DoseAnswer:
    """How much of a salt, when, and what to expect of it.

    Parameters
    ----------
    g_per_l, grams : Figure
        Low and high: what half and 95 % of the members need.
    wanted_g_per_l : float or None
        What the wanted chance would take if a limit holds the dose back; None if no dose does it.
    """

    salt: str
    name: str
    schedule: str
    when: str
    g_per_l: Figure
    grams: Figure
    moments: tuple[Moment, ...]
    chance_kept: Figure
    chance_without: Figure
    chance_dip_before: Figure
    highest: PhBand
    overshoots: bool
    wanted_g_per_l: float | None
    limit: str
    potassium_mg_l: Figure
    calcium_mg_l: Figure
    gas_l: Figure
    law: tuple[str, ...]
    words: str
    steps: tuple[str, ...]


@dataclass(frozen=True)
class OtherDose:
    """Another salt or another moment, in one line."""

    salt: str
    name: str
    schedule: str
    when: str
    g_per_l: float
    chance_kept: float
    highest_p95: float
    overshoots: bool
    allowed: bool


@dataclass(frozen=True)
class UpFront:
    """pH straight after a dose of salt before the yeast, degassed."""

    g_per_l: float
    band: PhBand


@dataclass(frozen=True)
class AimAnswer:
    """An acid or a carbonate for a titratable acid."""

    salt: str
    aim_g_l: float
    g_per_l: Figure
    grams: Figure
    ph_after: PhBand
    words: str
    law: tuple[str, ...]


@dataclass(frozen=True)
class BenchPoint:
    """One glass of a bench trial, scaled to the batch."""

    g_per_l: float
    ph: float
    grams_for_batch: Figure


@dataclass(frozen=True)
class BenchAnswer:
    """A bench trial scaled to the batch, and how many equal members still fit it."""

    points: tuple[BenchPoint, ...]
    members_left: float


@dataclass(frozen=True)
class MeasuringAnswer:
    """What a reading would save before it is made."""

    reading: str
    saves_g_per_l: float | None
    trough_width_now: float
    trough_width_after: float
    words: str


@dataclass(frozen=True)
class PotassiumAnswer:
    """Potassium wanted and brought, as the plan counts it, and the published ratio at the trough.

    Parameters
    ----------
    must_mg_l, feeds_mg_l, needed_mg_l, short_mg_l : Figure
        The same as in the plan's balance; feeds with the rehydration nutrient.
    dose_mg_l : Figure
        Of the salt, which the plan's balance leaves out.
    by_ratio_mg_l : Figure
        What the published ratio asks at the trough without the salt.
    """

    must_mg_l: Figure
    feeds_mg_l: Figure
    dose_mg_l: Figure
    needed_mg_l: Figure
    short_mg_l: Figure
    by_ratio_mg_l: Figure
    ratio: Figure
    published_ratio: Figure
    chance_short: Figure
    sticking_odds_factor: Figure
    words: str


@dataclass(frozen=True)
class AcidityResult:
    """The whole answer; field names are those of the JSON object."""

    name: str
    must: MustResult
    start: StartAnswer
    titratable_acid_g_l: Figure
    titratable_acid_to_7_g_l: Figure
    buffer_meq_l: Figure
    protocol: str
    protocol_name: str
    acid_load_meq_l: Figure
    feeds: tuple[AcidFeed, ...]
    trough: TroughAnswer
    path: tuple[dict[str, float], ...]
    path_with_dose: tuple[dict[str, float], ...]
    by_source: tuple[SourceAcid, ...]
    protocols: tuple[ProtocolAcid, ...]
    dose: DoseAnswer
    in_plan: str
    alternatives: tuple[OtherDose, ...]
    up_front: tuple[UpFront, ...]
    up_front_words: str
    aim: AimAnswer | None
    bench: BenchAnswer | None
    measuring: tuple[MeasuringAnswer, ...]
    potassium: PotassiumAnswer
    claims: tuple[str, ...]
    refusals: tuple[str, ...]
    cautions: tuple[str, ...]
    members: int
    seed: int
    warnings: tuple[str, ...]


def band_figure(values: Floats, unit: str, formula: str, source: str) -> Figure:
    """Middle of an ensemble with its 5 and 95 % as range."""
    low, middle, high = (quantile(values, p) for p in (0.05, 0.5, 0.95))
    inputs: dict[str, Figure | float | str] = {"members": float(np.size(values))}
    shown = say("{formula}; middle of the possible musts", formula=formula)
    return Figure(middle, unit, shown, source, inputs, low, high)


def chance_figure(value: float, what: str, members: int) -> Figure:
    """A share of the ensemble."""
    formula = say("share of possible musts and yeasts {what}", what=what)
    return Figure(value, "chance", formula, COUNTED, {"members": float(members)})


def ph_band(values: Floats, formula: str, source: str) -> PhBand:
    """A band of pH to two digits, cut off at the lowest pH shown."""
    lowest = lowest_shown()
    found = [quantile(values, p) for p in (0.05, 0.5, 0.95)]
    figures = [
        Figure(
            round(max(value, lowest), 2),
            "pH",
            say("{formula}; {p:.0%} of the possible musts lie below", formula=formula, p=p),
            source,
            {"members": float(values.size)},
        )
        for p, value in zip((0.05, 0.5, 0.95), found, strict=True)
    ]
    below = found[0] < lowest
    return PhBand(figures[0], figures[1], figures[2], below, _words(found, lowest))


def _words(found: list[float], lowest: float) -> str:
    stall = stall_words()
    if found[2] < lowest:
        return stall
    if found[0] < lowest:
        return say(
            "from below {lowest:g} (likely to stall) up to {high:.1f}",
            lowest=lowest,
            high=found[2],
        )
    return say("{low:.1f} to {high:.1f}", low=found[0], high=found[2])


def start_answer(
    ph: Floats, prior: Floats, measured: float | None, strip: bool, ta: float | None, source: str
) -> StartAnswer:
    """pH before yeast, as measured or as the recipe's band."""
    shown = None
    if measured is not None:
        shown = Figure(
            measured,
            "pH",
            say("read with a paper strip") if strip else say("read with a meter"),
            TYPED,
        )
    return StartAnswer(
        measured is not None,
        shown,
        ta is not None,
        ph_band(ph, say("pH before yeast"), source),
        ph_band(prior, say("pH from the recipe alone"), source),
    )


def risk_of(chance_below: float) -> str:
    """Low, middle or high."""
    limits = claims_data()
    if chance_below < limits["risk_low"]:
        return "low"
    return "middle" if chance_below < limits["risk_high"] else "high"


def trough_answer(path: Path, floor: float, start: PhBand | None, source: str) -> TroughAnswer:
    """The trough of a path against a floor."""
    trough, lowest = path.trough(), lowest_shown()
    below, far = chance(trough < floor), chance(trough < lowest)
    band, at = ph_band(trough, say("lowest pH of the ferment"), source), path.trough_at()
    risk = risk_of(below)
    words = say(
        "crash risk {risk}: {below:.0%} chance of going under {floor:g}",
        risk=RISKS[risk],
        below=below,
        floor=floor,
    )
    if far >= 0.05:
        words += say(", {far:.0%} {stall}", far=far, stall=stall_words())
    if start is not None and start.p95.value - start.p05.value > 0.5:
        words += say("; the band is wide because the start is not known well")
    return TroughAnswer(
        band,
        band_figure(
            at,
            say("of the sugar used"),
            say("when each possible must first comes within 0.05 of its lowest"),
            source,
        ),
        floor,
        chance_figure(below, say("whose lowest pH is under {floor:g}", floor=floor), trough.size),
        chance_figure(far, say("whose lowest pH is under {lowest:g}", lowest=lowest), trough.size),
        risk,
        words,
    )


def path_rows(path: Path) -> tuple[dict[str, float], ...]:
    """Quantiles along the ferment, cut off at the lowest pH shown."""
    lowest = lowest_shown()
    columns = [np.maximum(path.quantiles(p), lowest).round(2) for p in (0.05, 0.5, 0.95)]
    return tuple(
        {"sugar_used": round(float(x), 3), "p05": float(a), "p50": float(b), "p95": float(c)}
        for x, a, b, c in zip(path.sugar_used, *columns, strict=True)
    )
