"""How much nutrient may the starter of a restart still be given, and what held it back."""

from __future__ import annotations

import math

from mustwright.batch.allowed_additions import Room
from mustwright.texts import Text, capital, literal, say, uncapital


class RestartStock:
    """Organic nutrient for the starter, given until law, label or stock allow no more.

    Parameters
    ----------
    room : Room
        What they leave of it.
    """

    def __init__(self, room: Room) -> None:
        self.room = room
        self.used_g = 0.0
        self.short_g = 0.0

    def take(self, wanted_g: float) -> float:
        """Grams for one step, in tenths, never more than is left."""
        left = max(self.room.grams - self.used_g, 0.0)
        tenths = round(10 * wanted_g)
        if tenths > 10 * left + 1e-9:
            tenths = math.floor(10 * left + 1e-9)
        given = tenths / 10
        self.used_g += given
        self.short_g += max(wanted_g - given - 0.05, 0.0)
        return given

    @property
    def name(self) -> Text:
        """A name as it reads inside a sentence."""
        return uncapital(literal(self.room.name))

    def words(self) -> tuple[str, ...]:
        """What held it back, if anything did."""
        if self.short_g <= 0:
            return ()
        left = max(self.room.grams, 0.0)
        words = capital(self.room.words)
        if left < 0.05:
            return (
                say(
                    "{words}, and what was given already counts: none may still go in.", words=words
                ),
            )
        return (
            say(
                "{words}, and what was given already counts: "
                "at most {left:.1f} g of {nutrient} may still go in.",
                words=words,
                left=left,
                nutrient=self.name,
            ),
        )
