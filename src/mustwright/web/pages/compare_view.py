"""What the comparison of protocols shows: whether it matters which, the bundles, the figures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from mustwright.figure import Figure
from mustwright.input_names import input_words
from mustwright.must.acidity.claims import ph_floor
from mustwright.nutrition.feeding_plan import FeedingPlan
from mustwright.planning.levers import chances_to_finish, hardly_matters
from mustwright.planning.outcome import Outcome
from mustwright.planning.plan_result import Comparison, PlanResult
from mustwright.texts import join, literal, say
from mustwright.unit_system import degree_sign
from mustwright.web.pages.figures import FigureList, said_number, spread
from mustwright.web.pictures.bundles import Bundle
from mustwright.web.pictures.gravity import STYLES, Curve
from mustwright.web.pictures.values import ValueTable, middles
from mustwright.weighing import grams_on_scale

BANDS_FOR_ALL = 3  # with so few protocols each gets its band
WARMEST = say("Warmest")
SHORT = say("Stops short")
OUTCOMES = (
    say("Dry after, days"),
    SHORT,
    say("Sugar left, g/L"),
    say("Nitrogen left, mg N/L"),
    WARMEST,
    say("Peak gas, L/h"),
)
ACID = say("pH under {ph_floor:g}", ph_floor=ph_floor())
NITROGEN = (
    say("Ammonium added, mg N/L"),
    say("Amino added, mg N/L"),
    say("Held in all, mg N/L"),
    say("Short, mg N/L"),
    say("Early share"),
)


@dataclass(frozen=True)
class ComparedCell:
    """A number of a table, its range, and its step in the working."""

    value: str
    range: str = ""
    step: int = 0


@dataclass(frozen=True)
class ComparedRow:
    """One protocol in figures."""

    one: PlanResult
    best: bool
    said: str
    outcome: tuple[tuple[str, ComparedCell], ...]
    feeds: tuple[tuple[str, ComparedCell], ...]

    @property
    def plan(self) -> FeedingPlan:
        """Its plan."""
        return self.one.plan


@dataclass(frozen=True)
class BundleWords:
    """A bundle in words: its number, the class of its line, how it differs, and its plans."""

    number: int
    style: str
    heading: str
    plans: tuple[PlanResult, ...]


def matters(result: Comparison) -> str:
    """Whether it matters which protocol, in a sentence."""
    count = len(result.plans)
    alike = sum(group == 1 for group in result.ranked.groups)
    if count == 1:
        return say("Only one protocol is compared.")
    if all(verdict.faults[0] for verdict in result.verdicts):
        return say("No protocol is enough: on this shelf each leaves the must short of nitrogen.")
    if alike == count:
        return say("No: all {count} end as well as each other.", count=count)
    if hardly_matters(result):
        low, high = (
            say("{value:.0f}", value=100 * chance) for chance in chances_to_finish(result) or (0, 0)
        )
        range_ = (
            say("{low} to {high} %", low=low, high=high) if low != high else say("{low} %", low=low)
        )
        wording = (
            literal(
                "Hardly, to finish: all that feed enough get dry, or stop sweet at the yeast’s "
                "limit, in {range} of runs. They differ most in {differ_most}."
            )
            if any(one.may_stop_sweet for one in result.outcomes)
            else literal(
                "Hardly, to finish: all that feed enough get dry in {range} of runs. "
                "They differ most in {differ_most}."
            )
        )
        return wording.format(range=range_, differ_most=input_words(_differ_most(result)))
    others = count - alike
    differ = (
        say("the other {others} differ noticeably", others=others)
        if others > 1
        else say("the other one differs")
    )
    if alike == 1:
        return say("Yes: none of the other {others} ends as well, all told.", others=count - 1)
    return say(
        "Yes: {alike} of {count} end as well as each other; {differ}.",
        alike=alike,
        count=count,
        differ=differ,
    )


def _differ_most(result: Comparison) -> str:
    """The outcome in which plans that feed enough lie furthest apart, as the aim weighs it."""
    parts = [
        loss.inputs
        for loss, verdict in zip(result.ranked.losses, result.verdicts, strict=True)
        if not verdict.faults[0]
    ]
    apart = {name: [float(one[name]) for one in parts] for name in parts[0]}
    return max(apart, key=lambda name: max(apart[name]) - min(apart[name]))


def bundles_of(every: Sequence[PlanResult], front: Sequence[str]) -> list[Bundle]:
    """Plans by their group, the recommended one first; `front` are drawn with their bands."""
    groups: dict[int, list[PlanResult]] = {}
    for one in every:
        if one.outcome is not None:
            groups.setdefault(one.group, []).append(one)
    few = len(every) <= BANDS_FOR_ALL
    return [
        Bundle(
            number, tuple(_curve(one, number, few or one.plan.protocol in front) for one in ones)
        )
        for number, ones in enumerate((groups[g] for g in sorted(groups)), 1)
    ]


def _curve(one: PlanResult, number: int, is_front: bool) -> Curve:
    assert one.outcome is not None
    style = number - 1 if number <= STYLES else None
    return Curve(one.plan.protocol_name, one.outcome, style, int(is_front), one.plan.protocol)


def bundle_words(every: Sequence[PlanResult], bundles: Sequence[Bundle]) -> list[BundleWords]:
    """What each bundle is, for the list beneath the picture."""
    by_id = {one.plan.protocol: one for one in every}
    best = every[0]
    found = []
    for bundle in bundles:
        plans = tuple(by_id[curve.key] for curve in bundle.curves)
        style = bundle.curves[0].style
        heading = _heading(bundle.number, plans, best)
        found.append(
            BundleWords(bundle.number, "other" if style is None else f"c{style}", heading, plans)
        )
    return found


def _heading(number: int, plans: Sequence[PlanResult], best: PlanResult) -> str:
    if number == 1:
        return say("No real difference") if len(plans) > 1 else say("Recommended")
    first = plans[0]
    if first.loss is None or best.loss is None:
        return say("Another forecast")
    if first.loss.value < best.loss.value:
        why = first.verdict.against[:1]
        return say("Ahead in the forecast, but not recommended") + (": " + why[0] if why else "")
    said = first.outcome.against_best if first.outcome else ""
    if not said or said.startswith("no "):
        return say("Behind the recommended one")
    if said.startswith("dry about") and "sooner" in said:
        return say("Behind the recommended one, though {said}", said=said)
    return say("Behind the recommended one: {said}", said=said)


def picture_values(every: Sequence[PlanResult], end_h: float) -> ValueTable:
    """The middles behind the picture."""
    named = [(o.plan.protocol, o.plan.protocol_name, o.outcome) for o in every if o.outcome]
    return middles(named, end_h)


def rows_of(
    every: Sequence[PlanResult], ledgers: Sequence[FigureList], jars: Sequence[tuple[str, str]]
) -> list[ComparedRow]:
    """Each protocol in figures, the recommended one first."""
    rows = []
    for k, (one, ledger) in enumerate(zip(every, ledgers, strict=True)):
        behind: tuple[str, ComparedCell] = (say("Behind the best"), _cell(one.loss, ledger))
        outcome = [behind] if one.outcome else []
        cells: dict[str, ComparedCell] = {name: _cell(f, ledger) for name, f in _figures(one)}
        if one.outcome and one.outcome.may_stop_sweet:
            cells[SHORT] = _and_sweet(cells[SHORT], one.outcome)
        outcome += cells.items()
        cost = one.plan.cost
        price = _cell(cost, ledger) if cost else ComparedCell(one.plan.cost_note)
        feeds = _grams(one.plan, jars, one.ground.setting.shelf.scale_g)
        feeds += [(say("Cost"), price), *_nitrogen(one.plan, ledger)]
        rows.append(ComparedRow(one, k == 0, _said(one, k == 0), tuple(outcome), tuple(feeds)))
    return rows


def told_once(
    rows: Sequence[ComparedRow],
) -> tuple[list[ComparedRow], list[tuple[str, ComparedCell]]]:
    """The rows without the outcomes that are the same for all of them, and those."""
    if len(rows) < 2:
        return list(rows), []
    columns = zip(*(row.outcome for row in rows), strict=True)
    same = {
        column[0][0]: column[0][1]
        for column in columns
        if len({(cell.value, cell.range) for _, cell in column}) == 1
    }
    differing = [
        replace(row, outcome=tuple(pair for pair in row.outcome if pair[0] not in same))
        for row in rows
    ]
    return differing, list(same.items())


def jars_of(plans: Sequence[FeedingPlan]) -> list[tuple[str, str]]:
    """Every nutrient that some plan feeds, by id and name."""
    found: dict[str, str] = {}
    for plan in plans:
        for feed in plan.feeds:
            for item in feed.items:
                found.setdefault(item.nutrient, item.name)
    return list(found.items())


def _said(one: PlanResult, is_best: bool) -> str:
    if is_best:
        return say("recommended")
    if one.outcome is None:
        return ""
    if one.group == 1:
        return say("no real difference from the recommended one")
    said = one.outcome.against_best
    return "" if said.startswith("no ") else say("Against the recommended one: {said}", said=said)


def _cell(figure: Figure | None, ledger: FigureList) -> ComparedCell:
    if figure is None:
        return ComparedCell("")
    step = ledger.step(figure).number
    return ComparedCell(said_number(figure, figure.value), spread(figure), step)


def _and_sweet(cell: ComparedCell, outcome: Outcome) -> ComparedCell:
    """The share that stops short, beside it that which ends at its yeast's limit."""
    share = outcome.stops_sweet
    return replace(cell, range=say("sweet {share}", share=said_number(share, share.value)))


def _figures(result: PlanResult) -> list[tuple[str, Figure]]:
    outcome = result.outcome
    if outcome is None:
        return []
    figures = (
        outcome.days_to_dry,
        outcome.chance_of_sticking,
        outcome.residual_sugar_g_l,
        outcome.residual_yan_mg_l,
        outcome.peak_temperature_c,
        outcome.peak_gas_l_h,
    )
    heads: list[str] = [
        join(", ", (head, degree_sign())) if head == WARMEST else head for head in OUTCOMES
    ]
    found = list(zip(heads, figures, strict=True))
    return [*found, (ACID, result.acid.chance_below_floor)] if result.acid else found


def _grams(
    plan: FeedingPlan, jars: Sequence[tuple[str, str]], step: float
) -> list[tuple[str, ComparedCell]]:
    sums = {jar: 0.0 for jar, _ in jars}
    for feed in plan.feeds:
        for item in feed.items:
            sums[item.nutrient] += item.grams.value
    return [
        (
            say("{name}, g", name=name),
            ComparedCell(grams_on_scale(sums[jar], step) if sums[jar] else "–"),
        )
        for jar, name in jars
    ]


def _nitrogen(plan: FeedingPlan, ledger: FigureList) -> list[tuple[str, ComparedCell]]:
    n = plan.nitrogen
    figures = (
        n.added_ammonium_mg_l,
        n.added_amino_mg_l,
        n.total_mg_l,
        n.short_mg_l,
        n.early_share,
    )
    return [(name, _cell(f, ledger)) for name, f in zip(NITROGEN, figures, strict=True)]
