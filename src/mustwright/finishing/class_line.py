"""May the mead hold that much: limits of a legal class that no step may pass."""

from __future__ import annotations

from mustwright.errors import ImpossibleError
from mustwright.finishing.law import FinishingLaw
from mustwright.finishing.liquid import Liquid
from mustwright.must.gravity import brix_from_gravity, gravity_from_composition
from mustwright.texts import say

SOLIDS = "CFR2410, from memory: total solids are the Brix of the dealcoholised wine"


def solids_brix(liquid: Liquid) -> float:
    """Total solids as the law reads them: the Brix of the mead, water in place of its alcohol.

    Notes
    -----
    Source: `SOLIDS`.

    Examples
    --------
    >>> round(solids_brix(Liquid(1038.1, 100.0, 0.0)), 1)
    9.6
    """
    return float(brix_from_gravity(gravity_from_composition(liquid.extract_g_l, 0.0)))


def refuse_solids(law: FinishingLaw, after: Liquid, where: str) -> None:
    """Refuse more dissolved matter than the profile lets any step leave.

    Parameters
    ----------
    law : FinishingLaw
    after : Liquid
        The mead once the step is done.
    where : str
        The field that asks for it.

    Raises
    ------
    ImpossibleError
        With the limit, its source and what the mead would become beyond it.
    """
    most = law.at_every_step("solids_after")
    if most is None or most.high is None:
        return
    brix = solids_brix(after)
    if brix > most.high:
        raise ImpossibleError(
            where,
            say(
                "needs at most {most:g} Brix of total solids ({law}, {source}); above it this is "
                "{makes}",
                most=most.high,
                law=law.name,
                source=most.source,
                makes=most.makes,
            ),
            say("{brix:.1f} Brix", brix=brix),
        )
