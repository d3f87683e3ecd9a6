"""The tailored plan: what a search finds for this must, beside the protocols on other members.

At most four results, each the best for one thing, with what is gained over the best protocol for
the same thing, how sure that is, and a protocol file that the maker can keep.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from mustwright import data
from mustwright.figure import ARITHMETIC, Figure
from mustwright.kinetics.ensemble_setting import MEMBERS
from mustwright.kinetics.forecast import Forecast
from mustwright.nutrition.choose import ProtocolVerdict, falls_short, judge
from mustwright.nutrition.feeding_plan import FeedingPlan, Setting
from mustwright.nutrition.plan import plan_feeding
from mustwright.nutrition.protocols import GROUPS, Protocol, read_protocol
from mustwright.nutrition.shelf import Nutrient, generic_nutrients
from mustwright.planning.kinetic_inputs import nothing_to_ferment
from mustwright.planning.outcome import Outcome, values_of
from mustwright.planning.plan_forecast import SOURCE, outcome_of, runs_of, with_expected_hours
from mustwright.planning.plan_result import Comparison
from mustwright.planning.ranking import Aim, aim_called, outcome_steps, rank
from mustwright.planning.tailor_search import Progress, search
from mustwright.planning.tailor_space import FeedSpace, TailoredFeed

SURE_95 = 1.96
SUITS_EITHER_SIDE = 0.010  # of gravity: for which musts a tailored protocol is said to be made
FEW, CHEAP = ("fewest feeds", "few_feeds"), ("cheapest", "cheap")
NAMED = (("surest", "security"), ("quickest", "quick"), ("gentlest", "gentle"))
GAINED = {
    "security": ("chance_to_finish", "more chance to finish", "chance"),
    "quick": ("days_to_dry", "sooner dry", "days"),
    "gentle": ("ammonium_mg_l", "less of ammonium", "mg N/L"),
    "few_feeds": ("feeds", "fewer", "feeds"),
    "cheap": ("cost", "cheaper", "money"),
}
OPPOSITE = {
    "more chance to finish": "less chance to finish",
    "sooner dry": "later dry",
    "less of ammonium": "more of ammonium",
    "fewer": "more",
    "cheaper": "dearer",
}


@dataclass(frozen=True)
class Gain:
    """What a tailored plan is ahead of a protocol.

    Parameters
    ----------
    what : str
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
    """

    name: str
    plan: FeedingPlan
    outcome: Outcome
    gain: Gain
    against: str
    is_real: bool
    words: str
    protocol_file: str


def _go_on(_: float) -> bool:
    return True


def tailor(
    comparison: Comparison, progress: Progress = _go_on, members: int = MEMBERS
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

    Returns
    -------
    tuple of TailoredPlan or None
        Empty where nothing need or can be fed; None when it was stopped.
    """
    ground = comparison.ground
    setting = ground.setting
    space = FeedSpace(setting, _to_add(comparison), [_word(j, setting) for j in setting.jars])
    if nothing_to_ferment(ground) or not space.jars or space.to_add_mg_l <= 0:
        return ()
    priced = all(jar.price_per_kg is not None for jar in space.jars)
    named = (*NAMED, CHEAP if priced else FEW)
    found = search(ground, space, tuple(aim_called(aim) for _, aim in named), progress)
    if found is None:
        return None
    by_feeds: dict[tuple[TailoredFeed, ...], list[tuple[str, Aim]]] = {}
    for name, aim in named:
        by_feeds.setdefault(found[aim].feeds, []).append((name, aim_called(aim)))
    return _Judge(comparison, members).judged(by_feeds, space)


class _Judge:
    """Results beside the protocols, all on the same members."""

    def __init__(self, comparison: Comparison, members: int) -> None:
        self.comparison, self.members = comparison, members
        self.ground, self.setting = comparison.ground, comparison.ground.setting
        self.runs: dict[str, Forecast] = {}

    def judged(
        self,
        by_feeds: dict[tuple[TailoredFeed, ...], list[tuple[str, Aim]]],
        space: FeedSpace,
    ) -> tuple[TailoredPlan, ...]:
        results = []
        for feeds, named in by_feeds.items():
            name = " and ".join(one for one, _ in named)
            text = protocol_file(name, feeds, space, self.setting)
            protocol = read_protocol(text)
            plan = plan_feeding(self.setting, protocol)
            if self._is_sound(plan, protocol):
                results.append(self._result(name, named[0][1], plan, text))
        return tuple(results)

    def _is_sound(self, plan: FeedingPlan, protocol: Protocol) -> bool:
        """Whether it goes against no advice that the recommended plan keeps to."""
        verdict = judge(plan, protocol, self.setting, self.ground.fruit)
        least = min(one.faults for one in self.comparison.verdicts)
        return verdict.faults <= least or not (falls_short(plan) or any(verdict.faults))

    def _result(self, name: str, aim: Aim, plan: FeedingPlan, text: str) -> TailoredPlan:
        rival = self._rival(aim)
        run, other = self._run(plan), self._run(rival)
        outcome = outcome_of(run, self.members)
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
            _words(name, plan, rival, gain, real),
            text,
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
        values = values_of(plan, outcome_of(run, self.members))
        return outcome_steps({**values, "days_to_dry": float(np.mean(_days(run)))}, aim)


def _to_add(comparison: Comparison) -> float:
    """What the feeds are to bring for the yeast to have what it wants [mg N/L]."""
    sheet = comparison.plans[0].nitrogen
    brought = sheet.credit_mg_l.value + sheet.rehydration_mg_l.value
    return max(sheet.demand_mg_l.value - brought, 0.0)


def _word(jar: Nutrient, setting: Setting) -> str:
    """The word by which a protocol file means this jar and no other; empty where there is none."""
    word = jar.class_id if jar.class_id in generic_nutrients() else jar.group
    if word not in generic_nutrients() and word not in GROUPS:
        return ""
    first = next((one for one in setting.jars if one.matches(word)), None)
    return word if first is jar else ""


def protocol_file(
    name: str, feeds: Sequence[TailoredFeed], space: FeedSpace, setting: Setting
) -> str:
    """A protocol file that gives these feeds on this must, and follows the sugar on others.

    Parameters
    ----------
    name : str
        What it is the best for.
    feeds : sequence of TailoredFeed
    space : FeedSpace
        Their jars.
    setting : Setting

    Returns
    -------
    str
        TOML.
    """
    gravity = setting.must.gravity.value
    low, high = gravity - SUITS_EITHER_SIDE, gravity + SUITS_EITHER_SIDE
    lines = [
        f'id = "tailored_{name.split(" and ")[0].replace(" ", "_")}"',
        f'name = "Tailored, {name}, for {gravity:.3f}"',
        f'account = "Found by a search for a must of {gravity:.3f}: {name}. Grams hold there and '
        'follow the sugar on other musts."',
        'assumes = ["Must, yeast, shelf and law are like those it was found for."]',
        'source = "a search with the fermentation model, see docs/protocols.md"',
        "",
        "[dose]",
        'basis = "rate"',
        'credit = "typical"',
        f'at_sugar = "{setting.must.sugar_g_l.value:.6f} g/L"',
        "",
        "[suits]",
        f'gravity = ["{max(low, 1.0):.3f}", "{high:.3f}"]',
    ]
    for k, feed in enumerate(feeds):
        rates = ", ".join(
            f'{word} = "{grams / space.volume_l:.8f} g/L"'
            for word, grams in zip(space.words, feed.grams, strict=True)
            if grams > 0
        )
        when = f"{{ sugar_used = {feed.sugar_used:g} }}" if feed.sugar_used else '"onset"'
        moment = f"{100 * feed.sugar_used:.0f} % of the sugar" if feed.sugar_used else "Onset"
        lines += ["", "[[feed]]", f'name = "{moment}"', f"when = {when}"]
        lines += [f"rate = {{ {rates} }}"]
        assert k < 12
    return "\n".join(lines) + "\n"


def _days(run: Forecast) -> np.ndarray:
    """Days to dry by member, those that never get there at the end of the forecast."""
    return np.asarray(np.minimum(run.dry_at_h, float(run.times_h[-1])) / 24)


def _gain(aim: Aim, plan: FeedingPlan, rival: FeedingPlan, run: Forecast, other: Forecast) -> Gain:
    name, what, unit = GAINED[aim.id]
    members = run.dry_at_h.size
    inputs: dict[str, Figure | float | str] = {
        "members": float(members), "against": rival.protocol_name,
    }  # fmt: skip
    if name == "days_to_dry":
        ahead = _days(other) - _days(run)
        value, error = float(np.mean(ahead)), SURE_95 * float(np.std(ahead)) / members**0.5
        how, source = (
            "mean over members, each under both plans; never dry counts as the end",
            SOURCE,
        )
    elif name == "chance_to_finish":
        value = other.chance_of_sticking - run.chance_of_sticking
        apart = np.isfinite(run.dry_at_h).astype(float) - np.isfinite(other.dry_at_h)
        error = SURE_95 * float(np.std(apart)) / members**0.5
        how, source = "difference of the shares of members that stick", SOURCE
    else:
        value, error = _amount(rival, name) - _amount(plan, name), 0.0
        how, source = "difference of the two plans, from their amounts", ARITHMETIC
    half = "1.96 x standard error of the difference, member against member"
    return Gain(
        what,
        Figure(value, unit, how, source, inputs),
        Figure(error, unit, half if error else "none: it follows from the amounts", source, inputs),
    )


def _amount(plan: FeedingPlan, name: str) -> float:
    if name == "ammonium_mg_l":
        return plan.nitrogen.added_ammonium_mg_l.value
    if name == "cost":
        return plan.cost.value if plan.cost else 0.0
    return float(sum(bool(feed.items) for feed in plan.feeds))


def _words(name: str, plan: FeedingPlan, rival: FeedingPlan, gain: Gain, real: bool) -> str:
    ours, theirs = _amount(plan, "feeds"), _amount(rival, "feeds")
    unit = gain.value.unit
    factor, sign = (100.0, "points") if unit == "chance" else (1.0, unit)
    digits = 2 if unit == "money" else 0 if unit in ("feeds", "mg N/L") else 1
    ahead = factor * gain.value.value
    what = gain.what if ahead >= 0 else OPPOSITE[gain.what]
    amount = f"{abs(ahead):.{digits}f}"
    error = f" ± {factor * gain.error.value:.{digits}f}" if gain.error.value else ""
    said = f"{amount}{error} {sign} {what}"
    first = f"{name[:1].upper()}{name[1:]}"
    if real:
        return f"{first}: {said} than by “{rival.protocol_name}”."
    simpler = f"“{rival.protocol_name}”" if theirs <= ours else "this one"
    return (
        f"{first}: no real difference to “{rival.protocol_name}” ({said}): take the simpler, "
        f"{simpler}."
    )
