"""Import a large batch behind the pages, one at a time, watched or stopped."""

from __future__ import annotations

import threading
from collections import OrderedDict
from dataclasses import dataclass, field
from uuid import uuid4

from mustwright.batch.view import BatchRecord
from mustwright.errors import InputError, MustwrightError
from mustwright.how_far import StoppedError
from mustwright.services.batch.export_json import import_json
from mustwright.services.batch.repository import Ledger
from mustwright.texts import say

KEPT = 24
MOST_RUNNING = 2  # each holds its file in memory


@dataclass
class ImportJob:
    """One import, begun.

    Parameters
    ----------
    part : float
        How far it is (0 to 1).
    record : BatchRecord or None
        None until it is written.
    error : MustwrightError or None
        Why nothing was written.
    stopped : threading.Event
        Set to stop it.
    """

    id: str = field(default_factory=lambda: uuid4().hex)
    part: float = 0.0
    record: BatchRecord | None = None
    error: MustwrightError | None = None
    stopped: threading.Event = field(default_factory=threading.Event)

    @property
    def is_running(self) -> bool:
        """Whether it goes on."""
        return self.record is None and self.error is None

    def goes_on(self, part: float) -> bool:
        """Note how far it is; whether it is to go on."""
        self.part = part
        return not self.stopped.is_set()


_jobs: OrderedDict[str, ImportJob] = OrderedDict()
_guard = threading.Lock()
_one_at_a_time = threading.Lock()


def begin_import(ledger: Ledger, text: str) -> ImportJob:
    """Import a batch from its JSON file in a thread of its own.

    Raises
    ------
    InputError
        Where others are running already.
    """
    job = ImportJob()
    with _guard:
        if sum(one.is_running for one in _jobs.values()) >= MOST_RUNNING:
            raise InputError(
                "file", say("needs the imports that are running to end first"), say("another")
            )
        _jobs[job.id] = job
        while len(_jobs) > KEPT:
            _jobs.popitem(last=False)
    thread = threading.Thread(
        target=_work, args=(job, ledger, text), name="import a batch", daemon=True
    )
    thread.start()
    return job


def import_job(id: str) -> ImportJob | None:
    """An import that was begun since the pages were opened."""
    with _guard:
        return _jobs.get(id)


def _work(job: ImportJob, ledger: Ledger, text: str) -> None:
    with _one_at_a_time:
        try:
            job.record = import_json(ledger, text, job.goes_on)
        except StoppedError as error:
            job.error = error
        except MustwrightError as error:
            job.error = error
        except Exception as error:
            job.error = MustwrightError(type(error).__name__)
            raise
