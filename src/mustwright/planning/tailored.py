"""The tailored plan: what a search finds for this must, beside the protocols on other members.

At most four results, each the best for one thing, with what is gained over the best protocol for
the same thing, how sure that is, and a protocol file that the maker can keep.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from mustwright import data
from mustwright.figure import ARITHMETIC, Figure
from mustwright.how_far import Progress, go_on
from mustwright.kinetics.ensemble_setting import MEMBERS
from mustwright.kinetics.forecast import Forecast
from mustwright.nutrition.balance import from_nutrient
from mustwright.nutrition.choose import ProtocolVerdict, falls_short, judge
from mustwright.nutrition.feeding_plan import FeedingPlan, Setting
from mustwright.nutrition.plan import plan_feeding
from mustwright.nutrition.protocols import Protocol, read_protocol
from mustwright.planning.acidity.plan_salt import salt_most, with_more_salt, with_salt
from mustwright.planning.acidity.prior import portions_of
from mustwright.planning.kinetic_inputs import nothing_to_ferment
from mustwright.planning.must_setup import Ground
from mustwright.planning.outcome import Outcome, values_of
from mustwright.planning.plan_forecast import SOURCE, outcome_of, runs_of, with_expected_hours
from mustwright.planning.plan_result import Comparison
from mustwright.planning.ranking import Aim, aim_called, outcome_steps, rank
from mustwright.planning.tailor_change import (
    GRAVITY,
    SALT,
    TEMPERATURE,
    MustChange,
    Variant,
    combined,
    salt_change,
    variants_of,
)
from mustwright.planning.tailor_file import file_word, protocol_file, tailored_protocol
from mustwright.planning.tailor_search import Case, search
from mustwright.planning.tailor_space import FeedSpace, TailoredFeed
from mustwright.texts import capital, join, literal, say

SURE_95 = 1.96
FEW, CHEAP = (say("fewest feeds"), "few_feeds"), (say("cheapest"), "cheap")
NAMED = (
    (say("surest"), "security"),
    (say("quickest"), "quick"),
    (say("gentlest"), "gentle"),
)
# What is gained for an aim: its value, its unit, and how a gain and a loss of it are said.
GAINED = {
    "security": (
        "chance_to_finish",
        "chance",
        say("more chance to finish"),
        say("less chance to finish"),
    ),
    "quick": ("days_to_dry", "days", say("sooner dry"), say("later dry")),
    "gentle": ("ammonium_mg_l", "mg N/L", say("less ammonium"), say("more ammonium")),
    "few_feeds": ("feeds", "feeds", say("fewer", context="feeds"), say("more", context="feeds")),
    "cheap": ("cost", "money", say("cheaper"), say("dearer")),
}
# The same with its amount, where there is more of it than of one and where it is just one.
BY = {
    "more chance to finish": literal("{amount} points more chance to finish"),
    "less chance to finish": literal("{amount} points less chance to finish"),
    "sooner dry": literal("{amount} days sooner dry"),
    "later dry": literal("{amount} days later dry"),
    "less ammonium": literal("{amount} mg N/L less ammonium"),
    "more ammonium": literal("{amount} mg N/L more ammonium"),
    "fewer": literal("{amount} feeds fewer"),
    "more": literal("{amount} feeds more"),
    "cheaper": literal("{amount} cheaper"),
    "dearer": literal("{amount} dearer"),
}
BY_ONE_FEED = {
    "fewer": literal("{amount} feed fewer"),
    "more": literal("{amount} feed more"),
}


@dataclass(frozen=True)
class Gain:
    """What a tailored plan is ahead of a protocol.

    Parameters
    ----------
    what : str
        What there is more or less of, for the sign of the value.
    value : Figure
        Above zero where the tailored plan is ahead.
    error : Figure
        Half of the range that holds it with 95 %; 0 where it follows from the amounts alone.
    """

    what: str
    value: Figure
    error: Figure


@dataclass(frozen=True)
class TailoredPlan:
    """One result of the search.

    Parameters
    ----------
    name : str
        What it is the best for.
    plan : FeedingPlan
    outcome : Outcome
        On the members of every other forecast, which the search has not seen.
    gain : Gain
    against : str
        Id of the protocol that does best for the same.
    is_real : bool
        Whether a maker would notice the difference.
    words : str
    protocol_file : str
        TOML, to be kept.
    ground : Ground
        The must it is for, changed where the maker let it be.
    changes : tuple of MustChange
        What of the must is changed, and what that costs.
    """

    name: str
    plan: FeedingPlan
    outcome: Outcome
    gain: Gain
    against: str
    is_real: bool
    words: str
    protocol_file: str
    ground: Ground
    changes: tuple[MustChange, ...] = ()


def tailor(
    comparison: Comparison,
    progress: Progress = go_on,
    members: int = MEMBERS,
    vary: Collection[str] = (),
) -> tuple[TailoredPlan, ...] | None:
    """Search the feeds that law, label, stock and scale leave open.

    Parameters
    ----------
    comparison : Comparison
        The protocols on this must, forecast.
    progress : callable
        Told the part done (0 to 1); the search stops when it returns False.
    members : int
        That results are judged on, 32 to 100000.
    vary : collection of str
        What of the must may change as well, out of `mustwright.planning.tailor_change.VARIED`.

    Returns
    -------
    tuple of TailoredPlan or None
        Empty where nothing need or can be fed; None when it was stopped.
    """
    ground = comparison.ground
    if nothing_to_ferment(ground):
        return ()
    salted = SALT in vary
    cases = [_case(one, salted) for one in variants_of(ground, vary)[0]]
    if not cases[0].needs_feeds:
        return ()
    cases = [one for one in cases if one.needs_feeds]
    priced = all(jar.price_per_kg is not None for jar in cases[0].space.jars)
    named = (*NAMED, CHEAP if priced else FEW)
    wished = tuple(aim_called(aim) for _, aim in named)
    found = search(cases, wished, progress, partial(_together, ground, salted))
    if found is None:
        return None
    judge = _Judge(comparison, members)
    by_find: dict[tuple[Case, float, tuple[TailoredFeed, ...]], list[tuple[str, Aim]]] = {}
    for name, aim in named if found else ():
        one = found[aim]
        by_find.setdefault((one.case, one.salt_g_l, one.feeds), []).append((name, aim_called(aim)))
    results = (
        judge.judged(names, feeds, case.variant, case.space, salt_g_l)
        for (case, salt_g_l, feeds), names in by_find.items()
    )
    return tuple(one for one in results if one is not None)


def stays_closed(ground: Ground, vary: Collection[str]) -> tuple[str, ...]:
    """What a search leaves alone, a sentence each: jars it cannot use, changes a sheet rules out.

    Parameters
    ----------
    ground : Ground
    vary : collection of str
        What the maker lets change.
    """
    found = variants_of(ground, set(vary) & {GRAVITY, TEMPERATURE})[1]
    setting = ground.setting
    if SALT in vary and ground.sheet.measured.ph is None and portions_of(ground)[1]:
        found.append(
            say("No salt is varied: neither the ingredients nor the pH of the must are known.")
        )
    for jar in setting.jars:
        if jar.nitrogen_mg_g <= 0:
            found.append(
                say(
                    "{jar} stays out of the search: its label names no nitrogen.",
                    jar=jar.name,
                )
            )
        elif not file_word(jar, setting):
            found.append(
                say(
                    "{jar} stays out of the search: no protocol file can name it.",
                    jar=jar.name,
                )
            )
    return tuple(found)


def _together(ground: Ground, salted: bool, cases: Sequence[Case]) -> Case | None:
    """The must with several single changes at once."""
    variant = combined(ground, [one.variant for one in cases])
    made = None if variant is None else _case(variant, salted)
    return made if made is not None and made.needs_feeds else None


def _case(variant: Variant, with_salt: bool) -> Case:
    """A must with the feeds, and the salt, that it leaves open."""
    ground, steps = variant.ground, 0
    setting = ground.setting
    salt, most = None, 0.0
    if with_salt and (ground.sheet.measured.ph is not None or not portions_of(ground)[1]):
        salt, most = salt_most(ground)
        steps = int(data.load("tailor_changes")["salt"]["steps"]) if most > 0 else 0
    words = [file_word(jar, setting) for jar in setting.jars]
    return Case(variant, FeedSpace(setting, _to_add(setting), words, steps), salt, most)


class _Judge:
    """Results beside the protocols, all on the same members."""

    def __init__(self, comparison: Comparison, members: int) -> None:
        self.comparison, self.members = comparison, members
        self.ground = comparison.ground
        self.runs: dict[str, Forecast] = {}

    def judged(
        self,
        named: Sequence[tuple[str, Aim]],
        feeds: tuple[TailoredFeed, ...],
        variant: Variant,
        space: FeedSpace,
        salt_g_l: float,
    ) -> TailoredPlan | None:
        """One result; None where it goes against advice that the recommended plan keeps to."""
        ground, changes = variant.ground, variant.changes
        name = join(say(" and "), [one for one, _ in named])
        plain = plan_feeding(ground.setting, tailored_protocol(name, feeds, space, ground.setting))
        needed = with_salt(ground, plain)
        plan = with_more_salt(ground, needed, salt_g_l)
        if plan.salt is not None and plan is not needed:
            changes = (*changes, salt_change(plan.salt.grams.value, plan.salt.name))
        text = protocol_file(name, feeds, space, ground.setting, changes)
        if not self._is_sound(plan, read_protocol(text), ground):
            return None
        return self._result(name, named[0][1], plan, text, ground, changes)

    def _is_sound(self, plan: FeedingPlan, protocol: Protocol, ground: Ground) -> bool:
        """Whether it goes against no advice that the recommended plan keeps to."""
        verdict = judge(plan, protocol, ground.setting, ground.fruit)
        least = min(one.faults for one in self.comparison.verdicts)
        return verdict.faults <= least or not (falls_short(plan) or any(verdict.faults))

    def _result(
        self,
        name: str,
        aim: Aim,
        plan: FeedingPlan,
        text: str,
        ground: Ground,
        changes: tuple[MustChange, ...],
    ) -> TailoredPlan:
        rival = self._rival(aim)
        (run,), other = runs_of(ground, [plan], self.members), self._run(rival)
        outcome = outcome_of(run, self.members, plan)
        gain = _gain(aim, plan, rival, run, other)
        ahead = self._steps(rival, other, aim) - self._steps(plan, run, aim)
        real = ahead >= float(data.load("aims")["real_loss"])
        real = real and gain.value.value > gain.error.value
        return TailoredPlan(
            name,
            with_expected_hours(plan, outcome),
            outcome,
            gain,
            rival.protocol,
            real,
            _words(name, plan, rival, gain, real, changes),
            text,
            ground,
            changes,
        )

    def _rival(self, aim: Aim) -> FeedingPlan:
        """The protocol's plan that would be picked for the same."""
        compared = self.comparison
        values = [
            values_of(plan, outcome)
            for plan, outcome in zip(compared.plans, compared.outcomes, strict=True)
        ] or [{} for _ in compared.plans]
        verdicts: Sequence[ProtocolVerdict] = compared.verdicts
        return compared.plans[rank(values, verdicts, aim).pick]

    def _run(self, plan: FeedingPlan) -> Forecast:
        if plan.protocol not in self.runs:
            (self.runs[plan.protocol],) = runs_of(self.ground, [plan], self.members)
        return self.runs[plan.protocol]

    def _steps(self, plan: FeedingPlan, run: Forecast, aim: Aim) -> float:
        values = values_of(plan, outcome_of(run, self.members, plan))
        return outcome_steps({**values, "days_to_dry": float(np.mean(_days(run)))}, aim)


def _to_add(setting: Setting) -> float:
    """What the feeds are to bring for the yeast to have what it wants [mg N/L]."""
    woken = from_nutrient(
        setting.shelf.for_rehydration, setting.pitch.rehydration_nutrient_g, setting.must.volume_l
    )
    brought = setting.credit.nitrogen_mg_l.value + sum(
        woken[kind].value for kind in ("ammonium_n", "amino_n")
    )
    return max(setting.demand().value - brought, 0.0)


def _days(run: Forecast) -> np.ndarray:
    """Days to dry by member, those that never get there at the end of the forecast."""
    return np.asarray(np.minimum(run.dry_at_h, float(run.times_h[-1])) / 24)


def _gain(aim: Aim, plan: FeedingPlan, rival: FeedingPlan, run: Forecast, other: Forecast) -> Gain:
    name, unit, gained, lost = GAINED[aim.id]
    members = run.dry_at_h.size
    inputs: dict[str, Figure | float | str] = {
        "members": float(members), "against": rival.protocol_name,
    }  # fmt: skip
    if name == "days_to_dry":
        ahead = _days(other) - _days(run)
        value, error = float(np.mean(ahead)), SURE_95 * float(np.std(ahead)) / members**0.5
        how, source = (
            say("mean over members, each under both plans; never dry counts as the end"),
            SOURCE,
        )
    elif name == "chance_to_finish":
        value = other.chance_of_sticking - run.chance_of_sticking
        apart = np.isfinite(run.dry_at_h).astype(float) - np.isfinite(other.dry_at_h)
        error = SURE_95 * float(np.std(apart)) / members**0.5
        how, source = say("difference of the shares of members that stick"), SOURCE
    else:
        value, error = _amount(rival, name) - _amount(plan, name), 0.0
        how, source = say("difference of the two plans, from their amounts"), ARITHMETIC
    half = say("1.96 x standard error of the difference, member against member")
    return Gain(
        gained if value >= 0 else lost,
        Figure(value, unit, how, source, inputs),
        Figure(
            error, unit, half if error else say("none: it follows from the amounts"), source, inputs
        ),
    )


def _amount(plan: FeedingPlan, name: str) -> float:
    if name == "ammonium_mg_l":
        return plan.nitrogen.added_ammonium_mg_l.value
    if name == "cost":
        return plan.cost.value if plan.cost else 0.0
    return float(sum(bool(feed.items) for feed in plan.feeds))


def _words(
    name: str,
    plan: FeedingPlan,
    rival: FeedingPlan,
    gain: Gain,
    real: bool,
    changes: Sequence[MustChange],
) -> str:
    ours, theirs = _amount(plan, "feeds"), _amount(rival, "feeds")
    unit = gain.value.unit
    factor = 100.0 if unit == "chance" else 1.0
    digits = 2 if unit == "money" else 0 if unit in ("feeds", "mg N/L") else 1
    amount = say("{by:.{digits}f}", by=abs(factor * gain.value.value), digits=digits)
    by = BY_ONE_FEED if unit == "feeds" and amount == "1" else BY
    if gain.error.value:
        error = factor * gain.error.value
        amount = say("{amount} ± {error:.{digits}f}", amount=amount, error=error, digits=digits)
    if real:
        words = (
            literal("{name}: {gain} than by “{protocol}” on the must as it is.")
            if changes
            else literal("{name}: {gain} than by “{protocol}”.")
        )
    elif changes:
        words = literal(
            "{name}: no real difference to “{protocol}” on the must as it is ({gain}): take the "
            "simpler, “{protocol}”."
        )
    elif theirs <= ours:
        words = literal(
            "{name}: no real difference to “{protocol}” ({gain}): take the simpler, “{protocol}”."
        )
    else:
        words = literal(
            "{name}: no real difference to “{protocol}” ({gain}): take the simpler, this one."
        )
    lead = words.format(
        name=capital(name),
        gain=by[gain.what].format(amount=amount),
        protocol=rival.protocol_name,
    )
    changed = [
        say("Changed: {change} ({cost}).", change=one.change, cost=one.cost) for one in changes
    ]
    return join(" ", (lead, *changed))
