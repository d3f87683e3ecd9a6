"""What an answer on acid claims, and what it refuses to say."""

from __future__ import annotations

from mustwright.must.acidity.claims import lowest_shown
from mustwright.must.acidity.draws import quantile
from mustwright.must.acidity.path import Path
from mustwright.texts import say


def claims_of(measured: bool) -> tuple[str, ...]:
    """What can be said, more where the pH was measured."""
    claims = [
        say("Acid that a feeding plan leaves behind, in milliequivalents per litre."),
        say("Which source of nitrogen sours a must more."),
        say("A dose of salt as a range: give half, stir, measure again after half a day."),
    ]
    if measured:
        claims.insert(0, say("The chance of a crash, low, middle or high, from your measured pH."))
    return tuple(claims)


def refusals_of(measured: bool, path: Path) -> tuple[str, ...]:
    """What is not said, and why."""
    lowest = lowest_shown()
    found = [
        say("No pH to a tenth and no single curve: only a range."),
        say("No pH after malolactic bacteria have worked or tartrate has settled out."),
    ]
    if not measured:
        found.insert(
            0, say("No pH from a recipe alone. Measure the must before the yeast goes in.")
        )
    if quantile(path.trough(), 0.05) < lowest:
        found.append(say("No value below {lowest:g}: the yeast would stop first.", lowest=lowest))
    return tuple(found)
