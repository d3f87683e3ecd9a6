"""What a search for a plan found, as text and as protocol files."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from mustwright.errors import InputError
from mustwright.planning.days_text import days_number
from mustwright.texts import join, literal, say

if TYPE_CHECKING:
    from mustwright.nutrition.feeding_plan import Feed
    from mustwright.planning.outcome import Outcome
    from mustwright.planning.tailored import TailoredPlan


def write_protocols(found: Sequence[TailoredPlan], folder: Path) -> None:
    """Each plan found as a protocol file."""
    from mustwright.nutrition.protocols import read_protocol

    try:
        folder.mkdir(parents=True, exist_ok=True)
        for one in found:
            name = f"{read_protocol(one.protocol_file).id}.toml"
            (folder / name).write_text(one.protocol_file, encoding="utf-8")
    except OSError as error:
        raise InputError(
            "--tailor-into", say("needs a folder that can be written"), str(error)
        ) from None


def doses_said(feed: Feed) -> str:
    """What goes in, in grams; in level teaspoons beside them where the label tells their weight."""
    from mustwright.nutrition.feed_items import about_teaspoons

    doses = [
        say("{grams:g} g {name}", grams=one.grams.value, name=one.name)
        + about_teaspoons(one.teaspoons.value if one.teaspoons else None)
        for one in feed.items
    ]
    return join(", ", doses) if doses else say("nothing")


_DRY = literal("  Dry about day {day}, stops short in {chance:.0%} of runs")
_NEVER = literal("  Not dry in most runs, stops short in {chance:.0%} of runs")


def sweet_line(outcome: Outcome) -> str:
    """How many runs end at the limit of their yeast."""
    return say(
        "  Stops sweet at its yeast's limit: {share:.0%} of runs", share=outcome.stops_sweet.value
    )


def tailored_lines(found: Sequence[TailoredPlan]) -> list[str]:
    """What a search found, one paragraph a result."""
    if not found:
        return [say("Tailored: no plan within every limit does as well as a protocol.")]
    lines: list[str] = [
        say("Tailored to this must (search; judged on other runs than it was found on)")
    ]
    for one in found:
        lines += ["", say("  {words}", words=one.words)]
        dry = one.outcome.days_to_dry.value
        wording = _DRY if dry < 1e5 else _NEVER
        lines.append(
            wording.format(
                day=days_number(dry),
                chance=one.outcome.chance_of_sticking.value,
            )
        )
        if one.outcome.may_stop_sweet:
            lines.append(sweet_line(one.outcome))
        for feed in one.plan.feeds:
            lines.append(
                say("    {trigger}: {doses}", trigger=feed.trigger, doses=doses_said(feed))
            )
        if one.plan.salt is not None and one.plan.salt.parts:
            lines.append(
                say(
                    "    {salt}: {words}",
                    salt=one.plan.salt.name,
                    words=one.plan.salt.words,
                )
            )
    return lines
