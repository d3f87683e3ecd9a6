"""What a form of the finishing bench asks: fields, their parts, and the ones many steps share."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date

Options = tuple[tuple[str, str], ...]
Given = Mapping[str, object]


@dataclass(frozen=True)
class Ask:
    """One field.

    Parameters
    ----------
    name : str
        As the use case calls it.
    label, hint : str
        What stands above it.
    options : tuple of (value, words)
        To choose from; empty for typing.
    shape : str
        ``line``, ``lines`` for several rows, ``tick`` for yes or no.
    known : str
        Name of a list of suggestions.
    """

    name: str
    label: str
    hint: str = ""
    options: Options = ()
    shape: str = "line"
    known: str = ""

    @property
    def said_hint(self) -> str:
        """The hint; a bare example is said to be one."""
        return f"such as {self.hint}" if self.hint[:1].isdigit() else self.hint


@dataclass(frozen=True)
class Part:
    """Fields that belong together; folded away where most makers leave them empty."""

    title: str
    asks: tuple[Ask, ...]
    folded: bool = False


@dataclass(frozen=True)
class Step:
    """One page of the bench.

    Parameters
    ----------
    takes : mapping of str to str
        Fields filled from another fact of the liquid: field to the fact's name.
    several : tuple of str
        Fields that may come several times; kept in one field, a row each.
    """

    slug: str
    title: str
    heading: str
    about: str
    button: str
    work: Callable[[Given, date], object]
    parts: tuple[Part, ...]
    cautions: tuple[str, ...]
    takes: Mapping[str, str] = field(default_factory=dict)
    several: tuple[str, ...] = ()

    @property
    def asks(self) -> tuple[Ask, ...]:
        """Every field of the form but the rows of lots."""
        return tuple(ask for part in self.parts for ask in part.asks)

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the fields."""
        return tuple(ask.name for ask in self.asks)


VOLUME = Ask("volume", "Volume of the mead", "19 L or 5 US gal")
GRAVITY = Ask("gravity", "Gravity now", "0.998, or 2 Bx")
ALCOHOL = Ask("alcohol", "Alcohol", "12 %")
PH = Ask("ph", "pH, measured", "3.5")
TEMPERATURE = Ask("temperature", "Temperature of the mead", "20 C or 68 F")
RESIDUAL = Ask("residual_sugar", "Fermentable sugar left, measured", "2 g/L")
PROFILE = Ask("profile", "Law to keep to", "", (
    ("", "home"), ("us", "United States"), ("eu", "European Union"),
))  # fmt: skip
SCALE = Ask("scale", "What your scale shows", "0.1 g")
MOISTURE = Ask("moisture", "Water in your honey", "17.5 %")
BRIX = Ask("brix", "Brix of your juice or fruit", "12 Bx")
ACIDITY = Ask("acidity", "Titratable acidity now, as tartaric", "5 g/L")
STABILISED = Ask("stabilised", "How yeast was stopped", "", (
    ("", "nothing said yet"), ("sulfite+sorbate", "sulfite and sorbate"),
    ("pasteurised", "pasteurised"), ("sterile-filtered", "filtered sterile"),
    ("alcohol", "by its own alcohol, proven"), ("no", "it was not"),
))  # fmt: skip
TOLERANCE = Ask("tolerance", "Alcohol the yeast can reach", "12 to 14 %")
STILL = Ask("days_still", "Days gravity stood still with sugar left", "28 d")
PROOF = Part("Proof that alcohol alone stops the yeast", (TOLERANCE, STILL), folded=True)
