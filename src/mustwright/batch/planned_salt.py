"""The salt of a batch's plan: kept with it, and open until the pH was read at its moment.

The plan foresees a dose; whether and how much goes in is for the pH read then, by the one advice
against a low pH (`mustwright.batch.salt_advice`). So an open part asks for that reading.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from mustwright.batch.falls_due import FallsDue
from mustwright.must.acidity.claims import ADD_UNDER
from mustwright.nutrition.plan_salt import PlanSalt
from mustwright.texts import join, literal, say, uncapital


@dataclass(frozen=True)
class PlannedPart(FallsDue):
    """One part of the dose.

    Parameters
    ----------
    trigger : mapping
        As written in a protocol file, under ``when``.
    expected_h, low_h, high_h : float
        Hours after pitch when the plan was made [h].
    """

    key: str
    grams: float
    trigger: Mapping[str, Any]
    words: str
    expected_h: float
    low_h: float
    high_h: float
    sugar_used: float


@dataclass(frozen=True)
class PlannedSalt:
    """The salt a plan foresees.

    Parameters
    ----------
    floor : float
        pH it is to keep.
    steps, cautions : tuple of str
    """

    salt: str
    name: str
    grams: float
    floor: float
    parts: tuple[PlannedPart, ...]
    steps: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()

    @property
    def caution(self) -> str:
        """What to mind where the hand is: the powder and the foam."""
        return join(" ", self.cautions[:2])

    def dose_words(self, part: PlannedPart) -> str:
        """A part with the pH it is for.

        Examples
        --------
        >>> one = PlannedPart("s1", 7.7, {"when": "onset"}, "", 40.0, 30.0, 60.0, 0.15)
        >>> PlannedSalt("khco3", "Potassium bicarbonate", 7.7, 3.2, (one,)).dose_words(one)
        '7.7 g potassium bicarbonate, in halves, under pH 3.5'
        """
        return say(
            "{grams:g} g {salt}, in halves, under pH {ph:.1f}",
            grams=part.grams,
            salt=uncapital(literal(self.name)),
            ph=self.floor + ADD_UNDER,
        )


def planned_salt(salt: PlanSalt | None) -> PlannedSalt | None:
    """The salt of a plan as a batch keeps it; None where nothing is to go in."""
    if salt is None or not salt.parts:
        return None
    parts = tuple(
        PlannedPart(
            part.key,
            part.grams.value,
            {"when": part.trigger_rule},
            part.trigger,
            part.expected_h.value,
            part.expected_h.value if part.expected_h.low is None else part.expected_h.low,
            part.expected_h.value if part.expected_h.high is None else part.expected_h.high,
            part.sugar_used,
        )
        for part in salt.parts
    )
    return PlannedSalt(
        salt.salt, salt.name, salt.grams.value, salt.floor, parts, salt.steps, salt.cautions
    )
