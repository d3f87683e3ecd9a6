"""Who works out the forecasts of batches: a thread behind the pages, the newest question first."""

from __future__ import annotations

import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING
from weakref import WeakKeyDictionary

from mustwright.batch.assessment import assess
from mustwright.batch.entries import Event
from mustwright.batch.finishing_record import StepDone
from mustwright.batch.forecast_record import Foreseen, foreseen_text
from mustwright.batch.kinetic_outlook import KineticOutlook, contradicts
from mustwright.batch.outlook import BatchOutlook, PaceOutlook
from mustwright.batch.ph_forecast_record import PhForeseen
from mustwright.batch.progress import CLOSED, FINISHING, Progress, progress, progress_of
from mustwright.batch.snapshot import Gist
from mustwright.batch.view import BatchRecord
from mustwright.batch.withdrawn_feeds import with_withdrawn
from mustwright.errors import MustwrightError
from mustwright.pages_first import PagesFirst
from mustwright.services.batch.cache import kept_beside, memory_of
from mustwright.services.batch.repository import Ledger
from mustwright.texts import say
from mustwright.time_budget import paced_by

if TYPE_CHECKING:
    from mustwright.planning.likeness import HouseFor

WORKING = say("forecast being worked out")
NOT_MET = say("the fermentation model does not meet these readings")
OLD_H = 12.0  # hours after which feeds still ahead make a forecast out of date
MOST_WAITING = 64
CALM_S = 60.0  # a batch that grows but is not looked at is worked out once in this time


@dataclass(frozen=True)
class Told:
    """The outlook a batch is followed with, and the forecast behind it.

    Parameters
    ----------
    foreseen : Foreseen or None
        What the fermentation model says; also where its readings are not met.
    pending : bool
        Whether a newer forecast is being worked out.
    ph : PhForeseen or None
        What the acid model says: kept while nothing but readings came since, so that its advice
        stays while a newer forecast is being worked out.
    """

    outlook: BatchOutlook
    foreseen: Foreseen | None
    pending: bool
    ph: PhForeseen | None = None


def told(
    ledger: Ledger,
    record: BatchRecord,
    gist: Gist,
    now: Progress,
    *,
    urgent: bool = True,
) -> Told:
    """The outlook for a batch now: the kept forecast where it fits the log, else the usual pace.

    Never works a forecast out itself; it asks the forecaster of the ledger to, where there is one.

    Parameters
    ----------
    urgent : bool
        Whether someone is looking at this batch.
    """
    if now.phase in (CLOSED, FINISHING):
        return Told(PaceOutlook(now), None, False)
    found = memory_of(ledger).forecast(ledger, record)
    is_new = found is not None and found.version == record.version and not _is_old(found, now)
    failed = ""
    pending = False
    worker = _forecasters.get(ledger)
    if not is_new and worker is not None:
        failed = worker.failure(record)
        pending = not failed and worker.ask(record.slug, urgent=urgent)
    unchanged = found is not None and gist.changed <= found.version
    ph = found.ph if found is not None and unchanged else None
    if found is None or not (is_new or _still_holds(found, gist, now)):
        return Told(PaceOutlook(now, failed or (WORKING if pending else "")), None, pending, ph)
    if not found.met:
        return Told(PaceOutlook(now, NOT_MET), found, pending, ph)
    return Told(KineticOutlook(now, found), found, pending, ph)


def is_awaited(ledger: Ledger, record: BatchRecord, *, urgent: bool) -> bool:
    """Whether a forecast of this version is still on its way; asks for it once more."""
    worker = _forecasters.get(ledger)
    return (
        worker is not None and not worker.failure(record) and worker.ask(record.slug, urgent=urgent)
    )


def _is_old(found: Foreseen, now: Progress) -> bool:
    """Whether the forecast took feeds as given long ago that still are not."""
    ahead = any(s.state == "ahead" for s in now.feeds)
    return ahead and (now.hours or 0.0) > found.from_h + OLD_H


def _still_holds(found: Foreseen, gist: Gist, now: Progress) -> bool:
    """Whether nothing came since but notes, and readings that the forecast had foreseen."""
    return (
        gist.changed <= found.version
        and found.plan == now.plan.number
        and not contradicts(found, now.points)
    )


def work_out(
    ledger: Ledger, slug: str, now: datetime, house: HouseFor | None = None
) -> Foreseen | None:
    """Work out a batch's forecast and keep it; None for a batch that is closed.

    Takes a tenth of a second or two, and seconds in a new process.

    Parameters
    ----------
    house : callable or None
        Gives what the maker's finished batches say of such a fermentation.

    Raises
    ------
    InputError, ImpossibleError
        Where its must cannot be forecast.
    MissingRecordError
    """
    from mustwright.batch.forecast import foresee

    record = ledger.batch(slug)
    memory = memory_of(ledger)
    stands = memory.stands(ledger, record)
    live = [s for s in stands if not s.removed]
    state = progress(live, now)
    if state.phase in (CLOSED, FINISHING):
        return None
    events = [s for s in live if isinstance(s.what, Event | StepDone) and s.at <= now]
    state = with_withdrawn(state, assess(state, events))
    found = foresee(state, live, record.version, house=house)
    kept_beside(ledger.keep_outlook, slug, record.version, foreseen_text(found), record.cellar)
    memory.keep_forecast(record, found)
    return found


class Forecaster:
    """Works forecasts out, one at a time.

    Parameters
    ----------
    ledger : Ledger
    clock : callable
        Gives the present moment.
    after : callable or None
        Called with the short name of each batch whose forecast is new.
    house : callable or None
        Gives what the maker's finished batches say, as of now.
    closed : callable or None
        Called with the short name of each closed batch whose log has grown.
    turns : PagesFirst or None
        Knows whether anybody waits for an answer; those come first.
    """

    def __init__(
        self,
        ledger: Ledger,
        clock: Callable[[], datetime],
        after: Callable[[str], None] | None = None,
        *,
        house: Callable[[], HouseFor] | None = None,
        closed: Callable[[str], None] | None = None,
        turns: PagesFirst | None = None,
    ) -> None:
        self._ledger, self._clock, self._after = ledger, clock, after
        self._house, self._closed = house, closed
        self._urgent: OrderedDict[str, None] = OrderedDict()
        self._calm: OrderedDict[str, float] = OrderedDict()  # not before this moment
        self._made: dict[str, tuple[tuple[str, int], float]] = {}  # cellar and version, when
        self._failed: dict[str, tuple[tuple[str, int], str]] = {}
        self._busy = ""
        self._turns = turns or PagesFirst()
        self._change = threading.Condition()
        self._ended = False
        self._thread: threading.Thread | None = None

    def start(self) -> None:
        """Begin, once the kernel is compiled; also for batches whose log grows from now on."""
        _forecasters[self._ledger] = self
        self._turns.end(False)
        self._ledger.listen(self._grew)
        self._thread = threading.Thread(target=self._run, name="forecast batches", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """End after the current job."""
        with self._change:
            self._ended = True
            self._change.notify_all()
        self._turns.end()
        if self._thread is not None:
            self._thread.join(timeout=10)
        if _forecasters.get(self._ledger) is self:
            del _forecasters[self._ledger]

    def ask(self, slug: str, *, urgent: bool) -> bool:
        """Put a batch on the list; whether it will be worked out before long."""
        with self._change:
            if self._ended:
                return False
            if urgent:
                self._urgent[slug] = None
                self._urgent.move_to_end(slug)
                self._calm.pop(slug, None)
                while len(self._urgent) > MOST_WAITING:
                    self._urgent.popitem(last=False)
            elif slug not in self._urgent and len(self._calm) < MOST_WAITING:
                last = self._made.get(slug, (("", 0), -CALM_S))[1]
                self._calm.setdefault(slug, last + CALM_S)
            self._change.notify_all()
            return slug in self._urgent or slug in self._calm or slug == self._busy

    def _grew(self, slug: str) -> None:
        self.ask(slug, urgent=False)

    def failure(self, record: BatchRecord) -> str:
        """Why a batch of this version has no forecast; empty if none was tried and failed."""
        tried, message = self._failed.get(record.slug, (("", -1), ""))
        return message if tried == (record.cellar, record.version) else ""

    def _run(self) -> None:
        from mustwright.kinetics.ready import is_ready, leave_a_core

        while not is_ready() and not self._ended:
            time.sleep(0.1)
        if not self._ended:
            leave_a_core()
        while (slug := self._next()) is not None:
            self._turns.begin()
            with paced_by(self._turns.give_way):
                self._work(slug)
            self._turns.give_way()

    def _next(self) -> str | None:
        """The batch asked for last, else the next of those that grew; None at the end."""
        with self._change:
            while not self._ended:
                now = time.monotonic()
                if self._urgent:
                    self._busy = self._urgent.popitem()[0]
                    return self._busy
                due = [slug for slug, when in self._calm.items() if when <= now]
                if due:
                    self._busy = due[0]
                    del self._calm[due[0]]
                    return self._busy
                soonest = min(self._calm.values(), default=None)
                self._change.wait(None if soonest is None else soonest - now)
            return None

    def _work(self, slug: str) -> None:
        try:
            record = self._ledger.batch(slug)
        except MustwrightError:  # deleted meanwhile
            self._busy = ""
            return
        version = record.cellar, record.version
        if self._just_made(slug, version):  # asked for again while it was being worked out
            self._busy = ""
            return
        try:
            house = None if self._house is None else self._house()
            made = work_out(self._ledger, slug, self._clock(), house)
            if made is None and self._closed is not None and self._is_closed(slug):
                self._closed(slug)
            if made is not None and self._after is not None:
                self._after(slug)
        except MustwrightError as error:
            self._failed[slug] = (version, say("no forecast: {error}", error=error.text))
        except Exception as error:  # whatever went wrong, the next batch is worked out
            self._failed[slug] = (version, say("no forecast: {name}", name=type(error).__name__))
            raise_in_log(error)
        finally:
            self._made[slug] = (version, time.monotonic())
            self._busy = ""

    def _is_closed(self, slug: str) -> bool:
        record = self._ledger.batch(slug)
        gist = memory_of(self._ledger).gist(self._ledger, record)
        return progress_of(gist, self._clock()).phase == CLOSED

    def _just_made(self, slug: str, version: tuple[str, int]) -> bool:
        last, when = self._made.get(slug, (("", -1), 0.0))
        return last == version and time.monotonic() - when < CALM_S


def raise_in_log(error: Exception) -> None:
    """To the terminal, with where it happened."""
    import traceback

    traceback.print_exception(error)


_forecasters: WeakKeyDictionary[Ledger, Forecaster] = WeakKeyDictionary()
