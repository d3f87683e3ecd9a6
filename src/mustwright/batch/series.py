"""What was read over time, as rows of numbers: corrected gravities, and the rest beside them."""

from __future__ import annotations

import hashlib
from array import array
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import overload

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mustwright.batch.corrected_readings import Point

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
MICROSECOND = timedelta(microseconds=1)
COLUMNS = ("hours", "gravity", "gravity_sd", "used", "original_gravity")


def digest_of_rows(rows: Iterable[ArrayLike]) -> bytes:
    """The same for the same numbers in rows of the same lengths, and practically only then."""
    found = hashlib.blake2b(digest_size=16)
    for row in map(np.asarray, rows):
        found.update(b"%d;" % row.size)
        found.update(row.tobytes())
    return found.digest()


@dataclass(frozen=True, eq=False)
class Series(Sequence[Point]):
    """Corrected readings in order of time: rows of numbers, and records of those asked for.

    Parameters
    ----------
    at_us : ndarray of int64
        Microseconds since 1970 [µs].
    values : ndarray
        `COLUMNS` by readings, as in `observed.Point`.
    ids : str
        Of the entries, separated by spaces.
    first : int
        Which of the ids belongs to the first reading; a part shares them with the whole.
    """

    at_us: NDArray[np.int64]
    values: NDArray[np.float64]
    ids: str
    first: int = 0

    @classmethod
    def of(cls, points: Sequence[Point]) -> Series:
        """Of readings in order of time."""
        rows = np.array([[getattr(p, name) for p in points] for name in COLUMNS], float)
        at = [(p.at - EPOCH) // MICROSECOND for p in points]
        return cls(np.array(at, np.int64), rows, " ".join(p.id for p in points))

    @property
    def hours(self) -> NDArray[np.float64]:
        """After pitch; negative before it [h]."""
        return self._row(0)

    @property
    def gravity(self) -> NDArray[np.float64]:
        """Apparent, 20/20 °C [-]."""
        return self._row(1)

    @property
    def gravity_sd(self) -> NDArray[np.float64]:
        """Its standard error [-]."""
        return self._row(2)

    @property
    def used(self) -> NDArray[np.float64]:
        """Fraction of the fermentable sugar gone."""
        return self._row(3)

    @property
    def original_gravity(self) -> NDArray[np.float64]:
        """Of the must with what was added up to then [-]."""
        return self._row(4)

    def __len__(self) -> int:
        return len(self.at_us)

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Series):
            return NotImplemented
        return (
            np.array_equal(self.at_us, other.at_us)
            and np.array_equal(self.values, other.values)
            and self.names() == other.names()
        )

    __hash__ = None  # type: ignore[assignment]

    @overload
    def __getitem__(self, place: int) -> Point: ...
    @overload
    def __getitem__(self, place: slice) -> Series: ...
    def __getitem__(self, place: int | slice) -> Point | Series:
        if isinstance(place, slice):
            start, stop, step = place.indices(len(self))
            if step == 1:
                return self._part(start, max(start, stop))
            return self.take(range(start, stop, step))
        k = range(len(self))[place]
        id = self.ids.split(" ", self.first + k + 1)[self.first + k]
        hours, gravity, sd, used, original = self.values[:, k].tolist()
        return _point(moment(int(self.at_us[k])), hours, gravity, sd, used, original, id)

    def __iter__(self) -> Iterator[Point]:
        moments = map(moment, self.at_us.tolist())
        rows = zip(moments, *self.values.tolist(), self.names(), strict=True)
        return (_point(*row) for row in rows)

    def __reversed__(self) -> Iterator[Point]:
        return reversed(list(self))

    def _row(self, k: int) -> NDArray[np.float64]:
        row: NDArray[np.float64] = self.values[k]
        return row

    def _part(self, start: int, stop: int) -> Series:
        if start == 0 and stop == len(self):
            return self
        rows = self.values[:, start:stop]
        return Series(self.at_us[start:stop], rows, self.ids, self.first + start)

    def names(self) -> list[str]:
        """Ids of the entries."""
        return self.ids.split(" ")[self.first : self.first + len(self)] if len(self) else []

    def take(self, places: Sequence[int]) -> Series:
        """Those at these places, in order."""
        names, rows = self.names(), np.asarray(places, np.intp)
        ids = " ".join(names[k] for k in places)
        return Series(self.at_us[rows], self.values[:, rows], ids)

    def from_hour(self, hours: float) -> Series:
        """Those from an hour after pitch on [h]."""
        return self._part(int(np.searchsorted(self.hours, hours, "left")), len(self))

    def past_hour(self, hours: float) -> Series:
        """Those later than an hour after pitch [h]."""
        return self._part(int(np.searchsorted(self.hours, hours, "right")), len(self))

    def until(self, at: datetime) -> int:
        """How many had been read by then."""
        return int(np.searchsorted(self.at_us, (at - EPOCH) // MICROSECOND, "right"))

    def and_then(self, later: Series) -> Series:
        """With readings that came after."""
        if not len(later) or not len(self):
            return later if len(later) else self
        return Series(
            np.concatenate([self.at_us, later.at_us]),
            np.concatenate([self.values, later.values], axis=1),
            " ".join([*self.names(), *later.names()]),
        )


def moment(microseconds: int) -> datetime:
    """Microseconds since the start of 1970 [µs]."""
    return EPOCH + timedelta(microseconds=microseconds)


def _point(
    at: datetime, hours: float, gravity: float, sd: float, used: float, original: float, id: str
) -> Point:
    """Made without the checks of a frozen record's constructor: there may be thousands."""
    made = object.__new__(Point)
    facts = made.__dict__
    facts["at"], facts["hours"], facts["gravity"], facts["gravity_sd"] = at, hours, gravity, sd
    facts["used"], facts["original_gravity"], facts["id"] = used, original, id
    return made


@dataclass(frozen=True)
class Trace:
    """One thing read over time, other than gravity.

    Parameters
    ----------
    at_us : array of int
        Microseconds since 1970 [µs], in order of time.
    values : array of float
    """

    at_us: array[int]
    values: array[float]

    @classmethod
    def of(cls, read: Iterable[tuple[datetime, float]]) -> Trace:
        """Of values in order of time."""
        both = list(read)
        at = array("q", [(at - EPOCH) // MICROSECOND for at, _ in both])
        return cls(at, array("d", [value for _, value in both]))

    @classmethod
    def kept(cls, rows: bytes, count: int) -> Trace:
        """Of `rows`, as `bytes` gives them."""
        at = np.frombuffer(rows, "<i8", count).astype(np.int64)
        values = np.frombuffer(rows, "<f8", count, 8 * count).astype(float)
        return cls(array("q", at.tobytes()), array("d", values.tobytes()))

    def bytes(self) -> bytes:
        """To be kept."""
        at, values = np.asarray(self.at_us), np.asarray(self.values)
        return at.astype("<i8").tobytes() + values.astype("<f8").tobytes()

    def and_then(self, later: Trace) -> Trace:
        """With what was read after."""
        return Trace(self.at_us + later.at_us, self.values + later.values)

    def __iter__(self) -> Iterator[tuple[datetime, float]]:
        return zip(map(moment, self.at_us), self.values, strict=True)

    @property
    def first(self) -> datetime | None:
        """When the earliest was read."""
        return moment(self.at_us[0]) if self.at_us else None

    @property
    def last(self) -> tuple[datetime, float] | None:
        """The latest."""
        if not self.at_us:
            return None
        return moment(self.at_us[-1]), self.values[-1]

    def since(self, start: datetime) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Hours after `start`, and values [h]."""
        first = (start - EPOCH) // MICROSECOND
        at, values = np.asarray(self.at_us), np.asarray(self.values)
        return (at - first) / 3.6e9, values


NOTHING = Trace.of(())
