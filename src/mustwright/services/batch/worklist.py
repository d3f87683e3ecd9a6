"""What is due today: every batch in one list, the worst first, from digests kept beside them."""

from __future__ import annotations

import time
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from typing import Any
from weakref import WeakKeyDictionary

from mustwright.batch.clock import clock
from mustwright.batch.view import BatchRecord
from mustwright.batch.view_json import digest_from, digest_of, is_closed, is_in_units
from mustwright.errors import MustwrightError
from mustwright.must.gravity_text import gravity_text
from mustwright.services.batch.batch_view import MakeOutlook, look
from mustwright.services.batch.cache import kept_beside
from mustwright.services.batch.repository import Ledger
from mustwright.texts import kept, say, uncapital
from mustwright.unit_system import UnitSystem, chosen

STALE = timedelta(hours=1)
SLOW_S = 0.04
HASTE_S = 0.05
SMALL, PATIENCE_S = 60, 1.0  # a cellar of up to this many batches is always brought up to date


@dataclass(frozen=True)
class DueItem:
    """One batch of the list.

    Parameters
    ----------
    rank : float
        0 to 200, for ordering.
    sentence : str
        What to do and when, in one line.
    stale : bool
        Whether the batch has moved on since this was worked out.
    beyond : tuple of str
        What went beyond law, labels or stock.
    is_trouble : bool
        Whether something is wrong with it, not only due.
    """

    slug: str
    name: str
    rank: float
    is_today: bool
    kind: str
    sentence: str
    phase: str
    gravity: float | None
    finding: str
    caution: str
    at: datetime | None
    stale: bool
    beyond: tuple[str, ...] = ()
    is_trouble: bool = False


@dataclass(frozen=True)
class DueList:
    """All batches that are going on: those due today, worst first, and the quiet ones."""

    today: tuple[DueItem, ...]
    later: tuple[DueItem, ...]
    closed: int
    stale: int


def due_today(
    ledger: Ledger,
    now: datetime,
    zone: tzinfo,
    *,
    budget_s: float | None = None,
    make_outlook: MakeOutlook | None = None,
) -> DueList:
    """What is due across all batches.

    Parameters
    ----------
    budget_s : float or None
        Time for updating outdated digests along the way [s]; the rest are marked stale and done by
        later calls or by `refresh`. None takes what a small cellar needs, little in a
        large one.
    """
    stamp = ledger.stamp()
    made = _lists.get(ledger)
    if made is not None and made.holds(stamp, now, zone) and made.units == chosen():
        return made.found
    began = time.monotonic()
    records = ledger.batches()
    is_small = len(records) <= SMALL
    if budget_s is None:
        budget_s = PATIENCE_S if is_small else HASTE_S
    if refresh(ledger, records, now, zone, budget_s=budget_s, make_outlook=make_outlook):
        records = ledger.batches()
    items, closed = [], 0
    for record in records:
        digest = digest_from(record.digest) if record.digest else None
        if digest is not None and is_closed(record.digest):
            closed += 1
            continue
        items.append(_item(record, digest, now, zone))
    items.sort(key=lambda i: (-i.rank, i.at or now, i.slug))
    today = tuple(i for i in items if i.is_today)
    later = tuple(i for i in items if not i.is_today)
    found = DueList(today, later, closed, sum(i.stale for i in items))
    took = 0.0 if is_small else time.monotonic() - began
    _lists[ledger] = _Kept(found, ledger.stamp(), now, zone, time.monotonic(), took, chosen())
    return found


@dataclass(frozen=True)
class _Kept:
    """A list worked out before."""

    found: DueList
    stamp: str
    now: datetime
    zone: tzinfo
    made_s: float
    took_s: float
    units: UnitSystem | None

    def holds(self, stamp: str, now: datetime, zone: tzinfo) -> bool:
        """Whether it can be shown again.

        Within the minute while nothing changed and nothing is stale; where working it out takes
        long, as in a cellar of thousands, for ten times that long, so that devices that post all
        the time do not make every look at the list work it out again.
        """
        if zone != self.zone or not timedelta(0) <= now - self.now < timedelta(minutes=1):
            return False
        same = stamp == self.stamp and not self.found.stale
        age = time.monotonic() - self.made_s
        return same or (self.took_s > SLOW_S and age < 10 * self.took_s)


_lists: WeakKeyDictionary[Ledger, _Kept] = WeakKeyDictionary()


def refresh(
    ledger: Ledger,
    records: list[BatchRecord],
    now: datetime,
    zone: tzinfo,
    *,
    budget_s: float,
    make_outlook: MakeOutlook | None = None,
) -> int:
    """Work out outdated digests again, those of changed batches first; how many were done."""
    old = [r for r in records if _is_old(r, now)]
    old.sort(key=lambda r: (r.digest_version == r.version, r.digest_at or r.updated_at))
    until = time.monotonic() + budget_s
    done = 0
    for record in old:
        if time.monotonic() > until:
            break
        try:
            view = look(ledger, record.slug, now, zone, make_outlook, urgent=False)
            if record.digest_version == record.version:
                kept_beside(
                    ledger.keep_digest,
                    record.slug,
                    view.record.version,
                    digest_of(view),
                    view.record.cellar,
                )
        except MustwrightError:
            continue
        done += 1
    return done


def renew_digest(ledger: Ledger, slug: str, now: datetime, zone: tzinfo) -> None:
    """Let the list know what a new forecast changes for a batch."""
    view = look(ledger, slug, now, zone, urgent=False)
    record = view.record
    kept_beside(ledger.keep_digest, slug, record.version, digest_of(view), record.cellar)


def _is_old(record: BatchRecord, now: datetime) -> bool:
    if record.digest_version != record.version or record.digest_at is None:
        return True
    if is_closed(record.digest):
        return False
    return now - record.digest_at > STALE or not is_in_units(record.digest or "")


def _item(
    record: BatchRecord, digest: dict[str, Any] | None, now: datetime, zone: tzinfo
) -> DueItem:
    stale = record.digest_version != record.version
    if digest is None:
        words = say("Not looked at yet.")
        return DueItem(
            record.slug, record.name, 1.0, False, "none", words, "", None, "", "", None, True
        )
    step, finding = digest["step"], digest["finding"]
    at = datetime.fromisoformat(step["at"]) if step["at"] else None
    is_due = step["is_due"] or (at is not None and step["kind"] != "feed" and at <= now)
    today = is_due or (at is not None and _is_today(at, now, zone))
    trouble = finding is not None and finding["severity"] >= 30
    step["lead"] = kept(step["lead"])  # of an earlier version, without how it was made
    sentence: str = _sentence(step, at, now, zone, is_due)
    caution: str = kept(step["caution"])
    if not is_in_units(record.digest or ""):  # there was no time to say it in the units chosen
        stale, sentence, caution = True, say("Open it to see the next step."), ""
    return DueItem(
        record.slug,
        record.name,
        _rank(step, finding, at, now, is_due),
        today or trouble,
        step["kind"],
        sentence,
        digest["phase"],
        digest["gravity"],
        kept(finding["title"]) if finding else "",
        caution,
        at,
        stale,
        tuple(map(kept, digest.get("beyond", ()))),
        trouble or bool(digest.get("beyond")),
    )


def _is_today(at: datetime, now: datetime, zone: tzinfo) -> bool:
    return at.astimezone(zone).date() <= now.astimezone(zone).date()


def _sentence(
    step: dict[str, Any], at: datetime | None, now: datetime, zone: tzinfo, is_due: bool
) -> str:
    if at is not None and at <= now and not is_due:  # it passed since the digest was made
        return say("Read gravity now, then: {step}.", step=uncapital(step["lead"]))
    if is_due or at is None:
        says_now = " now" in step["lead"]  # as in: add 5 g now, and read again
        if is_due and not says_now:
            return say("{step} now.", step=step["lead"])
        return say("{step}.", step=step["lead"])
    when = clock(at, now, zone)
    if step["gravity"]:
        return say(
            "{step} {when}, at gravity {gravity}.",
            step=step["lead"], when=when, gravity=gravity_text(step["gravity"]),
        )  # fmt: skip
    return say("{step} {when}.", step=step["lead"], when=when)


def _rank(
    step: dict[str, Any],
    finding: dict[str, Any] | None,
    at: datetime | None,
    now: datetime,
    is_due: bool,
) -> float:
    """Trouble first, then what is late, then what comes today."""
    rank = {"replan": 65.0, "feed": 55.0, "check": 60.0, "pitch": 40.0, "finish": 15.0}.get(
        step["kind"], 20.0
    )
    if not is_due:
        rank *= 0.3
    elif at is not None:
        rank += min(max((now - at).total_seconds() / 7200, 0.0), 20.0)
    if finding is not None and finding["severity"] >= 30:
        rank += finding["severity"] * (0.5 + finding["confidence"] / 2)
    return rank
