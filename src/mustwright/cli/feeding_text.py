"""The feeding of a must as text: nitrogen, what it would do, its acid, every feed, its bounds."""

from __future__ import annotations

from typing import TYPE_CHECKING

from mustwright.cli.tailored import doses_said, sweet_line
from mustwright.planning.days_text import days_number, days_range
from mustwright.planning.hours_text import clock
from mustwright.texts import literal, say

if TYPE_CHECKING:
    from mustwright.figure import Figure
    from mustwright.nutrition.feeding_plan import Feed, FeedingPlan
    from mustwright.planning.acidity.acid_risk import AcidRisk
    from mustwright.planning.lever import Levers
    from mustwright.planning.outcome import Outcome


def nitrogen_lines(plan: FeedingPlan) -> list[str]:
    """Nitrogen in one glance, kinds apart."""
    n = plan.nitrogen
    return [
        say(
            "  Nitrogen, mg N/L: {demand_mg_l:.0f} needed; the must holds "
            "{credit_mg_l:.0f} ({range}), rehydration {rehydration_mg_l:.0f}; feeds "
            "add {added_ammonium_mg_l:.0f} ammonium and {added_amino_mg_l:.0f} "
            "amino; short {short_mg_l:.0f}",
            demand_mg_l=n.demand_mg_l.value,
            credit_mg_l=n.credit_mg_l.value,
            range=range_text(n.credit_mg_l),
            rehydration_mg_l=n.rehydration_mg_l.value,
            added_ammonium_mg_l=n.added_ammonium_mg_l.value,
            added_amino_mg_l=n.added_amino_mg_l.value,
            short_mg_l=n.short_mg_l.value,
        ),
        _early_line(plan),
    ]


def _early_line(plan: FeedingPlan) -> str:
    """How much of it comes early, or that there is nothing to add."""
    if plan.nitrogen.added_mg_l.value <= 0:
        can = plan.feasible and not plan.missing
        return say("  Nothing is fed") if can else say("  Nothing can be fed")
    share = 100 * plan.nitrogen.early_share.value
    return say(
        "  {share:.0f} % of what is fed comes before a third of the sugar is gone", share=share
    )


def outcome_lines(outcome: Outcome) -> list[str]:
    """What the plan would do, in two lines."""
    dry, there = outcome.days_to_dry, outcome.days_if_dry
    if dry.value > 1e5:
        first = (
            say("never dry") if dry.low is None or dry.low > 1e5 else say("not dry in most runs")
        )
    else:
        first = say(
            "dry about day {day} (day {days} where it gets there)",
            day=days_number(dry.value),
            days=days_range(there.low, there.high),
        )
    lines: list[str] = [
        say(
            "  Forecast: {dry}, stops short in {chance:.0%} of runs, "
            "leaves {left:.0f} mg N/L, at most {gas:g} L/h of gas",
            dry=first,
            chance=outcome.chance_of_sticking.value,
            left=outcome.residual_yan_mg_l.value,
            gas=float(f"{outcome.peak_gas_l_h.value:.2g}"),
        )
    ]
    if outcome.may_stop_sweet:
        lines.append(sweet_line(outcome))
    if outcome.against_best:
        lines.append(say("  Against the recommended one: {words}", words=outcome.against_best))
    return lines


def lever_lines(levers: Levers) -> list[str]:
    """What would matter most: each step with the chance to get dry and the days to it."""
    lines: list[str] = [say("What would matter most: chance to get dry in six weeks, days to it")]
    for one in (levers.as_planned, *levers.moved):
        said = say("{days:>7s} d", days=days_number(one.days_to_dry.value))
        lines.append(
            say(
                "  {chance:4.0%} {said}  {change}",
                chance=one.chance_of_dry.value,
                said=said,
                change=one.change,
            )
        )
    return lines


_PH = literal("  pH: lowest {ph}, crash risk {risk} ({chance:.0%} under {floor:g})")
_PH_NOT_MEASURED = literal(
    "  pH: lowest {ph}, crash risk {risk} ({chance:.0%} under {floor:g}); "
    "from the recipe alone, measure it"
)


def acid_lines(acid: AcidRisk) -> list[str]:
    """What the plan does to the acid, in one line, and what that does to the odds of sticking."""
    lines: list[str] = [
        (_PH if acid.measured else _PH_NOT_MEASURED).format(
            ph=acid.trough.words,
            risk=literal(acid.risk, "risk"),
            chance=acid.chance_below_floor.value,
            floor=acid.floor.value,
        )
    ]
    odds = acid.odds_factor.value
    if odds >= 1.1:
        lines.append(
            say(
                "  In the chance above: acid and too little potassium multiply the "
                "odds of sticking by {odds:.2g}",
                odds=odds,
            )
        )
    return lines


def potassium_line(acid: AcidRisk) -> str:
    """Potassium against the acid at the trough, as a line of the balance."""
    ratio = acid.potassium_ratio
    return say(
        "  K : H at the lowest pH {ratio:.0f} ({low:.0f} to "
        "{high:.0f}) mol/mol; the published ratio asks for "
        "{needed_low:.0f} to {needed_high:.0f} "
        "mg/L (see `mustwright acidity`)",
        ratio=ratio.value,
        low=ratio.low,
        high=ratio.high,
        needed_low=acid.potassium_needed_mg_l.low,
        needed_high=acid.potassium_needed_mg_l.high,
    )


def programme_lines(plan: FeedingPlan) -> list[str]:
    """Feeds and the parts of the salt, in the order they fall due."""
    from mustwright.planning.salt_text import no_salt_note

    lines: list[str] = []
    for k, feed in enumerate(plan.feeds):
        lines += [*_salt_lines(plan, k), *_feed_lines(feed)]
    lines += _salt_lines(plan, len(plan.feeds))
    if note := no_salt_note(plan.salt):
        lines.append(say("  {note}", note=note))
    return lines


def _salt_lines(plan: FeedingPlan, after_feeds: int) -> list[str]:
    from mustwright.planning.salt_text import cautions_beside, part_notes, part_title

    salt = plan.salt
    lines: list[str] = []
    for part in salt.after(after_feeds) if salt else ():
        assert salt is not None
        about = hours_text(part.expected_h)
        lines.append(say("  [ ] {part}", part=part_title(salt, part)))
        lines.append(
            say("      {trigger}; expected about {about}", trigger=part.trigger, about=about)
        )
        lines += [say("      {note}", note=note) for note in part_notes(salt, part)]
        cautions = cautions_beside(salt.steps, salt.cautions)
        lines += [say("      ! {caution}", caution=caution) for caution in cautions]
    return lines


def _feed_lines(feed: Feed) -> list[str]:
    by_clock = feed.expected_h.low is None  # the trigger already names the hour
    lines: list[str] = [
        say("  [ ] {feed}: {doses}", feed=feed.name, doses=doses_said(feed)),
        say("      {trigger}", trigger=feed.trigger)
        if by_clock
        else say(
            "      {trigger}; expected about {about}",
            trigger=feed.trigger,
            about=hours_text(feed.expected_h),
        ),
    ]
    lines += [say("      {note}", note=note) for note in feed.notes]
    return lines


def bound_lines(plan: FeedingPlan) -> list[str]:
    """What is missing, what the plan as written breaks or touches, and what would lift it.

    What gave way stands among what speaks against the plan.
    """
    lines: list[str] = [
        say("  Cannot be met: {sentence}.", sentence=sentence) for sentence in plan.missing
    ]
    lines += [
        say(
            "  As written it would take {asked_g_l:.2f} g/L where {limit}; kept within.",
            asked_g_l=b.asked_g_l.value,
            limit=b.words,
        )
        for b in plan.breaches
    ]
    lines += [say("  Reaches a limit: {limit}.", limit=b.words) for b in plan.touched]
    lines += [say("  {sentence}", sentence=sentence) for sentence in plan.would_free]
    if plan.cost is not None:
        lines.append(say("  The nutrients cost {cost:.2f} in your currency.", cost=plan.cost.value))
    elif plan.cost_note:
        lines.append(say("  Cost of the nutrients not known: {why}.", why=plan.cost_note))
    return lines


def hours_text(expected: Figure) -> str:
    """Hours after pitch as a person reads them, with their range."""
    text = clock(expected.value)
    if not expected.value:
        return text
    low, high = expected.low, expected.high
    if low is not None and high is not None and clock(low) != clock(high):
        return say(
            "{when} ({low} to {high}) after pitch",
            when=text,
            low=clock(low),
            high=clock(high),
        )
    return say("{when} after pitch", when=text)


def range_text(figure: Figure) -> str:
    """The ends of a figure, or that it was typed."""
    if figure.low is None or figure.high is None:
        return say("as typed")
    digits = 1 if figure.high < 30 else 0
    return say(
        "{low:.{digits}f} to {high:.{digits}f}", low=figure.low, high=figure.high, digits=digits
    )


def amount_text(figure: Figure) -> str:
    """An amount in the balance: two decimals below ten."""
    return say("{amount:.{digits}f}", amount=figure.value, digits=2 if figure.value < 10 else 0)
