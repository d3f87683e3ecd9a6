"""Who knows whom: the one place that picks the data folder, the clock and the store."""

from __future__ import annotations

import os
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from mustwright.services.records import Cellar

if TYPE_CHECKING:
    from mustwright.store.cellar_store import CellarStore


def utc_now() -> datetime:
    """The present moment [UTC]."""
    return datetime.now(UTC)


def data_folder() -> Path:
    """Where the maker's records are: MUSTWRIGHT_HOME, else the system's folder for user data."""
    named = os.environ.get("MUSTWRIGHT_HOME", "")
    if named:
        return Path(named).expanduser().absolute()
    from platformdirs import user_data_path

    return user_data_path("mustwright", appauthor=False)


@dataclass
class Compose:
    """What the shells need, each part made when it is first asked for.

    Parameters
    ----------
    home : Path
        Data folder; made when the cellar is first opened.
    clock : callable
        Gives the present moment [UTC].
    """

    home: Path
    clock: Callable[[], datetime] = utc_now
    _cellar: CellarStore | None = field(default=None, init=False, repr=False)
    _opening: threading.Lock = field(default_factory=threading.Lock, init=False, repr=False)

    @classmethod
    def from_environment(cls) -> Compose:
        """For this user on this machine."""
        return cls(data_folder())

    @property
    def cellar(self) -> Cellar:
        """The maker's cellar, opened once."""
        with self._opening:
            if self._cellar is None:
                from mustwright.store.cellar_store import CellarStore

                self._cellar = CellarStore(self.home / "cellar.db", self.clock)
            return self._cellar

    def close(self) -> None:
        """Let the cellar go; it is opened again when it is next asked for."""
        with self._opening:
            if self._cellar is not None:
                self._cellar.close()
                self._cellar = None
