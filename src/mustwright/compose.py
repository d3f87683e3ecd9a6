"""Who knows whom: the one place that picks the data folder, the clock and the store."""

from __future__ import annotations

import os
import sys
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, tzinfo
from pathlib import Path
from typing import TYPE_CHECKING

from mustwright.clock import WatchedClock, utc_now
from mustwright.how_far import Progress, go_on
from mustwright.pages_first import PagesFirst
from mustwright.services.repository import Cellar, Restored

if TYPE_CHECKING:
    from mustwright.planning.likeness import HouseFor
    from mustwright.services.batch.forecaster import Forecaster
    from mustwright.services.batch.repository import Ledger
    from mustwright.services.notebook import Notebook
    from mustwright.services.trials import TrialParts
    from mustwright.store.cellar_store import CellarStore
    from mustwright.unit_system import UnitSystem


def to_the_terminal(words: str) -> None:
    """A line on standard error for whoever runs this, in English.

    No language is asked for: it may be the cellar's, which is just being opened.
    """
    print(f"mustwright: note: {words}", file=sys.stderr, flush=True)


def data_folder() -> Path:
    """Where the maker's records are: MUSTWRIGHT_HOME, else the system's folder for user data."""
    named = os.environ.get("MUSTWRIGHT_HOME", "")
    if named:
        return Path(named).expanduser().absolute()
    from platformdirs import user_data_path

    return user_data_path("mustwright", appauthor=False)


def database_address() -> str:
    """The PostgreSQL address of the cellar in MUSTWRIGHT_DATABASE; empty for the file."""
    return os.environ.get("MUSTWRIGHT_DATABASE", "").strip()


@dataclass
class Compose:
    """What the shells need, each part made when it is first asked for.

    Parameters
    ----------
    home : Path
        Data folder; made when the cellar is first opened.
    clock : callable
        Gives the present moment [UTC].
    database : str
        Address of a PostgreSQL database to keep the cellar in; empty for a file in `home`.
    zone : tzinfo or None
        For clock times people read; the machine's own when None.
    say : callable
        Takes a sentence that whoever runs this should read.
    """

    home: Path
    clock: Callable[[], datetime] = utc_now
    database: str = ""
    zone: tzinfo | None = None
    say: Callable[[str], None] = to_the_terminal
    pages_first: PagesFirst = field(default_factory=PagesFirst, init=False, repr=False)
    _cellar: CellarStore | None = field(default=None, init=False, repr=False)
    _forecaster: Forecaster | None = field(default=None, init=False, repr=False)
    _opening: threading.Lock = field(default_factory=threading.Lock, init=False, repr=False)

    @classmethod
    def from_environment(cls, database: str | None = None) -> Compose:
        """For this user on this machine; `database` takes precedence over MUSTWRIGHT_DATABASE."""
        clock = WatchedClock(to_the_terminal)
        return cls(data_folder(), clock, database=database or database_address())

    @property
    def place(self) -> Path | str:
        """Where the cellar is: a file, or the address of a database."""
        return self.database or self.home / "cellar.db"

    @property
    def local_zone(self) -> tzinfo:
        """The zone of clock times that people read."""
        here = self.zone or self.clock().astimezone().tzinfo
        assert here is not None
        return here

    @property
    def cellar(self) -> Cellar:
        """The maker's cellar, opened once."""
        return self._store()

    @property
    def ledger(self) -> Ledger:
        """The batches of the maker's cellar."""
        return self._store().ledger

    @property
    def notebook(self) -> Notebook:
        """Trials, tastings and what was learned."""
        return self._store().notebook

    @property
    def trial_parts(self) -> TrialParts:
        """What a trial needs of the cellar."""
        from mustwright.services.trials import TrialParts

        return TrialParts(self.cellar, self.ledger, self.notebook)

    def house_for(self, *, learn: bool = False) -> HouseFor:
        """What the maker's finished batches say of a fermentation; see `services.house`."""
        from mustwright.services.house import house_for

        return house_for(self.ledger, self.notebook, self.clock, learn=learn)

    def learn_from(self, slug: str) -> None:
        """Look at a batch that was just closed."""
        from mustwright.services.house import learn_from

        learn_from(self.ledger, self.notebook, slug, self.clock())

    def _store(self) -> CellarStore:
        notes: list[str] = []
        with self._opening:
            if self._cellar is None:
                from mustwright.store.cellar_store import CellarStore
                from mustwright.store.own_files import put_right

                notes = put_right(self.home)
                self._cellar = CellarStore(self.place, self.clock, self.home / "backups")
            opened = self._cellar
        for words in notes:  # not before: in which language to say them, the cellar may know
            self.say(words)
        return opened

    def begin_forecasting(self) -> None:
        """Work out forecasts of batches behind the pages from now on, until the cellar closes."""
        from mustwright.services.batch.forecaster import Forecaster

        ledger = self.ledger
        self._forecaster = Forecaster(
            ledger,
            self.clock,
            self._renew_digest,
            house=self.house_for,
            closed=self.learn_from,
            turns=self.pages_first,
        )
        self._forecaster.start()

    def _renew_digest(self, slug: str) -> None:
        from mustwright.services.batch.worklist import renew_digest
        from mustwright.services.units import chosen_for
        from mustwright.unit_system import choosing

        with choosing(chosen_for(self.ledger)):
            renew_digest(self.ledger, slug, self.clock(), self.local_zone)

    def units_alone(self) -> UnitSystem | None:
        """The units chosen for the cellar, without opening a file for them: most cost nothing."""
        from mustwright.services.units import SETTING, system_kept

        return system_kept(self._setting_alone(SETTING))

    def language_alone(self) -> str:
        """The code of the language chosen for the cellar, the same way; empty where none is."""
        from mustwright.services.language import SETTING, language_kept

        return language_kept(self._setting_alone(SETTING))

    def _setting_alone(self, name: str) -> str | None:
        from mustwright.errors import MustwrightError

        if not self.database:
            from mustwright.store.one_setting import setting_in

            return setting_in(self.home / "cellar.db", name)
        try:
            return self.ledger.setting(name)
        except MustwrightError:  # a cellar that is away: the command says so where it matters
            return None
        finally:
            self.close()

    def back_up(self, target: Path) -> dict[str, int]:
        """Copy the whole cellar into one sealed file; rows by table.

        What lets people in (passphrase, sessions, tokens) stays behind.
        """
        from mustwright.store.sealing import key_of

        return self._store().back_up(target, key_of(self.home))

    def restore(
        self, source: Path, *, foreign: bool = False, progress: Progress = go_on
    ) -> Restored:
        """Bring a copy back as the whole cellar; the one that was there is kept aside.

        Sessions and tokens end. A copy that another cellar made, or that carries no seal, is
        refused with `ForeignFileError` unless `foreign` says to take it. `progress` is told how far
        it is and can stop it (`StoppedError`), which changes nothing.
        """
        self.close()
        from mustwright.store.restoring import restore
        from mustwright.store.sealing import key_of

        folder = self.home / "backups" if self.database else self.home
        key = key_of(self.home)
        return restore(
            self.place, source, self.clock, folder, key, foreign=foreign, progress=progress
        )

    def close(self) -> None:
        """Close the cellar; it is opened again when it is next asked for."""
        if self._forecaster is not None:
            self._forecaster.stop()
            self._forecaster = None
        with self._opening:
            if self._cellar is not None:
                self._cellar.close()
                self._cellar = None
