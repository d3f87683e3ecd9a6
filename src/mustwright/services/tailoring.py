"""Tailored plans of kept musts: searched behind the pages, one at a time, watched or stopped."""

from __future__ import annotations

import re
import threading
from collections import OrderedDict
from collections.abc import Collection
from dataclasses import dataclass, field

from mustwright.errors import InputError, MustwrightError
from mustwright.kinetics.ready import leave_a_core
from mustwright.nutrition.protocols import built_in_protocols, read_protocol
from mustwright.planning.likeness import HouseFor
from mustwright.planning.plan_result import Comparison
from mustwright.planning.tailored import TailoredPlan, tailor
from mustwright.services import records as use
from mustwright.services.cached_forecasts import foreseen_comparison
from mustwright.services.own_protocols import protocol_texts, save_protocol
from mustwright.services.repository import Cellar, Record
from mustwright.texts import say

KEPT = 24
LONGEST_ID = 44


@dataclass
class TailoringJob:
    """One search, begun.

    Parameters
    ----------
    compared : Comparison
        The protocols it is held against.
    vary : frozenset of str
        What of the must may change as well.
    part : float
        How far it is (0 to 1).
    found : tuple of TailoredPlan or None
        None until it is done.
    error : str
        Why it has no result; empty if nothing went wrong.
    stopped : threading.Event
        Set to stop it.
    """

    compared: Comparison
    vary: frozenset[str] = frozenset()
    part: float = 0.0
    found: tuple[TailoredPlan, ...] | None = None
    error: str = ""
    stopped: threading.Event = field(default_factory=threading.Event)

    @property
    def is_running(self) -> bool:
        """Whether it goes on."""
        return self.found is None and not self.error and not self.stopped.is_set()

    def goes_on(self, part: float) -> bool:
        """Note how far it is; whether it is to go on."""
        self.part = part
        return not self.stopped.is_set()


_jobs: OrderedDict[tuple[str, str], TailoringJob] = OrderedDict()
_guard = threading.Lock()
_one_at_a_time = threading.Lock()


def tailoring_of(cellar: Cellar, must: Record) -> TailoringJob | None:
    """The search for a must as it stands now; None where none was begun, or it was stopped."""
    with _guard:
        job = _jobs.get(_key(cellar, must))
    return None if job is None or job.stopped.is_set() else job


def begin_tailoring(
    cellar: Cellar,
    must: Record,
    house: HouseFor | None = None,
    vary: Collection[str] = (),
) -> TailoringJob:
    """Search for a must in a thread of its own; the same one is not begun again.

    Parameters
    ----------
    cellar : Cellar
    must : Record
    house : callable or None
        Gives what the maker's finished batches say of such a fermentation.
    vary : collection of str
        What of the must may change as well.

    Returns
    -------
    TailoringJob

    Raises
    ------
    InputError, ImpossibleError, UnknownKindError
        Where the must cannot be planned.
    """
    known, wanted = tailoring_of(cellar, must), frozenset(vary)
    if known is not None and not known.error:
        if known.vary == wanted:
            return known
        known.stopped.set()
    job = TailoringJob(foreseen_comparison(cellar, must.text, must.name, house=house), wanted)
    with _guard:
        _jobs[_key(cellar, must)] = job
        while len(_jobs) > KEPT:
            _jobs.popitem(last=False)[1].stopped.set()
    threading.Thread(target=_work, args=(job,), name="tailor a plan", daemon=True).start()
    return job


def stop_tailoring(cellar: Cellar, must: Record) -> None:
    """Stop the search for a must, if one goes on."""
    job = tailoring_of(cellar, must)
    if job is not None and job.is_running:
        job.stopped.set()


def keep_tailored(cellar: Cellar, must: Record, which: int) -> Record:
    """Keep one result as a protocol of the maker's own, under an id that is free.

    Parameters
    ----------
    cellar : Cellar
    must : Record
    which : int
        Its place among the results, from 0.

    Returns
    -------
    Record

    Raises
    ------
    InputError
        Where there is no such result: the must changed, or the program was started anew.
    """
    job = tailoring_of(cellar, must)
    if job is None or job.found is None or not 0 <= which < len(job.found):
        raise InputError("which", say("needs one of the results; search again"), which)
    text = job.found[which].protocol_file
    taken = {*protocol_texts(cellar), *built_in_protocols()}
    stem = read_protocol(text).id[:LONGEST_ID]
    identity, number = stem, 2
    while identity in taken:
        identity, number = f"{stem}_{number}", number + 1
    return save_protocol(
        cellar,
        re.sub(r"(?m)^id = .*$", f'id = "{identity}"', text, count=1),
        None,
    )


def _key(cellar: Cellar, must: Record) -> tuple[str, str]:
    """The sheet with its shelf, and its name: keeping a result as a protocol changes neither."""
    return use.planned_key(cellar, must.text, must.name)[:2]


def _work(job: TailoringJob) -> None:
    leave_a_core()
    with _one_at_a_time:
        try:
            if job.is_running:
                job.found = tailor(job.compared, job.goes_on, vary=job.vary)
        except MustwrightError as error:
            job.error = str(error)
        except Exception as error:
            job.error = type(error).__name__
            raise
