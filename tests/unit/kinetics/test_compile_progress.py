"""How far the compiling is: by what is compiled, and by the clock between; and that it can stop."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest

import mustwright
from mustwright.how_far import StoppedError
from mustwright.kinetics import ready
from mustwright.kinetics.compile_progress import SHARES, CompileProgress, listening
from mustwright.kinetics.ready import COMPILED_MODULES


def test_shares_rise_to_the_whole_and_name_functions_of_the_kernel():
    assert list(SHARES.values()) == sorted(SHARES.values())
    assert list(SHARES.values())[-1] == 1.0
    root = Path(mustwright.__file__).parent
    modules = (*COMPILED_MODULES, "must/acidity/kernel")
    text = "".join((root / f"{name}.py").read_text(encoding="utf-8") for name in modules)
    for name in SHARES:
        assert f"def {name}(" in text, name


def test_between_two_shares_the_clock_tells_and_never_passes_the_next():
    now = [0.0]
    progress = CompileProgress(lambda: False, lambda: now[0])
    assert progress.part() == 0.0
    now[0] = 4.0
    assert progress.part() == pytest.approx(0.1)
    now[0] = 100.0
    assert progress.part() == pytest.approx(SHARES["run_blocks"] - 0.01)
    now[0] = 12.0
    progress.compiled("left_of_sugar")
    assert progress.part() == pytest.approx(0.12)
    assert progress.left_s() == pytest.approx(88.0)  # 12 s for 12 % of it
    progress.compiled("run_blocks")
    progress.compiled("left_of_sugar")  # of another type: no way back
    assert progress.part() == pytest.approx(0.82)
    now[0] = 1000.0
    assert progress.part() < SHARES["solve"]


def test_the_compiler_is_heard_and_stopped():
    import numba

    def one(x):
        return x + 1

    told = []
    progress = CompileProgress(lambda: False, told=lambda part: told.append(part) is None)
    one.__name__ = "solve"
    with listening(progress):
        assert numba.njit(one)(1) == 2
    assert told == [SHARES["solve"]]
    with listening(CompileProgress(lambda: True)), pytest.raises(StoppedError):
        numba.njit(lambda x: x + 2)(1)


def test_what_was_stopped_begins_again(monkeypatch):
    begun = threading.Event()

    def slow(_folder) -> None:
        begun.set()
        for _ in range(500):
            if ready._STOPPED.wait(0.01):
                raise StoppedError("stopped")

    monkeypatch.setattr(ready, "_READY", threading.Event())
    monkeypatch.setattr(ready, "_STOPPED", threading.Event())
    monkeypatch.setattr(ready, "warm_up", slow)
    thread = ready.warm_up_behind()
    assert begun.wait(5)
    assert ready.state() == "compiling"
    ready.stop_compiling()
    thread.join(5)
    assert ready.state() == "stopped"
    monkeypatch.setattr(ready, "warm_up", lambda _: ready._READY.set())
    ready.warm_up_behind().join(5)
    assert ready.state() == "ready"
