"""Compiling behind the back: where the code is kept, and how far it is."""

from __future__ import annotations

import os
import threading
from pathlib import Path

import pytest

from mustwright.kinetics import ready


def test_ready_once_warm(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ready, "_READY", threading.Event())
    assert ready.state() == "compiling"
    then = []
    ready.warm_up_behind(None, lambda: then.append(ready.state())).join(120)
    assert ready.state() == "ready"
    assert then == ["ready"]
    assert ready.is_compiled()


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_a_failure_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(_folder: Path | None) -> None:
        raise RuntimeError("no compiler")

    monkeypatch.setattr(ready, "_READY", threading.Event())
    monkeypatch.setattr(ready, "_FAILED", threading.Event())
    monkeypatch.setattr(ready, "warm_up", broken)
    then = []
    ready.warm_up_behind(None, lambda: then.append(1)).join(10)
    assert ready.state() == "failed"
    assert not then


def test_compiled_code_goes_where_it_can_be_written(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.delenv("NUMBA_CACHE_DIR", raising=False)
    monkeypatch.setattr(os, "access", lambda *_: True)
    assert ready.cache_folder(tmp_path) is None
    monkeypatch.setattr(os, "access", lambda *_: False)
    assert ready.cache_folder(tmp_path) == tmp_path / "compiled"
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path))
    assert ready.cache_folder(tmp_path) is None
