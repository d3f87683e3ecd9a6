"""How much sorbate, and whether it may go in at all."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from mustwright.errors import ImpossibleError
from mustwright.figure import ARITHMETIC, Figure, typed
from mustwright.finishing.law import FinishingLaw
from mustwright.finishing.liquid import HIGHEST_ALCOHOL_PCT, MOST_LITRES
from mustwright.finishing.step import Addition, Recorded, cautions, finishing_data, within
from mustwright.finishing.sulfite_chemistry import HIGHEST_PH, LOWEST_PH
from mustwright.texts import say
from mustwright.weighing import grams_number

STRONG_ALONE_PCT = 16.0


@dataclass(frozen=True)
class SorbateAsk:
    """What is known of the mead.

    Parameters
    ----------
    volume_l, alcohol_pct : float
        The mead [L, % vol].
    ph : float or None
        Measured.
    molecular_so2_mg_l : float or None
        Molecular sulfur dioxide it will have beside the sorbate [mg/L].
    malolactic, fermenting : bool
        Bacteria have worked or may work; it still ferments.
    scale_g : float
        What the scale can show [g].
    sorbic_now_mg_l : float
        Sorbic acid of an earlier addition [mg/L].
    """

    volume_l: float
    alcohol_pct: float
    ph: float | None = None
    molecular_so2_mg_l: float | None = None
    malolactic: bool = False
    fermenting: bool = False
    scale_g: float = 0.1
    sorbic_now_mg_l: float = 0.0


@dataclass(frozen=True)
class SorbateDose:
    """What to weigh, what it holds, and the law's cap."""

    sorbate_g: Figure
    weigh_g: Figure
    dose_g_l: Figure
    sorbic_acid_mg_l: Figure
    undissociated_fraction: Figure | None
    water_ml: Figure
    potassium_mg_l: Figure
    legal_sorbic_mg_l: Figure | None
    recorded: Recorded = field(default_factory=Recorded)


def undissociated_fraction(ph: float, pka: float) -> float:
    """Share of sorbic acid that is not dissociated, the part that acts: ``1/(1 + 10^(pH - pKa))``.

    Examples
    --------
    >>> round(undissociated_fraction(3.5, 4.76), 3)
    0.948
    """
    return float(1 / (1 + 10 ** (ph - pka)))


def sorbate_dose(ask: SorbateAsk, law: FinishingLaw) -> SorbateDose:
    """Potassium sorbate for a still, clear mead.

    Raises
    ------
    ImpossibleError
        After malolactic bacteria, or in a mead that ferments.

    Notes
    -----
    The dose by alcohol and pH is the table of a handbook (Underhill), straight lines between its
    entries and its edges kept below pH 3.1 and above 14 % vol; above pH 3.5 it is raised as the
    undissociated share falls. Sorbic acid is 0.7464 of the salt (molar masses); a dose that would
    pass the legal cap is cut to it, and the notes say so.
    """
    _refuse(ask)
    dose = _by_table(ask.alcohol_pct, ask.ph)
    fraction = None
    if ask.ph is not None:
        dose, fraction = _above_table(dose, ask.ph)
    record = finishing_data()["sorbate"]
    there = ask.sorbic_now_mg_l / 1000
    if there > 0:
        dose = _less(dose, ask.sorbic_now_mg_l, float(record["sorbic_fraction"]))
    cap = law.highest("sorbic_acid")
    notes: list[str] = []
    capped = dose
    if cap is not None and cap.high is not None:
        most = max(cap.high - there, 0.0) / record["sorbic_fraction"]
        if dose.value > most:
            notes.append(
                say(
                    "Cut from {dose:.3f} to {most:.3f} g/L: {law} allows {cap:.0f} mg/L of sorbic "
                    "acid.",
                    dose=dose.value,
                    most=most,
                    law=law.name,
                    cap=1000 * cap.high,
                )
            )
            capped = Figure(
                most,
                "g/L",
                say("(legal cap - what is there) / sorbic fraction"),
                ARITHMETIC,
                {"cap": cap.figure(), "wanted": dose},
            )
    grams = Figure(
        capped.value * ask.volume_l,
        "g",
        say("dose x volume"),
        ARITHMETIC,
        {"dose_g_l": capped, "volume_l": typed(ask.volume_l, "L")},
    )
    most_g = math.inf
    if cap is not None and cap.high is not None:
        most_g = max(cap.high - there, 0.0) / record["sorbic_fraction"] * ask.volume_l
    return _result(ask, law, grams, capped, fraction, most_g, notes)


def _less(dose: Figure, there_mg_l: float, sorbic_fraction: float) -> Figure:
    """The dose without what an earlier addition brought already."""
    return Figure(
        max(dose.value - there_mg_l / 1000 / sorbic_fraction, 0.0),
        "g/L",
        say("dose of the table - sorbic acid there / 0.7464"),
        ARITHMETIC,
        {"dose": dose, "there": typed(there_mg_l, "mg/L")},
    )


def _refuse(ask: SorbateAsk) -> None:
    within(ask.sorbic_now_mg_l, 0, 1000, "sorbic", say("sorbic acid already there in mg/L"))
    within(ask.volume_l, 1e-3, MOST_LITRES, "volume", say("a volume in L"))
    within(ask.alcohol_pct, 0, HIGHEST_ALCOHOL_PCT, "alcohol", say("an alcohol in % vol"))
    within(ask.scale_g, 1e-4, 100, "scale", say("a scale resolution in g"))
    if ask.ph is not None:
        within(ask.ph, LOWEST_PH, HIGHEST_PH, "ph", say("the pH of a mead, measured,"))
    if ask.molecular_so2_mg_l is not None:
        within(ask.molecular_so2_mg_l, 0, 5, "molecular", say("molecular sulfur dioxide in mg/L"))
    if ask.malolactic:
        raise ImpossibleError(
            "malolactic",
            say(
                "needs a mead without malolactic bacteria: they turn sorbate into a smell of "
                "geranium; pasteurise, or filter sterile, or leave it dry"
            ),
            "yes",
        )
    if ask.fermenting:
        raise ImpossibleError(
            "fermenting",
            say("needs a mead that is still and clear: sorbate does not stop a ferment"),
            "yes",
        )


def _by_table(alcohol_pct: float, ph: float | None) -> Figure:
    """The dose of the table, at its edges beyond them; at pH 3.5 where none was measured."""
    record = finishing_data()["sorbate"]
    alcohols, table_ph = record["alcohol_pct"], float(record["table_ph"])
    column = [
        float(np.interp(table_ph if ph is None else ph, record["ph"], r)) for r in record["g_l"]
    ]
    value = float(np.interp(alcohol_pct, alcohols, column))
    formula = say("table by alcohol and pH, straight lines between entries")
    source = record["source"]
    if alcohol_pct < alcohols[0]:
        value = max(value, float(record["below_g_l"]))
        formula = say("below {lowest} % vol", lowest=alcohols[0])
        source = record["below_source"]
    elif alcohol_pct > alcohols[-1]:
        source = record["above_source"]
    given: dict[str, Figure | float | str] = {"alcohol_pct": typed(alcohol_pct, "% vol")}
    given["pH"] = say("not measured: {ph:g}", ph=table_ph) if ph is None else typed(ph, "")
    return Figure(value, "g/L", formula, str(source), given)


def _above_table(dose: Figure, ph: float) -> tuple[Figure, Figure]:
    """The dose raised above the pH where the table ends, and the undissociated share."""
    record = finishing_data()["sorbate"]
    pka = Figure(float(record["sorbic_pka"]), "", say("at 25 C"), str(record["sorbic_pka_source"]))
    here = undissociated_fraction(ph, pka.value)
    fraction = Figure(here, "", say("1 / (1 + 10^(pH - pKa))"), "Martell", {"pKa": pka, "pH": ph})
    at_table = undissociated_fraction(float(record["table_ph"]), pka.value)
    if here >= at_table:
        return dose, fraction
    raised = Figure(
        dose.value * at_table / here,
        "g/L",
        say("table dose x undissociated share at pH 3.5 / share at this pH"),
        ARITHMETIC,
        {"table_dose": dose, "undissociated": fraction},
    )
    return raised, fraction


def _result(
    ask: SorbateAsk,
    law: FinishingLaw,
    grams: Figure,
    dose: Figure,
    fraction: Figure | None,
    most_g: float,
    notes: list[str],
) -> SorbateDose:
    record = finishing_data()["sorbate"]
    count = round(grams.value / ask.scale_g)
    if count * ask.scale_g > most_g:
        count = math.floor(most_g / ask.scale_g + 1e-9)
    weigh = Figure(
        count * ask.scale_g,
        "g",
        say("rounded to {step:g} g, never over the legal cap", step=ask.scale_g),
        ARITHMETIC,
        {"sorbate_g": grams},
    )
    brought = Figure(
        1000 * weigh.value * record["sorbic_fraction"] / ask.volume_l,
        "mg/L",
        say("grams x 0.7464 / volume"),
        str(record["sorbic_fraction_source"]),
        {"weigh_g": weigh},
    )
    sorbic = brought
    if ask.sorbic_now_mg_l > 0:
        sorbic = Figure(
            ask.sorbic_now_mg_l + brought.value,
            "mg/L",
            say("there already + brought"),
            ARITHMETIC,
            {"there": typed(ask.sorbic_now_mg_l, "mg/L"), "brought": brought},
        )
    potassium = Figure(
        1000 * weigh.value * record["potassium_fraction"] / ask.volume_l,
        "mg/L",
        say("grams x 0.2603 / volume"),
        say("arithmetic: 39.098 over 150.218 g/mol"),
        {"weigh_g": weigh},
    )
    water = Figure(
        record["water_ml_per_g"] * weigh.value,
        "mL",
        say("5 mL per gram"),
        str(record["water_source"]),
        {"weigh_g": weigh},
    )
    cap = law.highest("sorbic_acid")
    brings = {"sorbic_acid_mg_l": brought, "potassium_mg_l": potassium}
    recorded = Recorded(
        (Addition("potassium_sorbate", say("potassium sorbate"), weigh, brings),),
        {"sorbic_acid_mg_l": sorbic},
        _steps(weigh, water),
        (*notes, *_notes(ask, sorbic.value)),
        cautions("sorbate_no_brake", "dose_rounding", "local_law"),
    )
    return SorbateDose(
        grams,
        weigh,
        dose,
        sorbic,
        fraction,
        water,
        potassium,
        cap.figure() if cap else None,
        recorded,
    )


def _steps(weigh: Figure, water: Figure) -> tuple[str, ...]:
    return (
        say("The mead has stopped fermenting, is clear and racked; sulfite is in it (same day)."),
        say(
            "Dissolve {grams} g of potassium sorbate in {water:.0f} mL of water: added dry to "
            "acid mead it comes out as flakes.",
            grams=grams_number(weigh.value),
            water=water.value,
        ),
        say("Pour it in slowly while stirring; close up; sweeten a day later."),
    )


def _notes(ask: SorbateAsk, sorbic_mg_l: float) -> list[str]:
    record = finishing_data()["sorbate"]
    wanted = float(record["so2_molecular_mg_l"])
    notes: list[str] = [
        say("The dose by alcohol and pH is the table of one handbook; others differ by a quarter.")
    ]
    if ask.molecular_so2_mg_l is None:
        notes.append(
            say(
                "Sorbate works with sulfite, not alone: bring molecular sulfur dioxide to "
                "{wanted:g} mg/L first (finish sulfite).",
                wanted=wanted,
            )
        )
    elif ask.molecular_so2_mg_l < wanted:
        notes.append(
            say(
                "{held:g} mg/L of molecular sulfur dioxide is less than the {wanted:g} that "
                "belongs beside sorbate: raise it first.",
                held=ask.molecular_so2_mg_l,
                wanted=wanted,
            )
        )
    if ask.ph is None:
        notes.append(
            say("Without a measured pH, 3.5 is assumed: a lower pH needs less, a higher one more.")
        )
    if sorbic_mg_l > record["taste_mg_l"]:
        notes.append(say("Keen tasters may notice it: {source}.", source=record["taste_source"]))
    if ask.alcohol_pct > STRONG_ALONE_PCT:
        notes.append(
            say(
                "At this alcohol few yeasts grow: you may need no sorbate if it has been shown "
                "that this yeast stops there."
            )
        )
    return notes
