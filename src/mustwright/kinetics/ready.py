"""Is the kernel compiled? The first use of a new installation compiles it (seconds)."""

from __future__ import annotations

import os
import threading
from collections.abc import Callable
from pathlib import Path

from mustwright.how_far import StoppedError
from mustwright.kinetics.compile_progress import USUAL_S, CompileProgress, listening

COMPILED = "compiled"  # folder under the maker's data where the source's own cannot be written

PACKAGE = Path(__file__).parents[1]
COMPILED_MODULES = ("kinetics/ensemble", "must/acidity/kernel")

_LOCK = threading.Lock()
_READY = threading.Event()
_FAILED = threading.Event()
_STOPPED = threading.Event()
_watched: list[CompileProgress] = []  # the compiling that goes on, if one does


def is_ready() -> bool:
    """Whether `warm_up` has finished in this process."""
    return _READY.is_set()


def state() -> str:
    """``ready``, ``compiling`` (or not yet begun), ``stopped`` or ``failed``."""
    if _READY.is_set():
        return "ready"
    if _STOPPED.is_set():
        return "stopped"
    return "failed" if _FAILED.is_set() else "compiling"


def how_far() -> tuple[float, float]:
    """How far the compiling is (0 to 1), and how long it will still take [s]."""
    watched = _watched[-1:]
    return (watched[0].part(), watched[0].left_s()) if watched else (0.0, USUAL_S)


def stop_compiling() -> None:
    """End the compiling after the function it is at; pages and commands do without forecasts."""
    if not _READY.is_set():
        _STOPPED.set()


def cache_folder(home: Path) -> Path | None:
    """Where compiled code is to be kept: None for beside the source, where that can be written."""
    if os.environ.get("NUMBA_CACHE_DIR"):
        return None
    beside = Path(__file__).parent / "__pycache__"
    writable = os.access(beside if beside.is_dir() else beside.parent, os.W_OK)
    return None if writable else home / COMPILED


def warm_up_behind(
    cache_folder: Path | None = None, then: Callable[[], None] = lambda: None
) -> threading.Thread:
    """Call `warm_up` in a thread of its own; a failure goes to the terminal and to `state`.

    One that was stopped before begins again.

    Parameters
    ----------
    then : callable
        Called at the end, in the same thread, where it was no failure.
    """

    def warm() -> None:
        try:
            warm_up(cache_folder)
            then()
        except StoppedError:
            pass  # `state` says so
        except Exception:
            if _STOPPED.is_set():  # the compiler may have wrapped it in an error of its own
                return
            _FAILED.set()
            raise

    _STOPPED.clear()
    thread = threading.Thread(target=warm, name="compile the forecast", daemon=True)
    thread.start()
    return thread


def is_compiled() -> bool:
    """Whether compiled code of an earlier run is kept where it will be looked for."""
    if _READY.is_set():
        return True
    kept = os.environ.get("NUMBA_CACHE_DIR")
    for module in COMPILED_MODULES:
        folder = Path(kept) if kept else (PACKAGE / module).parent / "__pycache__"
        if not (folder.is_dir() and any(folder.rglob(f"{Path(module).name}.*.nbi"))):
            return False
    return True


def leave_a_core() -> None:
    """Let runs asked for by this thread use one core, so that pages keep the others."""
    import numba

    numba.set_num_threads(1)


def warm_up(cache_folder: Path | None = None) -> None:
    """Import and compile everything a forecast needs; safe to call from any thread, many times.

    Parameters
    ----------
    cache_folder : Path or None
        Where compiled code is kept; beside the source, or in the user's cache, when None. Only the
        first call of a process can choose.
    """
    with _LOCK:
        if _READY.is_set():
            return
        if cache_folder is not None:
            from numba.core import config

            cache_folder.mkdir(parents=True, exist_ok=True)
            setattr(config, "CACHE_DIR", str(cache_folder))  # noqa: B010 (untyped module)
        watched = CompileProgress(_STOPPED.is_set)
        _watched.append(watched)
        try:
            with listening(watched):
                _compile()
        finally:
            _watched.remove(watched)
        _READY.set()


def _compile() -> None:
    """Run everything a forecast needs once."""
    from mustwright.kinetics.forecast import forecast
    from mustwright.kinetics.inputs import MustAtPitch, MustReading
    from mustwright.must.acidity.balance import base_to_ph, solution, solve_ph

    must = MustAtPitch.from_brix(20.0, 10.0, amino_n_mg_l=150.0)
    forecast(must, members=32, readings=[MustReading(24.0, brix=18.0)])
    acid = solution({"gluconic": 0.005}, 0.002)
    base_to_ph(acid, solve_ph(acid))
