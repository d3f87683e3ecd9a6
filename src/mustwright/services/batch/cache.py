"""What a process remembers of the batches of a ledger, so that nothing is worked out twice.

Bounded, shared by all threads, and gone with the ledger. What is kept carries the identity of the
cellar it comes from: once a copy was restored, nothing of the old one is found.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Hashable
from contextlib import suppress
from typing import Any, ParamSpec, TypeVar
from weakref import WeakKeyDictionary

from mustwright.batch.forecast_record import Foreseen, foreseen_from
from mustwright.batch.log import Standing, standing
from mustwright.batch.snapshot import Gist, brought_forward, gist_bytes, gist_from, gist_of
from mustwright.batch.view import BatchRecord
from mustwright.recent import Recent
from mustwright.services.batch.repository import Ledger
from mustwright.services.repository import CellarAwayError, UnwritableError

V = TypeVar("V")
MOST_LINES = 30_000  # of logs, about 1 kB each
MOST_GIST_BYTES = 96e6
PLAN_BYTES = 25_000  # of a plan in memory
STORE_AFTER = 16  # lines: a gist is saved beside the log again once it is this far ahead
MOST_NEW = 200  # lines a gist is updated by; beyond that the log is read again
MOST_VIEWS = 2048  # good for a minute
VIEW_BYTES = 17_000  # about, of a view with what its page tells
MOST_ENDS = 2048  # of logs, a few lines each, about 8 kB
MOST_FORECASTS = 1024  # about 30 kB each
MOST_FOR_ALL = 8  # of what was worked out from all batches together
MOST_PAGE_BYTES = 24e6  # of pages of musts, 40 to 60 kB each
MOST_SHOWN_BYTES = 96e6  # of pages of batches, about 43 kB each, with what they tell of
LOOK_AGAIN_S = 30.0  # for a forecast another process may have kept


class Memory:
    """Logs as they stand, gists, views and forecasts of one ledger, and pages made of its cellar.

    Attributes
    ----------
    views : Recent
        Of batches, good for a minute.
    ends : Recent
        Newest lines of batches, each with what they depend on.
    for_all : Recent
        What was worked out from all batches together, by name, with what it depends on.
    pages : Recent
        Pages by all that they depend on.
    shown : Recent
        Pages, each with what it tells of; each knows about how many bytes it takes.
    """

    def __init__(self) -> None:
        self._stands: Recent[tuple[int, tuple[Standing, ...]]] = Recent(
            MOST_LINES, lambda kept: len(kept[1]) + 1
        )  # all by cellar and short name
        self._gists: Recent[tuple[Gist, int]] = Recent(
            MOST_GIST_BYTES, lambda kept: kept[0].size_bytes + PLAN_BYTES
        )
        self._forecasts: Recent[tuple[Foreseen | None, float]] = Recent(MOST_FORECASTS)
        self._made: dict[str, int] = {}
        self._making: dict[str, threading.RLock] = {}
        self.views: Recent[object] = Recent(MOST_VIEWS)
        self.ends: Recent[tuple[Hashable, Any]] = Recent(MOST_ENDS)
        self.for_all: Recent[Any] = Recent(MOST_FOR_ALL)
        self.pages: Recent[bytes] = Recent(MOST_PAGE_BYTES, len)
        self.shown: Recent[Any] = Recent(
            MOST_SHOWN_BYTES, lambda kept: kept.size_bytes + VIEW_BYTES
        )

    def stands(self, ledger: Ledger, record: BatchRecord) -> tuple[Standing, ...]:
        """The log of a batch as it stood at this version."""
        kept = self._stands.get(_key(record))
        if kept is not None and kept[0] == record.version:
            return kept[1]
        lines = ledger.log(record.slug)
        found = standing([e for e in lines if e.seq <= record.version])
        self._stands.keep(_key(record), (record.version, found))
        return found

    def gist(self, ledger: Ledger, record: BatchRecord) -> Gist:
        """The gist of a batch's log at this version, updated from an older one if that is enough.

        From memory, else from beside the log, else from the log; kept beside it again once it has
        grown by a twentieth.
        """
        kept, stored = self._gists.get(_key(record)) or (None, 0)
        if kept is not None and kept.version == record.version:
            return kept
        if kept is None and (beside := ledger.gist(record.slug)) is not None:
            kept = gist_from(*beside)
            stored = kept.version if kept is not None else 0
        found = self._brought_forward(ledger, record, kept) if kept is not None else None
        if found is None:
            found = gist_of(self.stands(ledger, record), record.version)
        if _worth_storing(found, stored):
            kept_beside(
                ledger.keep_gist, record.slug, record.version, gist_bytes(found), record.cellar
            )
            stored = record.version
        self._gists.keep(_key(record), (found, stored))
        return found

    def _brought_forward(self, ledger: Ledger, record: BatchRecord, kept: Gist) -> Gist | None:
        if kept.version == record.version:
            return kept
        if kept.version > record.version:
            return None
        new = ledger.log(record.slug, after=kept.version, most=MOST_NEW)
        if len(new) == MOST_NEW:
            return None
        return brought_forward(kept, [e for e in new if e.seq <= record.version], record.version)

    def forecast(self, ledger: Ledger, record: BatchRecord) -> Foreseen | None:
        """The forecast kept for a batch, possibly of an earlier version."""
        kept = self._forecasts.get(_key(record))
        if kept is not None:
            found, looked = kept
            is_new = found is not None and found.version == record.version
            if is_new or time.monotonic() - looked < LOOK_AGAIN_S:
                return found
        text = ledger.outlook(record.slug)
        found = foreseen_from(text) if text else None
        self._forecasts.keep(_key(record), (found, time.monotonic()))
        return found

    def keep_forecast(self, record: BatchRecord, found: Foreseen) -> None:
        """Remember a forecast that was just made; views made without it are of no use."""
        self._forecasts.keep(_key(record), (found, time.monotonic()))
        self._made[record.slug] = self._made.get(record.slug, 0) + 1

    def making(self, name: str) -> threading.RLock:
        """Held by the thread that works something out from all batches."""
        return self._making.setdefault(name, threading.RLock())

    def forecasts_made(self, slug: str) -> int:
        """How many forecasts of a batch this process has made."""
        return self._made.get(slug, 0)


def _key(record: BatchRecord) -> tuple[str, str]:
    return record.cellar, record.slug


P = ParamSpec("P")


def kept_beside(keep: Callable[P, object], *given: P.args, **named: P.kwargs) -> None:
    """Keep what can be made again; where the cellar cannot be written, go on without."""
    with suppress(UnwritableError, CellarAwayError):
        keep(*given, **named)


def _worth_storing(gist: Gist, stored: int) -> bool:
    """Whether the gist kept beside the log, of version `stored`, has fallen far behind."""
    behind = gist.version - stored
    return gist.changed > stored or behind > max(STORE_AFTER, 0.05 * gist.series.at_us.size)


def for_all(ledger: Ledger, name: str, depends_on: Hashable, make: Callable[[], V]) -> V:
    """What is worked out from all batches together, once while what it depends on is the same.

    Parameters
    ----------
    depends_on : hashable
        Such as the ledger's stamp, which changes with any batch.
    make : callable
        Works it out.
    """
    memory = memory_of(ledger)
    held: tuple[Hashable, V] | None = memory.for_all.get(name)
    if held is not None and held[0] == depends_on:
        return held[1]
    with memory.making(name):  # whoever asks meanwhile waits for it
        held = memory.for_all.get(name)
        if held is None or held[0] != depends_on:
            held = depends_on, make()
            memory.for_all.keep(name, held)
    return held[1]


def every_batch(ledger: Ledger, stamp: str) -> list[BatchRecord]:
    """Every batch that is not deleted, read once for a stamp of the ledger; not to be changed."""
    return for_all(ledger, "batches", stamp, ledger.batches)


_memories: WeakKeyDictionary[Ledger, Memory] = WeakKeyDictionary()
_lock = threading.Lock()


def memory_of(ledger: Ledger) -> Memory:
    """What this process remembers of a ledger."""
    with _lock:
        found = _memories.get(ledger)
        if found is None:
            found = _memories[ledger] = Memory()
        return found
