"""Who works out the forecasts of batches: a thread behind the pages, the newest question first."""

from __future__ import annotations

import threading
import time
from collections import OrderedDict, deque
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING
from weakref import WeakKeyDictionary

from mustwright.batch.forecast_record import Foreseen, foreseen_text
from mustwright.batch.kinetic_outlook import KineticOutlook, contradicts
from mustwright.batch.outlook import BatchOutlook, PaceOutlook
from mustwright.batch.progress import CLOSED, FINISHING, Progress, progress, progress_of
from mustwright.batch.snapshot import Gist
from mustwright.batch.view import BatchRecord
from mustwright.errors import MustwrightError
from mustwright.services.batch.cache import memory_of
from mustwright.services.batch.repository import Ledger

if TYPE_CHECKING:
    from mustwright.planning.likeness import HouseFor

WORKING = "forecast being worked out"
NOT_MET = "the fermentation model does not meet these readings"
OLD_H = 12.0  # hours after which feeds still ahead make a forecast out of date
MOST_WAITING = 64
CALM_S = 60.0  # a batch that grows but is not looked at is worked out once in this time
REST, LONG_REST = 1.0, 100.0  # times the last job, when quiet and in a rush: pages come first
RUSH = 20  # pages within a second: no maker looks at that many, but a program does
LOOK_UP_S = 1.0  # between two looks whether a rush is over


@dataclass(frozen=True)
class Told:
    """The outlook a batch is followed with, and the forecast behind it.

    Parameters
    ----------
    foreseen : Foreseen or None
        What the fermentation model says; also where its readings are not met.
    pending : bool
        Whether a newer forecast is being worked out.
    """

    outlook: BatchOutlook
    foreseen: Foreseen | None
    pending: bool


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
    pages_come_first(ledger)
    worker = _forecasters.get(ledger)
    if not is_new and worker is not None:
        failed = worker.failure(record)
        pending = not failed and worker.ask(record.slug, urgent=urgent)
    if found is None or not (is_new or _still_holds(found, gist, now)):
        return Told(PaceOutlook(now, failed or (WORKING if pending else "")), None, pending)
    if not found.met:
        return Told(PaceOutlook(now, NOT_MET), found, pending)
    return Told(KineticOutlook(now, found), found, pending)


def pages_come_first(ledger: Ledger) -> None:
    """Note that a page is asked for; when many are, forecasts wait."""
    worker = _forecasters.get(ledger)
    if worker is not None:
        worker.looked()


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
    found = foresee(state, live, record.version, house=house)
    ledger.keep_outlook(slug, record.version, foreseen_text(found))
    memory.keep_forecast(slug, found)
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
    """

    def __init__(
        self,
        ledger: Ledger,
        clock: Callable[[], datetime],
        after: Callable[[str], None] | None = None,
        *,
        house: Callable[[], HouseFor] | None = None,
        closed: Callable[[str], None] | None = None,
    ) -> None:
        self._ledger, self._clock, self._after = ledger, clock, after
        self._house, self._closed = house, closed
        self._urgent: OrderedDict[str, None] = OrderedDict()
        self._calm: OrderedDict[str, float] = OrderedDict()  # not before this moment
        self._made: dict[str, tuple[int, float]] = {}
        self._failed: dict[str, tuple[int, str]] = {}
        self._busy = ""
        self._looks: deque[float] = deque(maxlen=RUSH)
        self._worked: tuple[float, float] = (0.0, 0.0)  # when the last job ended, how long it took
        self._stop = threading.Event()
        self._change = threading.Condition()
        self._ended = False
        self._thread: threading.Thread | None = None

    def start(self) -> None:
        """Begin, once the kernel is compiled; also for batches whose log grows from now on."""
        _forecasters[self._ledger] = self
        self._ledger.listen(self._grew)
        self._thread = threading.Thread(target=self._run, name="forecast batches", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """End after the current job."""
        with self._change:
            self._ended = True
            self._change.notify_all()
        self._stop.set()
        if self._thread is not None:
            self._thread.join(timeout=10)
        if _forecasters.get(self._ledger) is self:
            del _forecasters[self._ledger]

    def looked(self) -> None:
        """Note that a page was asked for."""
        self._looks.append(time.monotonic())

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
                last = self._made.get(slug, (0, -CALM_S))[1]
                self._calm.setdefault(slug, last + CALM_S)
            self._change.notify_all()
            return slug in self._urgent or slug in self._calm or slug == self._busy

    def _grew(self, slug: str) -> None:
        self.ask(slug, urgent=False)

    def failure(self, record: BatchRecord) -> str:
        """Why a batch of this version has no forecast; empty if none was tried and failed."""
        version, message = self._failed.get(record.slug, (-1, ""))
        return message if version == record.version else ""

    def _run(self) -> None:
        from mustwright.kinetics.ready import is_ready, leave_a_core

        while not is_ready() and not self._ended:
            time.sleep(0.1)
        if not self._ended:
            leave_a_core()
        while (slug := self._next()) is not None:
            began = time.monotonic()
            self._work(slug)
            ended = time.monotonic()
            self._worked = ended, ended - began
            while (left := self._rest_s(time.monotonic())) > 0 and not self._ended:
                self._stop.wait(min(left, LOOK_UP_S))

    def _rest_s(self, now: float) -> float:
        """How long the pages still get the processor to themselves: longer while a rush lasts."""
        in_a_rush = len(self._looks) == RUSH and now - self._looks[0] < 1.0
        ended, worked_s = self._worked
        return ended + worked_s * (LONG_REST if in_a_rush else REST) - now

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
            version = self._ledger.batch(slug).version
        except MustwrightError:  # deleted meanwhile
            self._busy = ""
            return
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
            self._failed[slug] = (version, f"no forecast: {error}")
        except Exception as error:  # whatever went wrong, the next batch is worked out
            self._failed[slug] = (version, f"no forecast: {type(error).__name__}")
            raise_in_log(error)
        finally:
            self._made[slug] = (version, time.monotonic())
            self._busy = ""

    def _is_closed(self, slug: str) -> bool:
        record = self._ledger.batch(slug)
        gist = memory_of(self._ledger).gist(self._ledger, record)
        return progress_of(gist, self._clock()).phase == CLOSED

    def _just_made(self, slug: str, version: int) -> bool:
        last, when = self._made.get(slug, (-1, 0.0))
        return last == version and time.monotonic() - when < CALM_S


def raise_in_log(error: Exception) -> None:
    """To the terminal, with where it happened."""
    import traceback

    traceback.print_exception(error)


_forecasters: WeakKeyDictionary[Ledger, Forecaster] = WeakKeyDictionary()
