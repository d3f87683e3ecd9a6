"""The application over a cellar in a temporary folder."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from databases import new_file
from mustwright.compose import Compose
from mustwright.kinetics import ready
from mustwright.web.app import create_app

ORIGIN = "http://127.0.0.1:8765"


@pytest.fixture(scope="session", autouse=True)
def forecasts() -> None:
    """The forecast, compiled: pages show it."""
    ready.warm_up()


@pytest.fixture
def compiling(monkeypatch: pytest.MonkeyPatch) -> None:
    """As if the forecast were still being compiled."""
    monkeypatch.setattr(ready, "_READY", threading.Event())


@pytest.fixture
def app(tmp_path: Path) -> Iterator[FastAPI]:
    new_file(tmp_path)
    compose = Compose(tmp_path)
    yield create_app(compose)
    compose.close()


@pytest.fixture
def client(app: FastAPI) -> Iterator[TestClient]:
    with TestClient(app, base_url=ORIGIN, raise_server_exceptions=False) as client:
        client.headers["Origin"] = ORIGIN
        yield client
