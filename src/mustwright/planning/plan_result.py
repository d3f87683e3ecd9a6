"""A plan, and several side by side, as every shell gets them."""

from __future__ import annotations

from dataclasses import dataclass

from mustwright.figure import Figure
from mustwright.kinetics.forecast import Band
from mustwright.nutrition.choose import ProtocolVerdict
from mustwright.nutrition.feeding_plan import FeedingPlan
from mustwright.nutrition.limits import LegalProfile
from mustwright.planning.acidity.acid_risk import AcidRisk
from mustwright.planning.must_setup import Ground, MustResult
from mustwright.yeast.pitch import Pitch, Strain


@dataclass(frozen=True)
class Outcome:
    """What a plan would do, from an ensemble.

    Parameters
    ----------
    days_to_dry : Figure
        Middle, 5 and 95 % [d]; infinite if members never get there.
    chance_of_sticking : Figure
        Share of members that stop or crawl with sugar left.
    residual_sugar_g_l, residual_yan_mg_l : Figure
        After six weeks.
    peak_temperature_c : Figure
        Of the middle member and the 5 to 95 % range.
    times_h, gravity : arrays
        The band to draw.
    feeds_h : tuple of Band
        When each feed falls due.
    third_h : Figure
        When a third of the sugar is gone [h]; infinite where that never comes.
    against_best : str
        How it differs from the plan that suits best, or that it does not.
    """

    days_to_dry: Figure
    chance_of_sticking: Figure
    residual_sugar_g_l: Figure
    residual_yan_mg_l: Figure
    peak_temperature_c: Figure
    times_h: tuple[float, ...]
    gravity: Band
    feeds_h: tuple[Band, ...]
    third_h: Figure
    against_best: str = ""


@dataclass(frozen=True)
class PlanResult:
    """A plan by one protocol.

    Parameters
    ----------
    chosen : bool
        Whether the tool chose the protocol.
    ground : Ground
        What no protocol changes.
    outcome : Outcome or None
        What it would do, once forecast.
    acid : AcidRisk or None
        What it does to the acid, once forecast and where that can be said.
    """

    name: str
    must: MustResult
    pitch: Pitch
    strain: Strain
    profile: LegalProfile
    plan: FeedingPlan
    chosen: bool
    verdict: ProtocolVerdict
    warnings: tuple[str, ...]
    ground: Ground
    outcome: Outcome | None = None
    acid: AcidRisk | None = None


@dataclass(frozen=True)
class Comparison:
    """Several protocols on one must, and the one that suits best."""

    name: str
    must: MustResult
    pitch: Pitch
    strain: Strain
    profile: LegalProfile
    plans: tuple[FeedingPlan, ...]
    verdicts: tuple[ProtocolVerdict, ...]
    suits_best: str
    warnings: tuple[str, ...]
    ground: Ground
    outcomes: tuple[Outcome, ...] = ()
    acid: tuple[AcidRisk, ...] = ()
