"""A closed batch looked back on: forecast against fact, what was done, tastings, next time."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime

from mustwright.batch.finishing_record import StepDone
from mustwright.batch.progress import FeedState, Progress, progress_of
from mustwright.batch.snapshot import Gist
from mustwright.batch.tasting_dates import closed_at, tasting_dates
from mustwright.batch.view import BatchRecord
from mustwright.errors import ConflictError, InputError, MustwrightError
from mustwright.learning.differences import FRACTION
from mustwright.planning.batch_cost import used_cost
from mustwright.planning.must_setup import ground_of
from mustwright.services.batch.cache import memory_of
from mustwright.services.batch.repository import Ledger
from mustwright.services.house import HouseView, Taught, house_view
from mustwright.services.notebook import CLOSING, Notebook
from mustwright.services.records import again
from mustwright.services.repository import Cellar, MissingRecordError, Record
from mustwright.services.tastings import KeptTasting, tastings_of_batch
from mustwright.services.trials import KeptTrial, trial_of_batch
from mustwright.texts import capital, say, say_n

LONGEST_WORDS = 4000


@dataclass(frozen=True)
class TastingDue:
    """A moment at which a bottled mead is worth tasting.

    Parameters
    ----------
    months : int
        After it was closed.
    at : datetime
    is_due : bool
        It has come, and no tasting was closed since.
    """

    months: int
    at: datetime
    is_due: bool


@dataclass(frozen=True)
class LookBack:
    """A closed batch.

    Parameters
    ----------
    closed_at : datetime
    taught : Taught
        Forecast and fact, once it was looked at.
    held, judged : int
        Batches whose fact lay in the 90 % band, and how many could be judged.
    cost : str
        What it cost with the feeds as given, in a sentence; empty without a sheet.
    lots : tuple of str
        Codes of its bottlings.
    next_time : str
        In the maker's words.
    version : int or None
        Of these words, for changing them.
    """

    record: BatchRecord
    state: Progress
    closed_at: datetime
    taught: Taught
    held: int
    judged: int
    feeds: tuple[FeedState, ...]
    cost: str
    lots: tuple[str, ...]
    tastings: tuple[KeptTasting, ...]
    trial: KeptTrial | None
    due: tuple[TastingDue, ...]
    next_time: str
    version: int | None


def look_back(ledger: Ledger, notebook: Notebook, slug: str, now: datetime) -> LookBack:
    """A closed batch, looked back on.

    Raises
    ------
    InputError
        For a batch that is still going on.
    MissingRecordError
    """
    record = ledger.batch(slug)
    gist = memory_of(ledger).gist(ledger, record)
    state = progress_of(gist, now)
    at = closed_at(gist.events)
    if at is None:
        raise InputError("batch", say("needs a batch that is bottled or ended"), slug)
    house = house_view(ledger, notebook, now)
    taught = next(one for one in house.batches if one.record.slug == slug)
    held, judged = calibration_of(house)
    tastings = tuple(tastings_of_batch(notebook, slug))
    words, version = _words(notebook, slug)
    return LookBack(
        record,
        state,
        at,
        taught,
        held,
        judged,
        tuple(state.feeds),
        _cost_words(state),
        _lots(gist),
        tastings,
        trial_of_batch(notebook, slug),
        _due(at, tastings, now),
        words,
        version,
    )


def calibration_of(house: HouseView) -> tuple[int, int]:
    """In how many batches the fact lay in the 90 % band, and how many could be judged."""
    judged = [one for one in house.batches if one.band and one.seen_days is not None]
    held = sum(one.band[0] <= one.seen_days <= one.band[2] for one in judged
               if one.band and one.seen_days is not None)  # fmt: skip
    return held, len(judged)


def fact_sentence(back: LookBack) -> str:
    """Forecast against fact, in a sentence."""
    one = back.taught
    share = (
        say("two thirds") if abs(FRACTION - 2 / 3) < 1e-9 else say("{share:.0%}", share=FRACTION)
    )
    if one.pending:
        return say("The forecast has not been compared with the readings yet.")
    if not one.band or one.seen_days is None:
        return say("The readings do not say when {share} of the sugar were gone.", share=share)
    low, middle, high = one.band
    inside = low <= one.seen_days <= high
    return say(
        "{share} of the sugar were gone after {seen_days:.1f} days. Without "
        "a reading the model says {middle:.1f} days of a must kept and fed as "
        "this one was, nine times in ten {low:.1f} to {high:.1f} where it gets "
        "so far: {where}.",
        share=capital(share),
        seen_days=one.seen_days,
        middle=middle,
        low=low,
        high=high,
        where=say("inside the band") if inside else say("outside the band"),
    )


def calibration_sentence(back: LookBack) -> str:
    """How often the band held over all batches."""
    if not back.judged:
        return ""
    return say_n(
        "Over all your finished batches the 90 % band held in {held} of {count} batch.",
        "Over all your finished batches the 90 % band held in {held} of {count} batches.",
        back.judged,
        held=back.held,
    )


def keep_words(notebook: Notebook, slug: str, words: str, version: int | None) -> None:
    """Write down what to do next time.

    Raises
    ------
    ConflictError
        Where somebody else wrote meanwhile; nothing is written.
    """
    if len(words) > LONGEST_WORDS:
        raise InputError(
            "next_time",
            say("needs at most {most} characters", most=LONGEST_WORDS),
            len(words),
        )
    content = json.dumps({"next_time": words.strip()})
    if version is None and _words(notebook, slug)[1] is not None:
        raise ConflictError(
            say("these words were changed since you opened them; nothing was written")
        )
    notebook.save_page(CLOSING, slug, content, version)


def copy_as_must(cellar: Cellar, ledger: Ledger, slug: str, now: datetime) -> Record:
    """The must of a batch as the start of the next: a new sheet to be changed and planned.

    Raises
    ------
    InputError
        Where the batch has no sheet.
    MissingRecordError
    """
    record = ledger.batch(slug)
    state = progress_of(memory_of(ledger).gist(ledger, record), now)
    if not state.plan.sheet.strip():
        raise InputError("batch", say("needs a batch that was started from a sheet"), slug)
    return cellar.save("sheet", None, state.plan.sheet, None, again(record.name))


def _cost_words(state: Progress) -> str:
    if not state.plan.sheet.strip():
        return ""
    try:
        return used_cost(ground_of(state.plan.sheet, "must"), state.given_g).words
    except MustwrightError:  # a sheet of an older version
        return ""


def _lots(gist: Gist) -> tuple[str, ...]:
    done = [s.what for s in gist.events if isinstance(s.what, StepDone)]
    return tuple(dict.fromkeys(one.words["lot"] for one in done if one.words.get("lot")))


def _due(
    closed: datetime, tastings: tuple[KeptTasting, ...], now: datetime
) -> tuple[TastingDue, ...]:
    last = max((t.tasting.closed_at for t in tastings if t.tasting.closed_at), default=closed)
    return tuple(TastingDue(months, at, last < at <= now) for months, at in tasting_dates(closed))


def _words(notebook: Notebook, slug: str) -> tuple[str, int | None]:
    try:
        page = notebook.page(CLOSING, slug)
    except MissingRecordError:
        return "", None
    return str(json.loads(page.content).get("next_time", "")), page.version
