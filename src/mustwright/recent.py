"""What was asked for last, up to a total weight: nothing is worked out twice, or kept for ever."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Generic, TypeVar

V = TypeVar("V")


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
        """Keep a value, and drop those asked for longest ago."""
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
