"""What if it were warmer, sweeter, fed more: one plan's forecast with some of its facts changed."""

from __future__ import annotations

from dataclasses import dataclass, replace

from mustwright.errors import InputError
from mustwright.kinetics.conditions import with_temperature
from mustwright.kinetics.ensemble_setting import MEMBERS
from mustwright.kinetics.forecast import Forecast
from mustwright.kinetics.inputs import Conditions, MustAtPitch, NitrogenPulse
from mustwright.must.gravity import brix_from_gravity, sugar_g_l_from_brix
from mustwright.must.gravity_text import brix_sign
from mustwright.planning.kinetic_inputs import (
    conditions_of,
    dissolved_times,
    feeds_of,
    must_at_pitch,
    nothing_to_ferment,
    pulse,
    within_model,
)
from mustwright.planning.likeness import population_at
from mustwright.planning.must_setup import Ground
from mustwright.planning.outcome import Outcome
from mustwright.planning.plan_forecast import difference, outcome_of, run_of, salted
from mustwright.planning.plan_result import PlanResult
from mustwright.texts import say
from mustwright.unit_system import degrees, degrees_number

FIELDS = ("temperature", "pitch", "nitrogen", "gravity")
SAME = 1e-9
MUCH_BRIX = 30.0


@dataclass(frozen=True)
class Facts:
    """What can be changed: must temperature [°C], yeast [g], nitrogen fed [mg N/L], gravity."""

    temperature: float
    pitch: float
    nitrogen: float
    gravity: float


@dataclass(frozen=True)
class Planned:
    """A plan's own forecast, to hold changes against; worth keeping between requests.

    Parameters
    ----------
    plan : PlanResult
    must, conditions, feeds
        What was forecast.
    run : Forecast
    outcome : Outcome
    """

    plan: PlanResult
    must: MustAtPitch
    conditions: Conditions
    feeds: tuple[NitrogenPulse, ...]
    run: Forecast
    outcome: Outcome

    @property
    def facts(self) -> Facts:
        """The plan's own facts."""
        pitch, nitrogen = self.plan.pitch.yeast_g, self.plan.plan.nitrogen.added_mg_l
        return Facts(self.conditions_c, pitch.value, nitrogen.value, self.plan.must.gravity.value)

    @property
    def conditions_c(self) -> float:
        """Temperature of the sheet [°C]."""
        return self.plan.must.temperature_c


@dataclass(frozen=True)
class WhatIf:
    """A plan's forecast and the changed one.

    Parameters
    ----------
    changed : tuple of str
        Which facts differ, by field.
    outcome : Outcome
        Of the changed one.
    words : str
        The difference, from the same members under both.
    notes : tuple of str
        What to mind about the changes.
    dry_gravity : float
        Where the changed must ends when its sugar is gone [-].
    """

    planned: Planned
    facts: Facts
    changed: tuple[str, ...]
    outcome: Outcome
    words: str
    notes: tuple[str, ...]
    dry_gravity: float


def planned_forecast(plan: PlanResult, members: int = MEMBERS) -> Planned:
    """Forecast a plan as it stands.

    Raises
    ------
    InputError
        Where there is no sugar to ferment.
    """
    ground = plan.ground
    if nothing_to_ferment(ground):
        raise InputError(
            "must.gravity", say("needs sugar to forecast a fermentation"), say("no sugar")
        )
    plan = salted(plan)
    must, conditions = must_at_pitch(ground), conditions_of(ground)
    feeds = feeds_of(plan.plan, ground)
    run = run_of(must, feeds, conditions, members, population_at(ground))
    return Planned(plan, must, conditions, feeds, run, outcome_of(run, members, plan.plan))


def what_if(planned: Planned, facts: Facts) -> WhatIf:
    """Forecast a plan with changed facts, member against member.

    The feeds stay as planned except for their size; a changed gravity changes sugar and other
    dissolved matter but not the must's own nitrogen.
    """
    old = planned.facts
    changed = tuple(
        name for name in FIELDS if abs(getattr(facts, name) - getattr(old, name)) > SAME
    )
    must, gravity_factor = planned.must, 1.0
    if "gravity" in changed:
        gravity_factor = extract_g_l(facts.gravity) / extract_g_l(old.gravity)
        must = dissolved_times(must, gravity_factor)
    conditions = planned.conditions
    if "temperature" in changed:
        conditions = with_temperature(conditions, facts.temperature)
    if "pitch" in changed:
        volume = planned.plan.must.volume_l.value
        conditions = replace(conditions, pitch_g_l=within_model("pitch_g_l", facts.pitch / volume))
    feeds = planned.feeds
    if "nitrogen" in changed:
        feeds = tuple(times_nitrogen(feed, facts.nitrogen / old.nitrogen) for feed in feeds)
    if not changed:
        return WhatIf(planned, facts, (), planned.outcome, "", (), _dry(planned.plan, 1.0))
    members = planned.run.dry_at_h.size
    run = run_of(must, feeds, conditions, members, population_at(planned.plan.ground))
    return WhatIf(
        planned,
        facts,
        changed,
        outcome_of(run, members, planned.plan.plan),
        difference(run, planned.run),
        tuple(_notes(planned, facts, changed)),
        _dry(planned.plan, gravity_factor),
    )


def extract_g_l(gravity: float) -> float:
    """Dissolved matter of a must by its gravity, as sugar [g/L]."""
    return float(sugar_g_l_from_brix(brix_from_gravity(gravity)))


def times_nitrogen(feed: NitrogenPulse, factor: float) -> NitrogenPulse:
    """A feed of so many times its nitrogen and what comes with it; a salt stays as it is."""
    if feed.ammonium_n_mg_l + feed.amino_n_mg_l <= 0:
        return feed
    scaled = pulse(feed.trigger, feed.ammonium_n_mg_l * factor, feed.amino_n_mg_l * factor)
    return replace(
        scaled,
        base_meq_l=within_model("fed_base_meq_l", feed.base * factor),
        potassium_mg_l=within_model("fed_potassium_mg_l", feed.potassium_mg_l * factor),
    )


def _dry(plan: PlanResult, factor: float) -> float:
    """Dry gravity of a must with everything dissolved scaled up: that much further below 1."""
    return 1.0 - (1.0 - plan.must.dry_gravity.value) * factor


def _notes(planned: Planned, facts: Facts, changed: tuple[str, ...]) -> list[str]:
    ground: Ground = planned.plan.ground
    strain = ground.setting.strain
    found: list[str] = []
    if "nitrogen" in changed and facts.nitrogen > planned.facts.nitrogen:
        found.append(
            say(
                "More nitrogen than the plan gives: limits of law, labels and stock "
                "were not asked again here. Change the must or the shelf and plan it "
                "before you feed it."
            )
        )
    low, high = strain.temperature_low_c, strain.temperature_high_c
    if "temperature" in changed and not low <= facts.temperature <= high:
        found.append(
            say(
                "{temperature} is outside the usual {low} to {high} of this yeast.",
                temperature=degrees(facts.temperature),
                low=degrees_number(low),
                high=degrees_number(high),
            )
        )
    if "gravity" in changed:
        found.append(
            say(
                "The must's own nitrogen, the feeds and the pitch stay as planned; a "
                "new plan would move them with the gravity."
            )
        )
        if float(brix_from_gravity(facts.gravity)) > MUCH_BRIX:
            found.append(
                say(
                    "Above 30 {sign} the model is beyond everything it was fitted on.",
                    sign=brix_sign(),
                )
            )
    return found
