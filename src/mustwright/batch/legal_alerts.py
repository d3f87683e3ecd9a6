"""Does the mead hold more than the law allows: what went in, against the limits of its profile."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from mustwright.batch.alert import Finding
from mustwright.batch.finishing_record import StepDone
from mustwright.batch.log import Standing
from mustwright.batch.progress import Progress
from mustwright.batch.vessel import VesselContents, steps_done, vessel
from mustwright.finishing.law import FinishingLaw, FinishingLimit, finishing_laws

SEVERITY = 65  # before anything else is done to it, behind a ferment in trouble
ROUNDING = 1 + 1e-6
# What went in by its name in the log, and the limits that count it, per litre of the mead.
BY_SUBSTANCE = (
    ("tannin", ("tannin",), "tannin added"),
    ("citric_acid", ("citric_added", "citric_total"), "citric acid added"),
    ("calcium_carbonate", ("calcium_carbonate",), "calcium carbonate added"),
)
CHECK = "Whether the amount in the log is what really went in, and what the mead holds by a test."
DO = (
    "Do not sell or serve it as it is. A wrong amount is corrected in the log. A right one is "
    "brought under the limit by lawful ways alone, as by blending with mead that has less, or "
    "kept back: ask those who watch over the law where you live, before anything is done."
)
STOP = "A test, or the corrected log, shows less than the limit."


def over_limit(now: Progress, stands: Sequence[Standing]) -> tuple[Finding, ...]:
    """Every limit exceeded by what the log records, worst first.

    Parameters
    ----------
    stands : sequence of Standing
        Events and finishing steps that count.

    Notes
    -----
    Goes by what is in the vessel at the moment of `now`, not by one step: two doses that are each
    allowed may pass a limit together, and a blend may bring it under again. The laws are those of
    the plan and of the steps.
    """
    if not any(isinstance(s.what, StepDone) for s in stands):
        return ()
    held = vessel(now, stands)
    laws = finishing_laws()
    chosen = [now.plan.profile, *(d.asked.get("profile", "") for _, d in steps_done(stands))]
    found = [
        (amount / most, _finding(law, limit, words, amount))
        for law in (laws[name] for name in dict.fromkeys(chosen) if name in laws)
        for limit, words, amount in _held(held, law)
        for most in [limit.high or 0.0]
        if amount > most * ROUNDING
    ]
    return tuple(finding for _, finding in sorted(found, key=lambda row: -row[0]))


def _held(held: VesselContents, law: FinishingLaw) -> Iterator[tuple[FinishingLimit, str, float]]:
    """Limits of a law, each with what the mead holds of it [g/L]."""
    so2, sorbic = law.total_so2(held.residual_sugar_g_l), law.highest("sorbic_acid")
    if so2 is not None and held.total_so2_mg_l is not None:
        yield so2, "sulfur dioxide in all", held.total_so2_mg_l / 1000
    if sorbic is not None and held.sorbic_acid_mg_l is not None:
        yield sorbic, "sorbic acid", held.sorbic_acid_mg_l / 1000
    for substance, names, words in BY_SUBSTANCE:
        limit = law.highest(*names)
        grams = held.put_in_g.get(substance, 0.0)
        if limit is not None and grams > 0 and held.volume_l > 0:
            yield limit, words, grams / held.volume_l


def _finding(law: FinishingLaw, limit: FinishingLimit, words: str, amount: float) -> Finding:
    factor = 1000 if limit.unit == "mg/L" else 1
    most, now = (limit.high or 0.0) * factor, amount * factor
    shown = f"{now:.0f}" if factor == 1000 else f"{now:.2f}"
    return Finding(
        "over_limit",
        f"More {words} than the law allows",
        SEVERITY,
        1.0,
        True,
        f"By the log it holds {shown} {limit.unit} of {words}; {law.name} allows {most:g}.",
        CHECK,
        DO,
        STOP,
        (f"{limit.substance} {most:g} {limit.unit} ({limit.source}: {limit.statement})",),
    )
