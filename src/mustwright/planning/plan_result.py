"""A plan, and several side by side, as every shell gets them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from mustwright.figure import Figure
from mustwright.nutrition.choose import ProtocolVerdict
from mustwright.nutrition.feeding_plan import FeedingPlan
from mustwright.nutrition.limits import LegalProfile
from mustwright.planning.acidity.acid_risk import AcidRisk
from mustwright.planning.batch_cost import BatchCost, batch_cost
from mustwright.planning.lever import Levers
from mustwright.planning.must_setup import Ground, MustResult
from mustwright.planning.outcome import Outcome, outcome_values
from mustwright.planning.ranking import DEFAULT_AIM, Aim, Ranked, aim_called, rank
from mustwright.yeast.pitch import Pitch, Strain


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
