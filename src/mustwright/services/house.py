"""The maker's own house: which finished batches it was learned from, and what it says of the next.

What each batch taught is kept in the notebook and made anew when its log or the model has changed.
The house itself is never kept: it is worked out from these each time, so that a batch deleted or
forgotten leaves no trace.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from mustwright.batch.codec import record_from
from mustwright.batch.progress import has_closed, progress_of
from mustwright.batch.view import BatchRecord
from mustwright.batch.view_json import is_closed
from mustwright.errors import ImpossibleError, InputError
from mustwright.kept_texts import texts_in, with_texts
from mustwright.plain_data import data_of
from mustwright.services.batch.cache import every_batch, for_all, memory_of
from mustwright.services.batch.repository import Ledger
from mustwright.services.notebook import FORGOTTEN, LEARNED, Notebook
from mustwright.services.repository import MissingRecordError
from mustwright.texts import say

if TYPE_CHECKING:
    from mustwright.kinetics.house_prior import HousePrior
    from mustwright.learning.batch_summary import BatchSummary
    from mustwright.learning.house import House
    from mustwright.planning.likeness import HouseFor, Likeness


@dataclass(frozen=True)
class Taught:
    """A closed batch and what it taught.

    Parameters
    ----------
    record : BatchRecord
    summary : BatchSummary or None
        None where it taught nothing (`why`), or has not been looked at yet (`pending`).
    why : str
        Why it taught nothing; empty where it did.
    is_forgotten : bool
        Whether the maker told the house to forget it.
    pending : bool
    band : tuple of float
        What the model says of it without its readings: 5 %, 50 % and 95 % of the days until two
        thirds of the sugar are gone [d]; empty where it cannot say.
    seen_days : float or None
        The same by its readings [d].
    """

    record: BatchRecord
    summary: BatchSummary | None
    why: str = ""
    is_forgotten: bool = False
    pending: bool = False
    band: tuple[float, ...] = ()
    seen_days: float | None = None

    @property
    def counts(self) -> bool:
        """Whether the house is learned from it, too."""
        return self.summary is not None and self.summary.explained and not self.is_forgotten


@dataclass(frozen=True)
class HouseView:
    """Closed batches and the houses learned from them, by medium."""

    batches: tuple[Taught, ...]
    houses: dict[str, House]

    @property
    def count(self) -> int:
        """Batches the house is learned from."""
        return sum(one.counts for one in self.batches)


def closed_batches(ledger: Ledger) -> list[BatchRecord]:
    """Batches that are bottled or ended, in the order of their short names."""
    stamp = ledger.stamp()
    return for_all(
        ledger,
        "closed batches",
        stamp,
        lambda: [r for r in every_batch(ledger, stamp) if _is_closed(ledger, r)],
    )


def _is_closed(ledger: Ledger, record: BatchRecord) -> bool:
    if record.digest_version == record.version and record.digest:
        return is_closed(record.digest)
    return has_closed(memory_of(ledger).gist(ledger, record).events)


def house_view(
    ledger: Ledger, notebook: Notebook, now: datetime, *, learn: bool = False
) -> HouseView:
    """What finished batches taught, and the house learned from them.

    Parameters
    ----------
    learn : bool
        Look at batches that have not been looked at yet, a second or two each; else they are
        pending.
    """
    kept = {page.key: page.content for page in notebook.pages(LEARNED)}
    forgotten = {page.key for page in notebook.pages(FORGOTTEN)}
    batches = []
    for record in closed_batches(ledger):
        found = _kept(ledger, record, kept.get(record.slug))
        if found is None and learn:
            found = learn_from(ledger, notebook, record.slug, now)
        if found is None:
            found = Taught(record, None, pending=True)
        batches.append(replace(found, is_forgotten=record.slug in forgotten))
    told = tuple(one.summary for one in batches if one.counts and one.summary is not None)
    return HouseView(tuple(batches), _houses(told))


@lru_cache(maxsize=4)
def _houses(told: tuple[BatchSummary, ...]) -> dict[str, House]:
    """Worked out once for the same batches: pages ask at every look."""
    from mustwright.learning.house import houses_of

    return houses_of(told)


def learn_from(ledger: Ledger, notebook: Notebook, slug: str, now: datetime) -> Taught:
    """Look at one closed batch, and keep what it taught.

    Raises
    ------
    MissingRecordError
    """
    from mustwright.learning.finished import forecast_and_fact, model_key, summary_of

    record = ledger.batch(slug)
    memory = memory_of(ledger)
    state = progress_of(memory.gist(ledger, record), now)
    live = [s for s in memory.stands(ledger, record) if not s.removed]
    summary, why, seen = None, "", None
    band: tuple[float, ...] = ()
    try:
        band, seen = forecast_and_fact(state, live)
        summary = summary_of(slug, state, live)
        if not summary.explained:
            why = say("No simulated run fits its readings, so nothing is learned from them.")
    except InputError as error:
        why = say(
            "Too little to learn from: {requirement} (here: {got}).",
            requirement=error.requirement,
            got=error.got,
        )
    except ImpossibleError as error:
        why = say("Too little to learn from: {error}.", error=error.text)
    page = {
        "log": _log_key(ledger, record),
        "model": model_key(),
        "why": why,
        "texts": texts_in(why),
        "band": band,
        "seen_days": seen,
        "summary": None if summary is None else _written(summary),
    }
    notebook.save_page(LEARNED, slug, json.dumps(page, separators=(",", ":")), None)
    return Taught(record, summary, why, band=band, seen_days=seen)


def _written(summary: BatchSummary) -> dict[str, Any]:
    """A summary as plain data; of its covariance the lower half, for the upper is the same."""
    data: dict[str, Any] = data_of(summary)
    return data | {"covariance": [row[: k + 1] for k, row in enumerate(summary.covariance)]}


def _whole(told: dict[str, Any]) -> dict[str, Any]:
    """The same with both halves."""
    rows = told["covariance"]
    size = range(len(rows))
    full = [[rows[max(i, j)][min(i, j)] for j in size] for i in size]
    return told | {"covariance": full}


def _log_key(ledger: Ledger, record: BatchRecord) -> str:
    """Changes with readings, feeds, events and plan of a batch; not with notes and pictures."""
    gist = memory_of(ledger).gist(ledger, record)
    told = (gist.series.at_us, gist.series.values, gist.warmth.at_us, gist.warmth.values)
    found = hashlib.sha256(str(gist.changed).encode())
    for values in (*told, gist.acid.at_us, gist.acid.values):
        found.update(values.tobytes())
    return found.hexdigest()[:20]


def _kept(ledger: Ledger, record: BatchRecord, content: str | None) -> Taught | None:
    """What was learned from a batch, unless its log or the model has changed since."""
    from mustwright.learning.batch_summary import BatchSummary
    from mustwright.learning.finished import model_key

    if content is None:
        return None
    try:
        page: dict[str, Any] = json.loads(content)
        if page["model"] != model_key() or page["log"] != _log_key(ledger, record):
            return None
        told = page["summary"]
        summary = None if told is None else record_from(BatchSummary, _whole(told), "summary")
        return Taught(
            record,
            summary,
            with_texts(str(page["why"]), page.get("texts")),
            band=tuple(float(days) for days in page["band"]),
            seen_days=page["seen_days"],
        )
    except (ValueError, KeyError, IndexError, TypeError, InputError):
        return None


def house_for(
    ledger: Ledger, notebook: Notebook, now: Callable[[], datetime], *, learn: bool = False
) -> HouseFor:
    """Gives where a fermentation is drawn from; finished batches are read when first asked.

    Without `learn` the house is worked out once for the same finished batches: pages ask at every
    look.
    """
    seen: list[_House] = []

    def prior(likeness: Likeness) -> HousePrior | None:
        if not seen:
            seen.append(
                _House(house_view(ledger, notebook, now(), learn=True).houses)
                if learn
                else _known_house(ledger, notebook, now)
            )
        return seen[0].prior(likeness)

    return prior


@dataclass(frozen=True)
class _House:
    """What the house says of fermentations, each kind worked out once."""

    houses: dict[str, House]
    _priors: dict[Likeness, HousePrior | None] = field(default_factory=dict)

    def prior(self, likeness: Likeness) -> HousePrior | None:
        from mustwright.learning.house import prior_for

        if likeness not in self._priors:
            self._priors[likeness] = prior_for(self.houses.get(likeness.medium), likeness)
        return self._priors[likeness]


def _known_house(ledger: Ledger, notebook: Notebook, now: Callable[[], datetime]) -> _House:
    closed = tuple((r.cellar, r.slug, r.version) for r in closed_batches(ledger))
    told = closed, notebook.versions(LEARNED, FORGOTTEN)
    return for_all(
        ledger, "house", told, lambda: _House(house_view(ledger, notebook, now()).houses)
    )


def forget(ledger: Ledger, notebook: Notebook, slug: str | None) -> list[str]:
    """Let the house forget a batch, or all that are closed; their short names.

    Raises
    ------
    MissingRecordError
        For a batch that is not there.
    """
    slugs = [r.slug for r in closed_batches(ledger)] if slug is None else [slug]
    if slug is not None:
        ledger.batch(slug)
    for one in slugs:
        notebook.save_page(FORGOTTEN, one, "{}", None)
    return slugs


def remember(notebook: Notebook, slug: str | None) -> list[str]:
    """Let the house learn from a forgotten batch again, or from all; their short names.

    Raises
    ------
    MissingRecordError
        For a batch that was not forgotten.
    """
    known = [page.key for page in notebook.pages(FORGOTTEN)]
    if slug is not None and slug not in known:
        raise MissingRecordError("forgotten batch", slug)
    for one in known if slug is None else [slug]:
        notebook.remove_page(FORGOTTEN, one, None)
    return known if slug is None else [slug]
