"""What a process remembers of the batches of a ledger, so that nothing is worked out twice.

Bounded, shared by all threads, and gone with the ledger.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Generic, TypeVar
from weakref import WeakKeyDictionary

from mustwright.cellar.foreseen import Foreseen, foreseen_from
from mustwright.cellar.log import Standing, standing
from mustwright.services.batch.port import BatchRecord, Ledger

V = TypeVar("V")
MOST_LINES = 60_000  # of logs, about 1 kB each
MOST_VIEWS = 128
MOST_FORECASTS = 512  # about 30 kB each


class Recent(Generic[V]):
    """The values asked for last, up to a total weight."""

    def __init__(self, most: float, weight: Callable[[V], float] = lambda _: 1.0) -> None:
        self._kept: OrderedDict[Hashable, tuple[V, float]] = OrderedDict()
        self._lock = threading.Lock()
        self._most, self._weight, self._total = most, weight, 0.0

    def get(self, key: Hashable) -> V | None:
        """What is kept under a key."""
        with self._lock:
            found = self._kept.get(key)
            if found is None:
                return None
            self._kept.move_to_end(key)
            return found[0]

    def keep(self, key: Hashable, value: V) -> None:
        """Keep a value; those asked for longest ago go."""
        weight = self._weight(value)
        with self._lock:
            self._drop(key)
            self._kept[key] = (value, weight)
            self._total += weight
            while self._total > self._most and len(self._kept) > 1:
                self._drop(next(iter(self._kept)))

    def drop(self, key: Hashable) -> None:
        """Forget a value."""
        with self._lock:
            self._drop(key)

    def _drop(self, key: Hashable) -> None:
        gone = self._kept.pop(key, None)
        self._total -= gone[1] if gone else 0.0


class Memory:
    """Logs as they stand, views and forecasts of one ledger."""

    def __init__(self) -> None:
        self._stands: Recent[tuple[int, tuple[Standing, ...]]] = Recent(
            MOST_LINES, lambda kept: len(kept[1]) + 1
        )
        self._forecasts: Recent[Foreseen] = Recent(MOST_FORECASTS)
        self._made: dict[str, int] = {}
        self.views: Recent[object] = Recent(MOST_VIEWS)

    def stands(self, ledger: Ledger, record: BatchRecord) -> tuple[Standing, ...]:
        """The log of a batch as it stands."""
        kept = self._stands.get(record.slug)
        if kept is not None and kept[0] == record.version:
            return kept[1]
        log = ledger.log(record.slug)
        found = standing(log)
        if log and log[-1].seq <= record.version:  # else it grew meanwhile: not this version's
            self._stands.keep(record.slug, (record.version, found))
        return found

    def forecast(self, ledger: Ledger, record: BatchRecord) -> Foreseen | None:
        """The forecast kept of a batch, which may be of an earlier version."""
        kept = self._forecasts.get(record.slug)
        if kept is not None and kept.version == record.version:
            return kept
        text = ledger.outlook(record.slug)
        found = foreseen_from(text) if text else None
        if found is not None and (kept is None or found.version > kept.version):
            self._forecasts.keep(record.slug, found)
            return found
        return kept

    def keep_forecast(self, slug: str, found: Foreseen) -> None:
        """Remember a forecast that was just made; views made without it are of no use."""
        self._forecasts.keep(slug, found)
        self._made[slug] = self._made.get(slug, 0) + 1

    def forecasts_made(self, slug: str) -> int:
        """How many forecasts of a batch this process has made."""
        return self._made.get(slug, 0)


_memories: WeakKeyDictionary[Ledger, Memory] = WeakKeyDictionary()
_lock = threading.Lock()


def memory_of(ledger: Ledger) -> Memory:
    """What this process remembers of a ledger."""
    with _lock:
        found = _memories.get(ledger)
        if found is None:
            found = _memories[ledger] = Memory()
        return found
