"""Is it too soon to close bottles: sugar over live yeast, gravity not seen to stand, thin glass."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo

from mustwright.batch.log import Standing
from mustwright.batch.progress import Progress
from mustwright.batch.stability import STERILE, Settled, mixed_at, settled
from mustwright.batch.vessel import VesselContents, vessel
from mustwright.errors import ImpossibleError, InputError
from mustwright.figure import typed
from mustwright.finishing.bottle_pressure import warm_bottle
from mustwright.finishing.containers import NamedBottle, containers_for, is_still
from mustwright.finishing.protection import Protection, is_protected
from mustwright.finishing.step import finishing_data
from mustwright.texts import Text, literal, say
from mustwright.unit_system import degrees

CLOSING = ("bottle", "carbonate")
WEEK_DAYS = 6.0  # readings a week apart, one of them early or late in its day
STILL_GLASS = "wine"
STATE = say(
    "or state how the mead was protected (pasteurised, sterile-filtered, sulfite and sorbate, or "
    "alcohol above this yeast's limit), which is recorded in the log"
)
STERILE_ONLY = say(
    "or state that it was pasteurised or sterile-filtered, which is recorded in the log: sulfite "
    "and sorbate do not stop a ferment under way"
)


@dataclass(frozen=True)
class BottledAs:
    """How a mead is to be closed up, as the maker says it.

    Parameters
    ----------
    step : str
        ``bottle`` or ``carbonate``.
    protected_by : str
        The protection stated with this step; empty where none was.
    sugar_g_l : float or None
        Fermentable sugar typed with this step, 0 to 400 [g/L].
    co2_g_l : float or None
        Gas it will hold, 0 to 16 [g/L]; None as the log has it.
    container : str
        Kind of bottle; empty where none was named.
    limit_bar : float or None
        What the maker's own bottle bears, gauge [bar].
    """

    step: str = "bottle"
    protected_by: str = ""
    sugar_g_l: float | None = None
    co2_g_l: float | None = None
    container: str = ""
    limit_bar: float | None = None

    @property
    def sugar_counts_as_gas(self) -> bool:
        """Whether the sugar left was measured and is counted into the gas of a primed bottle."""
        return self.step == "carbonate" and self.sugar_g_l is not None


@dataclass(frozen=True)
class BottlingFacts:
    """What a batch knows that decides whether bottles may be closed.

    Parameters
    ----------
    held : VesselContents
    judged : Settled or None
        The judgement on the readings since anything with sugar last went in; None with too few.
    mixed_at : datetime or None
        When it last went in.
    tolerance_high_pct : float or None
        The most alcohol the yeast is known to reach, 0 to 25 [% vol].
    """

    held: VesselContents
    judged: Settled | None
    mixed_at: datetime | None
    tolerance_high_pct: float | None


def bottling_facts(now: Progress, stands: Sequence[Standing], zone: tzinfo = UTC) -> BottlingFacts:
    """What a batch knows that decides whether bottles may be closed."""
    return BottlingFacts(
        vessel(now, stands),
        settled(now, stands, zone),
        mixed_at(stands),
        now.plan.yeast.tolerance_high_pct,
    )


def too_soon(facts: BottlingFacts, as_said: BottledAs) -> InputError | None:
    """Why bottles may not be closed on what the log knows; None where they may.

    A refusal is lifted when its reason is gone (readings, a sugar test, stronger glass), or by the
    protection stated with the step.
    """
    if as_said.step not in CLOSING:
        return None
    return _over_sugar(facts, as_said) or _not_standing(facts, as_said) or _thin(facts, as_said)


def _over_sugar(facts: BottlingFacts, as_said: BottledAs) -> InputError | None:
    """Fermentable sugar with nothing that keeps yeast from it."""
    if as_said.sugar_counts_as_gas:
        return None
    dry = float(finishing_data()["stability"]["dry_g_l"])
    sugar, words = _sugar(facts, as_said)
    if sugar is None or sugar <= dry:
        return None
    by = as_said.protected_by or facts.held.stabilised
    if by in ("", "no"):
        return ImpossibleError(
            "stabilised",
            say(
                "needs the yeast stopped: {sugar:.0f} g/L of fermentable sugar is {where}, "
                "and nothing in the log stops the yeast; stop it and write that down, {state}",
                sugar=sugar,
                where=words,
                state=STATE,
            ),
            say("not stated"),
        )
    return _unproven(facts, as_said, sugar)


def _sugar(facts: BottlingFacts, as_said: BottledAs) -> tuple[float | None, str]:
    """Fermentable sugar that is there for certain [g/L], and how it is known."""
    if as_said.sugar_g_l is not None:
        return as_said.sugar_g_l, say("in it as typed")
    if facts.held.residual_sugar_g_l is not None:
        return facts.held.residual_sugar_g_l, say("in it by the log")
    left = None if facts.judged is None else facts.judged.found.residual_sugar_g_l
    if left is None:
        return None, ""
    least = left.value if left.low is None else left.low
    return least, say("left at least, worked out from the gravities")


def _unproven(facts: BottlingFacts, as_said: BottledAs, sugar_g_l: float) -> InputError | None:
    """A stated protection that the log speaks against: alcohol that was not shown to stop it."""
    if not as_said.protected_by:
        return None
    still = None if facts.judged is None else facts.judged.found.days_watched.value
    claim = Protection(as_said.protected_by, facts.tolerance_high_pct, still, sugar_g_l)
    try:
        is_protected(claim, facts.held.alcohol_pct)
    except InputError as error:
        return ImpossibleError("stabilised", error.requirement, as_said.protected_by)
    return None


def _not_standing(facts: BottlingFacts, as_said: BottledAs) -> InputError | None:
    """Gravity that was not seen to stand since something with sugar last went in."""
    judged, by = facts.judged, as_said.protected_by
    if by in STERILE or as_said.sugar_counts_as_gas or is_standing(facts):
        return None
    moving = judged is not None and judged.found.verdict == "moving"
    if moving:
        return ImpossibleError(
            "stabilised",
            say(
                "needs a steady gravity: the last readings fall. Wait and read again, {state}",
                state=STERILE_ONLY,
            ),
            by or say("not stated"),
        )
    if by not in ("", "no"):
        return None
    needs = (
        say(
            "needs a steady gravity, shown by two readings or more, days apart ({seen}), {state}",
            seen=_seen(judged),
            state=STATE,
        )
        if facts.mixed_at is None
        else say(
            "needs a steady gravity since {mixed:%Y-%m-%d}, when sugar went in, shown by two "
            "readings or more, days apart ({seen}), {state}",
            mixed=facts.mixed_at,
            seen=_seen(judged),
            state=STATE,
        )
    )
    return ImpossibleError("stabilised", needs, say("not stated"))


def is_standing(facts: BottlingFacts) -> bool:
    """Whether gravity was seen to stand: long enough by itself, or a week under a protection."""
    judged = facts.judged
    if judged is None or judged.is_settled:
        return judged is not None
    watched = judged.found.days_watched.value
    return (
        facts.held.stabilised not in ("", "no")
        and judged.found.verdict != "moving"
        and watched >= WEEK_DAYS
    )


def _seen(judged: Settled | None) -> Text:
    if judged is None:
        return say("too few were taken")
    return say("the log says: {verdict}", verdict=literal(judged.found.verdict))


def _thin(facts: BottlingFacts, as_said: BottledAs) -> InputError | None:
    """Sparkling in glass that is not made for it; a still mead asks for no bottle by name."""
    co2 = facts.held.co2_g_l if as_said.co2_g_l is None else as_said.co2_g_l
    if as_said.step != "bottle" or co2 is None:
        return None
    alcohol = facts.held.alcohol_pct
    sugar = facts.held.residual_sugar_g_l or 0.0
    if is_still(co2, alcohol, sugar):
        return None
    glass = NamedBottle(as_said.container or STILL_GLASS, as_said.limit_bar, alcohol, sugar)
    hot = warm_bottle(typed(co2, "g/L"), alcohol, sugar)
    reach = hot.value if hot.high is None else hot.high
    chosen = containers_for(glass, hot)[0]
    if chosen.bears:
        return None
    named = literal(chosen.name)
    if not (as_said.container or as_said.limit_bar):
        named = say("a {bottle}", context="one bottle", bottle=named)
    return ImpossibleError(
        "bottle",
        say(
            "needs bottles made for the gas in it: {co2:.1f} g/L reaches up to {reach:.1f} bar at "
            "{temperature}, and {bottle} holds {holds:g} bar; say which bottle it is, or what "
            "your own holds",
            co2=co2,
            reach=reach,
            temperature=degrees(30),
            bottle=named,
            holds=chosen.working_bar.value,
        ),
        as_said.container or say("no bottle named"),
    )
