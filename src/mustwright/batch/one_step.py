"""One next step: what it holds, and how each kind of it is made into a sentence."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo

from mustwright import data
from mustwright.batch.alert import Finding
from mustwright.batch.clock import NOW, clock, day_words
from mustwright.batch.finishing_due import FinishingDue
from mustwright.batch.progress import Progress
from mustwright.batch.stopped_steps import Act
from mustwright.texts import Text, capital, say, uncapital


@dataclass(frozen=True)
class DoseNow:
    """A weighed amount of one nutrient."""

    nutrient: str
    name: str
    grams: float


@dataclass(frozen=True)
class NextStep:
    """The next thing to do.

    Parameters
    ----------
    kind : str
        ``pitch``, ``feed``, ``replan``, ``read``, ``check``, ``restart``, ``finish`` or ``none``.
    sentence : str
        All of it in one sentence.
    lead : str
        The same without clock time and reason.
    at, earliest, latest : datetime or None
        When, with its range (about 90 %); `at` is never before the moment it was made.
    gravity : float or None
        The one that triggers it.
    feed : str or None
        Key of the planned feed.
    is_due : bool
        Whether its moment has come by what is known now.
    finish : str or None
        The step of the finishing bench it leads to; empty for all of them.
    withdrawn : str
        The feeds of the plan that must not go in any more, by name.
    """

    kind: str
    sentence: str
    lead: str
    at: datetime | None
    earliest: datetime | None
    latest: datetime | None
    gravity: float | None
    doses: tuple[DoseNow, ...]
    why: str
    caution: str
    feed: str | None
    is_due: bool
    finish: str | None = None
    withdrawn: str = ""


def timed(lead: str, when: str, why: str) -> Text:
    """The sentence of a step: what to do, when, and one reason.

    Examples
    --------
    >>> timed("Read gravity", "today about 18:00", "one reading a day shows its pace")
    'Read gravity today about 18:00: one reading a day shows its pace.'
    """
    return capital(say("{lead} {when}: {why}.", context="next step", lead=lead, when=when, why=why))


def check_step(finding: Finding) -> NextStep:
    """What a finding asks to be checked or done, now."""
    if finding.act:
        lead = finding.act.rstrip(".")
        said = timed(lead, NOW, finding.why)
    else:
        check = uncapital(finding.check)
        lead = say("{title}: {check}", title=finding.title, check=check).rstrip(".")
        said = lead + "."
    return NextStep(
        "check", said, lead, None, None, None, None, (), finding.evidence, finding.do, None, True
    )


def act_step(act: Act, now: Progress, zone: tzinfo) -> NextStep:
    """What comes next for one that has stopped short, or is being restarted."""
    due = act.at is None or act.at <= now.now
    when = clock(act.at, now.now, zone) if act.at and not due else NOW
    said = (
        timed(act.lead, when, act.why)
        if act.timed
        else say("{lead}: {why}.", lead=act.lead, why=act.why)
    )
    return NextStep(
        act.kind, said, act.lead, None if due else act.at,
        None if due else act.at, None, act.gravity, (), act.why, act.caution, None, due, act.finish,
    )  # fmt: skip


def finish_step(due: FinishingDue, now: Progress, zone: tzinfo) -> NextStep:
    """A step of the finishing bench, or the reading that decides on it."""
    ahead = due.at is not None and due.at > now.now
    when = day_words(due.at, now.now, zone) if ahead and due.at else NOW
    at = max(due.at, now.now) if due.at is not None else None
    return NextStep(
        "finish" if due.at is None else "read", timed(due.lead, when, due.why), due.lead, at, at,
        None if at is None else at + timedelta(days=1), None, (), due.why,
        caution_text("pressure_glass") if due.pressure else "", None, not ahead, due.step,
    )  # fmt: skip


def reading_step(
    now: Progress,
    lead: str,
    sentence: str,
    why: str,
    at: datetime,
    gravity: float | None = None,
    feed: str | None = None,
) -> NextStep:
    """A reading: when, why, and of which feed it decides."""
    return NextStep(
        "read", sentence, lead, at, at, at + timedelta(hours=12), gravity, (), why,
        caution_text("carbon_dioxide_room"), feed, at <= now.now,
    )  # fmt: skip


def plain_step(
    kind: str, sentence: str, why: str, *, lead: str = "", caution: str = "", is_due: bool = False
) -> NextStep:
    """An action with nothing to weigh."""
    lead = lead or sentence.rstrip(".")
    return NextStep(kind, sentence, lead, None, None, None, None, (), why, caution, None, is_due)


def caution_text(name: str) -> str:
    """A caution by its name in ``data/cautions.toml``."""
    text: str = data.load("cautions")[name]["text"]
    return text
