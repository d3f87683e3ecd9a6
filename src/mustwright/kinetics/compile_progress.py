"""How far is the first compiling of the kernel, and how long will it still take."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

from mustwright.how_far import Progress, StoppedError, go_on
from mustwright.texts import say

# Share of the whole time at which a function is compiled, by its name, in order: our own
# measurement, one run with an empty cache on 2026-11-29 (44 s on two busy cores). It only moves a
# progress bar; wrong shares make it jump.
SHARES: Mapping[str, float] = MappingProxyType(
    {
        "left_of_sugar": 0.12,
        "_rates": 0.17,
        "_decays": 0.19,
        "run_blocks": 0.82,
        "solve": 0.93,
        "needed": 1.0,
    }
)
USUAL_S = 40.0  # until the first share is known
# Always compiled, unlike the small ones, which a second attempt may find done.
ALWAYS = ("run_blocks", "solve", "needed")
HELD_BACK = 0.01  # before the share of one of these, while it is not reached


@dataclass
class CompileProgress:
    """Listens to the compiler of one thread.

    Parameters
    ----------
    is_stopped : callable
        Asked before and after each function; where it says yes the compiling ends.
    clock : callable
        Seconds that only go up.
    told : callable
        Called with how far it is whenever a share is reached.
    """

    is_stopped: Callable[[], bool]
    clock: Callable[[], float] = time.monotonic
    told: Progress = go_on
    reached: float = 0.0
    _thread: int = field(default_factory=threading.get_ident)
    _began: float = 0.0
    _reached_at: float = 0.0

    def __post_init__(self) -> None:
        self._began = self._reached_at = self.clock()

    def compiled(self, name: str) -> None:
        """Note that a function is compiled."""
        if SHARES.get(name, 0.0) > self.reached:
            self.reached, self._reached_at = SHARES[name], self.clock()
            self.told(self.reached)

    def part(self) -> float:
        """How far it is, 0 to 1; between two shares by the time that went by."""
        ahead = next((SHARES[name] for name in ALWAYS if SHARES[name] > self.reached), 1.0)
        guessed = self.reached + (self.clock() - self._reached_at) / self._whole_s()
        return min(guessed, max(ahead - HELD_BACK, self.reached))

    def left_s(self) -> float:
        """How long it will still take, by what it took so far [s]."""
        return (1.0 - self.part()) * self._whole_s()

    def _whole_s(self) -> float:
        if not self.reached:
            return USUAL_S
        return max(self._reached_at - self._began, 0.1) / self.reached

    def heard(self, event: Any) -> None:
        """An event of the compiler; those of other threads are not ours.

        Raises
        ------
        StoppedError
        """
        if threading.get_ident() != self._thread:
            return
        if self.is_stopped():
            raise StoppedError(say("Compiling was stopped."))
        function = getattr((event.data or {}).get("dispatcher"), "py_func", None)
        if event.is_end and function is not None:
            self.compiled(function.__name__)


def listening(progress: CompileProgress) -> Any:
    """A context in which the compiler of Numba tells `progress` what it does."""
    from numba.core import event

    return event.install_listener("numba:compile", _listener(progress))


def listen_from_now(progress: CompileProgress) -> None:
    """The same until the process ends."""
    from numba.core import event

    event.register("numba:compile", _listener(progress))  # type: ignore[no-untyped-call]


def _listener(progress: CompileProgress) -> Any:
    from numba.core import event

    class Listener(event.Listener):
        def on_start(self, one: Any) -> None:
            progress.heard(one)

        def on_end(self, one: Any) -> None:
            progress.heard(one)

    return Listener()
