"""What was read along time, as rows of numbers: corrected gravities, and the rest beside them."""

from __future__ import annotations

from array import array
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from mustwright.cellar.observed import Point

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
MICROSECOND = timedelta(microseconds=1)
COLUMNS = ("hours", "gravity", "gravity_sd", "used", "original_gravity")


@dataclass(frozen=True)
class Series:
    """Corrected readings as rows of numbers.

    Parameters
    ----------
    at_us : ndarray of int64
        Microseconds since 1970 [µs].
    values : ndarray
        `COLUMNS` by readings, as in `observed.Point`.
    ids : str
        Of the entries, a blank between them.
    """

    at_us: NDArray[np.int64]
    values: NDArray[np.float64]
    ids: str

    @classmethod
    def of(cls, points: Sequence[Point]) -> Series:
        """Of readings in order of time."""
        rows = [[getattr(p, name) for p in points] for name in COLUMNS]
        at = [(p.at - EPOCH) // MICROSECOND for p in points]
        return cls(np.array(at, np.int64), np.array(rows), " ".join(p.id for p in points))

    def points(self) -> tuple[Point, ...]:
        """The readings as records."""
        if not self.at_us.size:
            return ()
        moments = [at.replace(tzinfo=UTC) for at in self.at_us.astype("M8[us]").tolist()]
        rows = zip(moments, *self.values.tolist(), self.ids.split(" "), strict=True)
        return tuple(_point(*row) for row in rows)

    def and_then(self, later: Series) -> Series:
        """With readings that came after."""
        if not later.at_us.size or not self.at_us.size:
            return later if later.at_us.size else self
        return Series(
            np.concatenate([self.at_us, later.at_us]),
            np.concatenate([self.values, later.values], axis=1),
            f"{self.ids} {later.ids}",
        )


def _point(
    at: datetime, hours: float, gravity: float, sd: float, used: float, original: float, id: str
) -> Point:
    """Made without the checks of a frozen record's constructor: hundreds of them for each look."""
    made = object.__new__(Point)
    facts = made.__dict__
    facts["at"], facts["hours"], facts["gravity"], facts["gravity_sd"] = at, hours, gravity, sd
    facts["used"], facts["original_gravity"], facts["id"] = used, original, id
    return made


@dataclass(frozen=True)
class Trace:
    """One thing read along time, other than gravity.

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

    @property
    def last(self) -> tuple[datetime, float] | None:
        """The latest."""
        if not self.at_us:
            return None
        return EPOCH + timedelta(microseconds=self.at_us[-1]), self.values[-1]

    def since(self, start: datetime) -> list[tuple[float, float]]:
        """Hours after `start`, and values [h]."""
        first = (start - EPOCH) // MICROSECOND
        hours = ((at - first) / 3.6e9 for at in self.at_us)
        return list(zip(hours, self.values, strict=True))


NOTHING = Trace.of(())
