"""Do the readings and the model agree, and what is the maker told where they do not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mustwright.kinetics.inputs import MustReading
from mustwright.must.gravity_text import gravity_text
from mustwright.texts import say

Floats = NDArray[np.float64]

ODD = 3.5  # scaled miss beyond which a reading counts as odd
LAST_ODD, RMS_ODD = 2.0, 1.3  # miss of the latest reading, and of all, beyond which it is no fit
FEW = 4  # readings before the latest one or all of them can speak against the model
BENT = 2.2  # length of the mean bend, in its own spread, from which it is no fit (about 1 in 20)
FITS_MESSAGE = say("The readings fit the model.")
BENT_MESSAGE = say(
    "The readings follow a course that the model does not know. The forecast was "
    "fitted to them, and is less sure than usual."
)
UNUSUAL_MESSAGE = say(
    "Such musts usually run at quite another pace. Check the readings, the must "
    "and the feeds. The forecast follows the readings, and is less sure than "
    "usual."
)


@dataclass(frozen=True)
class ReadingVerdict:
    """How the readings and the model agree.

    Parameters
    ----------
    explained : bool
        Members were found that explain every reading, without bending the course of the model
        further than fermentations of the medium do.
    odd_reading : int or None
        Place of the reading that fits worst, when it does not fit.
    scaled_miss : tuple of float
        Reading less what members say (median), in standard errors, by reading; nan where a reading
        carries neither gravity nor Brix.
    surprise : float
        Log evidence of the readings [-], for comparing explanations.
    message : str
        One sentence for the maker.
    bend : float
        How far the readings bend the course away from the model's: length of the mean of the
        standard normal numbers of `parameters.SHAPE` [-]; 0 not at all, over `BENT` no fit.
    is_usual : bool
        Whether usual fermentations of the medium meet the readings; else members of any other pace
        were taken.
    """

    explained: bool
    odd_reading: int | None
    scaled_miss: tuple[float, ...]
    surprise: float
    message: str
    bend: float = 0.0
    is_usual: bool = True

    @property
    def is_met(self) -> bool:
        """Whether all readings are met, or all but one that others came after.

        A course that had to be bent is met all the same.
        """
        odd = [k for k, miss in enumerate(self.scaled_miss) if abs(miss) > ODD]
        return not odd or (len(odd) == 1 and odd[0] < len(self.scaled_miss) - 1)


@dataclass(frozen=True)
class Compared:
    """Readings beside what the members that fit best say.

    Parameters
    ----------
    readings : sequence of MustReading
    told : ndarray
        Middle of the members, one for each reading with gravity or Brix [-].
    miss : ndarray
        Reading less that, in standard errors [-].
    members : int
    """

    readings: Sequence[MustReading]
    told: Floats
    miss: Floats
    members: int

    @property
    def places(self) -> list[int]:
        """Places of the readings with gravity or Brix."""
        return [k for k, r in enumerate(self.readings) if r.as_gravity is not None]


def verdict_on(seen: Compared, surprise: float, bend: float, is_usual: bool) -> ReadingVerdict:
    """How readings and model agree.

    Parameters
    ----------
    seen : Compared
    surprise : float
        Log evidence of the readings [-].
    bend : float
        How far the course was bent to meet them, 0 or more [-].
    is_usual : bool
        Whether the members are usual ones of the medium.

    Returns
    -------
    ReadingVerdict
    """
    scaled = np.full(len(seen.readings), np.nan)
    scaled[seen.places] = seen.miss
    worst = int(np.argmax(np.abs(seen.miss)))
    odd = seen.places[worst] if abs(seen.miss[worst]) > ODD else None
    elsewhere = bend > BENT or _runs_away(seen)
    if odd is not None:
        message = _odd_message(seen, odd, float(seen.told[worst]))
    elif not is_usual:
        message = UNUSUAL_MESSAGE
    else:
        message = BENT_MESSAGE if elsewhere else FITS_MESSAGE
    explained = odd is None and is_usual and not elsewhere
    return ReadingVerdict(
        explained, odd, tuple(float(m) for m in scaled), surprise, message, bend, is_usual
    )


def _runs_away(seen: Compared) -> bool:
    """Whether the latest reading, or all of them, lie off the members that fit best."""
    if seen.miss.size < FEW:
        return False
    last = int(np.argmax([seen.readings[k].t_h for k in seen.places]))
    rms = float(np.sqrt(np.mean(seen.miss**2)))
    return abs(float(seen.miss[last])) > LAST_ODD or rms > RMS_ODD


def _odd_message(seen: Compared, odd: int, told: float) -> str:
    reading = seen.readings[odd]
    assert reading.as_gravity is not None
    where = say(
        "the reading at {hours:g} h ({read}; runs say {run})",
        hours=reading.t_h,
        read=gravity_text(reading.as_gravity),
        run=gravity_text(told),
    )
    if int((np.abs(seen.miss) > ODD).sum()) == 1:
        return say(
            "None of {members} runs meets {where}: check that reading.",
            members=seen.members,
            where=where,
        )
    return say(
        "None of {members} runs looks like these readings; furthest off is {where}.",
        members=seen.members,
        where=where,
    )
