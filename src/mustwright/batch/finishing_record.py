"""What a finishing step put in or took out, as the log of a batch keeps it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import ClassVar

from mustwright.errors import InputError, not_plain
from mustwright.texts import say

# By step: what the log calls it, the event of the batch that it stands for, if any, and what
# became of the litres that left.
STEPS: Mapping[str, tuple[str, str, str]] = {
    "stable": (say("Judged"), "", ""),
    "rack": (say("Racked"), "racked", say("left behind")),
    "sulfite": (say("Sulfite added"), "sulfited", ""),
    "sorbate": (say("Sorbate added"), "sorbated", ""),
    "sweeten": (say("Sweetened"), "honey_in", ""),
    "acid": (say("Acidity adjusted"), "ph_adjusted", ""),
    "tannin": (say("Tannin added"), "", ""),
    "fruit": (say("Late fruit in"), "fruit_in", ""),
    "spice": (say("Spice in"), "", ""),
    "blend": (say("Blended"), "", say("not in the blend")),
    "drawn": (say("Drawn off"), "", say("taken out")),
    "carbonate": (say("Carbonated"), "", ""),
    "bottle": (say("Bottled"), "bottled", say("bottled or left in the hose")),
}
# Grams of these stay in the vessel however it is thinned; what leaves takes its share along.
HELD = ("total_so2", "sorbic_acid", "potassium", "calcium", "sodium", "sugar", "acidity", "ethanol")
# Facts of a mead that may be measured, or known once a step is done, by their names there.
FACTS = (
    "volume_l", "gravity", "alcohol_pct", "ph", "temperature_c", "acidity_g_l",
    "residual_sugar_g_l", "original_gravity", "free_so2_mg_l", "total_so2_mg_l",
    "molecular_so2_mg_l", "sorbic_acid_mg_l", "potassium_mg_l", "calcium_mg_l", "co2_g_l",
)  # fmt: skip
MOST_G, MOST_L = 1e9, 1e6
MOST_ADDED, MOST_NAMED, LONGEST = 20, 80, 4000


@dataclass(frozen=True)
class Poured:
    """A liquid that went in: all of it, what is dissolved besides ethanol, the ethanol [g]."""

    mass_g: float
    extract_g: float
    ethanol_g: float

    def __post_init__(self) -> None:
        for name in ("mass_g", "extract_g", "ethanol_g"):
            _within(name, getattr(self, name), -MOST_G, MOST_G)


@dataclass(frozen=True)
class Added:
    """Something that went in, as it was measured out.

    Parameters
    ----------
    substance, name : str
        Id, and in plain words.
    grams : float
        As they went in [g].
    brings_g : mapping of str to float
        What the batch gained in all, of `HELD` [g].
    liquid : Poured or None
        Its liquid, if it adds to the volume.
    litres : float or None
        Where it was measured out by volume [L].
    """

    substance: str
    name: str
    grams: float
    brings_g: Mapping[str, float] = field(default_factory=dict)
    liquid: Poured | None = None
    litres: float | None = None

    def __post_init__(self) -> None:
        for name in ("substance", "name"):
            if not 0 < len(getattr(self, name)) <= 120:
                raise InputError(name, say("needs 1 to 120 characters"), getattr(self, name))
        _within("grams", self.grams, 0, MOST_G)
        if self.litres is not None:
            _within("litres", self.litres, 0, MOST_L)
        for name, value in self.brings_g.items():
            if name not in HELD:
                raise InputError(
                    "brings_g", say("needs one of {known}", known=", ".join(HELD)), name
                )
            _within(f"brings_g.{name}", value, -MOST_G, MOST_G)

    def times(self, factor: float) -> Added:
        """The same, scaled by a factor."""
        liquid = self.liquid
        return replace(
            self,
            grams=self.grams * factor,
            brings_g={name: value * factor for name, value in self.brings_g.items()},
            liquid=None
            if liquid is None
            else Poured(
                liquid.mass_g * factor, liquid.extract_g * factor, liquid.ethanol_g * factor
            ),
            litres=None if self.litres is None else self.litres * factor,
        )


@dataclass(frozen=True)
class StepDone:
    """A step of the finishing bench, done: what went in and out, and what it was worked out from.

    Parameters
    ----------
    step : str
        One of `STEPS`.
    added : tuple of Added
        What really went in, which may differ from the answer.
    lost_l : float
        What left the vessel, before anything went in [L].
    measured : mapping of str to float
        Facts of the mead that the maker typed instead of the batch's own; they hold from here on.
    after : mapping of str to float
        Facts that hold once it is done but do not follow from what went in and out.
    volume_before_l, volume_after_l : float or None
        As they were when it was written [L].
    words : mapping of str to str
        Facts in words: how yeast was stopped, the verdict, the lot code.
    asked : mapping of str to str
        The fields of the step, so that its working can be read again.
    said : str
        The answer that was followed.
    protected : bool
        Whether yeast could not eat what went in.
    sent_as : str
        Stands for all that the form said that wrote it; empty where no form did.
    """

    kind: ClassVar[str] = "finish"
    step: str
    added: tuple[Added, ...] = ()
    lost_l: float = 0.0
    measured: Mapping[str, float] = field(default_factory=dict)
    after: Mapping[str, float] = field(default_factory=dict)
    volume_before_l: float | None = None
    volume_after_l: float | None = None
    words: Mapping[str, str] = field(default_factory=dict)
    asked: Mapping[str, str] = field(default_factory=dict)
    said: str = ""
    protected: bool = False
    note: str = ""
    sent_as: str = ""

    def __post_init__(self) -> None:
        if self.step not in STEPS:
            raise InputError("step", say("needs one of {known}", known=", ".join(STEPS)), self.step)
        if len(self.added) > MOST_ADDED:
            raise InputError(
                "added",
                say("needs at most {most} things", most=MOST_ADDED),
                len(self.added),
            )
        _within("lost_l", self.lost_l, 0, MOST_L)
        for name in ("volume_before_l", "volume_after_l"):
            if getattr(self, name) is not None:
                _within(name, getattr(self, name), 0, MOST_L)
        for where in ("measured", "after"):
            for name, value in getattr(self, where).items():
                if name not in FACTS:
                    raise InputError(
                        where, say("needs one of {known}", known=", ".join(FACTS)), name
                    )
                _within(f"{where}.{name}", value, -50, MOST_L)
        self._short_enough()

    def _short_enough(self) -> None:
        for where in ("words", "asked"):
            named: Mapping[str, str] = getattr(self, where)
            if len(named) > MOST_NAMED:
                raise InputError(
                    where,
                    say("needs at most {most} fields", most=MOST_NAMED),
                    len(named),
                )
            for name, text in named.items():
                if len(name) > 80 or len(text) > LONGEST or not_plain(name + text):
                    raise InputError(
                        f"{where}.{name[:80]}", say("needs a shorter plain text"), text
                    )
        for where in ("said", "note", "sent_as"):
            if len(getattr(self, where)) > LONGEST or not_plain(getattr(self, where)):
                raise InputError(
                    where, say("needs at most {most} plain characters", most=LONGEST), "more"
                )

    @property
    def title(self) -> str:
        """What the log calls it."""
        return STEPS[self.step][0]

    @property
    def event(self) -> str:
        """The event of the batch it counts as; empty for none."""
        return STEPS[self.step][1]

    @property
    def leaving(self) -> str:
        """What became of the litres that left."""
        return STEPS[self.step][2] or say("taken out")

    def left_over(self, at: datetime) -> list[str]:
        """What was not poured into a blend is still there, in a vessel of its own; in words."""
        if self.step != "blend" or self.lost_l <= 0:
            return []
        words = say(
            "{litres:.2f} L were left over from the blend of {at:%Y-%m-%d}, as "
            "they were before: they belong to this batch, but the figures here "
            "are of the blend.",
            litres=self.lost_l,
            at=at,
        )
        return [words]

    @property
    def mixes(self) -> bool:
        """Whether a liquid went in, so that gravity and alcohol are no longer what they were."""
        return any(one.liquid is not None for one in self.added)

    @property
    def ends_ferment(self) -> bool:
        """Whether readings after it show sweetness, or another mead, and not the ferment."""
        return self.step == "blend" or (self.mixes and self.protected)


def _within(name: str, value: float, low: float, high: float) -> None:
    if not math.isfinite(value) or not low <= value <= high:
        raise InputError(
            name, say("needs a value from {low:g} to {high:g}", low=low, high=high), value
        )
