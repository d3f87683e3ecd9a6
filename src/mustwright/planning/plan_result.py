"""A plan, and several side by side, as every shell gets them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from mustwright.figure import Figure
from mustwright.kinetics.bands import Band
from mustwright.nutrition.choose import ProtocolVerdict
from mustwright.nutrition.feeding_plan import FeedingPlan
from mustwright.nutrition.limits import LegalProfile
from mustwright.planning.acidity.acid_risk import AcidRisk
from mustwright.planning.batch_cost import BatchCost, batch_cost
from mustwright.planning.must_setup import Ground, MustResult
from mustwright.planning.outcome_values import outcome_values
from mustwright.planning.ranking import DEFAULT_AIM, Aim, Ranked, aim_called, rank
from mustwright.yeast.pitch import Pitch, Strain

if TYPE_CHECKING:
    from mustwright.planning.levers import Levers


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
    stops_sweet : Figure
        Share that ends where its yeast ends, in a must made to stop sweet; not in the chance of
        sticking.
    not_modelled : Figure
        Part of the chance of sticking that stands for reasons the model does not have.
    peak_gas_l_h : Figure
        CO2 of the whole must at its fastest: foam, and air to let in.
    taken_while_growing : Figure
        Of the nitrogen taken up, the part while cells still grew.
    unused_ammonium_mg_l, unused_amino_mg_l : Figure
        Nitrogen left after six weeks, by kind.
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
    stops_sweet: Figure
    not_modelled: Figure
    peak_gas_l_h: Figure
    taken_while_growing: Figure
    unused_ammonium_mg_l: Figure
    unused_amino_mg_l: Figure
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
    aim : Aim
        What the maker wants most.
    group : int
        1 for the best plans for the aim; plans of one group make no real difference.
    loss : Figure or None
        How much worse than the best of each outcome it is, weighed for the aim; None when the plan
        was not ranked among others.
    levers : Levers or None
        What would matter most on this must, once worked out.
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
    aim: Aim = field(default_factory=lambda: aim_called(DEFAULT_AIM))
    group: int = 1
    loss: Figure | None = None
    levers: Levers | None = None

    @property
    def cost(self) -> BatchCost:
        """What the whole batch costs, as far as prices were typed."""
        return batch_cost(self.ground, self.plan)


@dataclass(frozen=True)
class Comparison:
    """Several protocols on one must, ranked for what the maker wants."""

    name: str
    must: MustResult
    pitch: Pitch
    strain: Strain
    profile: LegalProfile
    plans: tuple[FeedingPlan, ...]
    verdicts: tuple[ProtocolVerdict, ...]
    ranked: Ranked
    warnings: tuple[str, ...]
    ground: Ground
    outcomes: tuple[Outcome, ...] = ()
    acid: tuple[AcidRisk, ...] = ()

    @property
    def suits_best(self) -> str:
        """Id of the protocol to recommend."""
        return self.plans[self.ranked.pick].protocol

    def best_first(self) -> tuple[PlanResult, ...]:
        """Each plan by itself, the one to recommend first, then by group and loss."""
        every = self.every()
        return tuple(every[i] for i in self.ranked.order)

    def every(self) -> tuple[PlanResult, ...]:
        """Each plan by itself."""
        count = len(self.plans)
        outcomes, acid = self.outcomes or (None,) * count, self.acid or (None,) * count
        return tuple(
            PlanResult(
                self.name,
                self.must,
                self.pitch,
                self.strain,
                self.profile,
                plan,
                False,
                verdict,
                (*self.warnings, *plan.warnings),
                self.ground,
                outcome,
                risk,
                self.ranked.aim,
                group,
                loss,
            )
            for plan, verdict, outcome, risk, group, loss in zip(
                self.plans,
                self.verdicts,
                outcomes,
                acid,
                self.ranked.groups,
                self.ranked.losses,
                strict=True,
            )
        )

    def of(self, protocol: str, chosen: bool = False) -> PlanResult:
        """The plan by one of its protocols, by itself."""
        (found,) = (one for one in self.every() if one.plan.protocol == protocol)
        return replace(found, chosen=chosen)

    def only(self, protocols: Sequence[str]) -> Comparison:
        """Some of its plans, ranked among themselves."""
        kept = [one for one in self.every() if one.plan.protocol in protocols]
        verdicts = tuple(one.verdict for one in kept)
        plans = tuple(one.plan for one in kept)
        outcomes = tuple(one.outcome for one in kept if one.outcome)
        return replace(
            self,
            plans=plans,
            verdicts=verdicts,
            ranked=rank(outcome_values(plans, outcomes), verdicts, self.ranked.aim),
            outcomes=outcomes,
            acid=tuple(one.acid for one in kept if one.acid),
        )
