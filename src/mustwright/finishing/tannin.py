"""How much tannin: by taste, a row of glasses between the usual ends."""

from __future__ import annotations

from dataclasses import dataclass, field

from mustwright.figure import ARITHMETIC, Figure
from mustwright.finishing.law import FinishingLaw
from mustwright.finishing.liquid import MOST_LITRES
from mustwright.finishing.step import Recorded, cautions, finishing_data, sourced, within
from mustwright.finishing.trial import BenchTrial, bench_trial
from mustwright.texts import say


@dataclass(frozen=True)
class TanninDose:
    """Tannin by taste: a row of glasses between the usual ends."""

    grams_low: Figure
    grams_high: Figure
    legal_g_l: Figure | None
    trial: BenchTrial
    recorded: Recorded = field(default_factory=Recorded)


def tannin_dose(volume_l: float, law: FinishingLaw, scale_g: float = 0.1) -> TanninDose:
    """Lay out a row of glasses from none to the usual most; tannin is dosed by taste alone.

    Parameters
    ----------
    volume_l : float
        Of the mead, 0.001 to 1e6 [L].
    law : FinishingLaw
        Its limit of tannin cuts the row.
    scale_g : float
        What the scale can show, 0.0001 to 1000 [g].

    Returns
    -------
    TanninDose

    Raises
    ------
    InputError, ImpossibleError
        If a value is out of its range, or a glass cannot be measured out.

    Notes
    -----
    The usual doses are from memory.
    """
    within(volume_l, 1e-3, MOST_LITRES, "volume", say("a volume in L"))
    usual = finishing_data()["tannin"]
    low, high = float(usual["low_g_l"]), float(usual["high_g_l"])
    limit = law.highest("tannin")
    if limit is not None and limit.high is not None:
        high = min(high, limit.high)

    def grams(dose: float) -> Figure:
        given = {"dose_g_l": Figure(dose, "g/L", say("usual dose"), sourced(usual))}
        return Figure(dose * volume_l, "g", say("dose x volume"), ARITHMETIC, given)

    doses = [low + (high - low) * i / 4 for i in range(5)]
    trial = bench_trial(say("tannin"), volume_l, doses, stock_g_l=10.0, scale_g=scale_g)
    recorded = Recorded(
        (),
        {},
        (
            say("Let the glasses stand an hour; tannin shows late."),
            say(
                "Dissolve the grams of the glass you like in a little warm water, stir in, wait "
                "weeks."
            ),
        ),
        (say("Doses: {source}.", source=sourced(usual)),),
        cautions("bench_first"),
    )
    return TanninDose(grams(low), grams(high), limit.figure() if limit else None, trial, recorded)
