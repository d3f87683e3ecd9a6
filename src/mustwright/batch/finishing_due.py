"""Which step of the finishing bench is due for a batch that is dry, or being finished."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo

from mustwright.batch.alert import Finding
from mustwright.batch.assessment import AT_END, FINISHED, Assessment
from mustwright.batch.log import Standing, is_event
from mustwright.batch.progress import FINISHING, Progress
from mustwright.batch.stability import Settled, settled
from mustwright.batch.too_soon import BottledAs, bottling_facts, is_standing, too_soon
from mustwright.batch.vessel import steps_done
from mustwright.must.gravity_text import gravity_text
from mustwright.texts import say


@dataclass(frozen=True)
class FinishingDue:
    """A step of the bench that is due.

    Parameters
    ----------
    step : str
        The page of the bench; empty for all of them.
    lead, why : str
        What to do, and why.
    at : datetime or None
        When, if not now.
    pressure : bool
        Whether the caution on bottles belongs beside it.
    """

    step: str
    lead: str
    why: str
    at: datetime | None = None
    pressure: bool = False


def finishing_due(
    now: Progress,
    findings: Sequence[Finding],
    stands: Sequence[Standing],
    zone: tzinfo,
    of: Assessment,
) -> FinishingDue | None:
    """The step that is due; None while it ferments, or too little was read to say."""
    if now.phase == FINISHING:
        return _after_sweetening(now, stands, zone)
    proven = any(f.rule in ("finished", "settled") and f.sure for f in findings)
    if not proven and of.phase not in (AT_END, FINISHED):
        return None
    judged = settled(now, stands, zone)
    if not proven or judged is None:
        return _not_yet(judged, of)
    due = _settled(judged, stands)
    return due if due.step else _unsafe(now, stands, zone) or due


def _unsafe(now: Progress, stands: Sequence[Standing], zone: tzinfo) -> FinishingDue | None:
    """What has to be made safe before a bottle is closed; thin glass is asked about there."""
    facts = bottling_facts(now, stands, zone)
    error = too_soon(facts, BottledAs())
    if error is None or error.field != "stabilised":
        return None
    why = (
        say("it holds sugar that yeast can eat, and nothing in the log stops the yeast")
        if is_standing(facts)
        else say("gravity has not been shown to be steady since the last addition")
    )
    return FinishingDue("stable", say("Make it safe before you bottle it"), why, pressure=True)


def _not_yet(judged: Settled | None, of: Assessment) -> FinishingDue | None:
    """It looks dry: when to read again before it can be judged."""
    if judged is None or judged.is_settled:  # too few readings, or too cold to prove anything
        return None
    still = of.stood_h < 24 and judged.found.verdict == "moving"
    why = (
        say("gravity still falls a little") if still
        else say("two weeks at one gravity in the warm prove that it is stable")
    )  # fmt: skip
    return FinishingDue("stable", say("Read gravity and temperature"), why, judged.next_check)


def _settled(judged: Settled, stands: Sequence[Standing]) -> FinishingDue:
    found = judged.found
    level, watched = found.gravity_now.value, found.days_watched.value
    days = say(
        "gravity has been steady at {gravity} for {days:.0f} days",
        gravity=gravity_text(level),
        days=watched,
    )
    if not any(is_event(s, "racked") and s.at >= _start(judged) for s in stands):
        return FinishingDue("rack", say("Rack it off the lees"), days, pressure=True)
    if not any(is_event(s, "sulfited") for s in stands):
        return FinishingDue("sulfite", say("Work out its sulfite"), say("racking has let air in"))
    if not any(is_event(s, "sorbated") for s in stands) and not found.bottle_still:
        return FinishingDue(
            "stable",
            say("Prove that it is dry by a sugar test, or stabilise it with sorbate"),
            say("gravity is steady, but it is not known whether the sugar left can ferment"),
            pressure=True,
        )
    return FinishingDue(
        "",
        say("Sweeten, blend, make it sparkle, or bottle it"),
        say("gravity is steady and sulfite is in it"),
        pressure=True,
    )


def _start(judged: Settled) -> datetime:
    """A day before the first reading of the stretch that stood still."""
    return judged.last_read - timedelta(days=judged.found.days_watched.value + 1)


def _after_sweetening(
    now: Progress, stands: Sequence[Standing], zone: tzinfo
) -> FinishingDue | None:
    """Sweetened or blended: a week's look, then the bottle."""
    judged = settled(now, stands, zone)
    changed = steps_done(stands)[-1][0]
    reads = now.later[now.later.until(changed) :]
    if not reads:
        return FinishingDue(
            "stable", say("Read gravity, warm"),
            say("this and a reading a week later show whether the addition ferments"),
        )  # fmt: skip
    days = (reads[-1].at - reads[0].at).total_seconds() / 86400
    if days < 6 or judged is None:
        return FinishingDue(
            "stable", say("Read gravity again"),
            say("after a week it shows whether the addition ferments"),
            reads[0].at + timedelta(days=7),
        )  # fmt: skip
    unsafe = _unsafe(now, stands, zone)
    if unsafe is not None:
        return unsafe
    return FinishingDue(
        "bottle", say("Bottle it, or make it sparkle in a keg"),
        say("gravity has been steady for {days:.0f} days since it was finished", days=days),
        pressure=True,
    )  # fmt: skip
