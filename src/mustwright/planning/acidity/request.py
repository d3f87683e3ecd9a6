"""What a maker asks about the acid of a must, and what was measured beside the sheet."""

from __future__ import annotations

from dataclasses import dataclass, field

from mustwright.errors import InputError
from mustwright.kinetics.ensemble_setting import MEMBERS, SEED
from mustwright.must.acidity.claims import lowest_shown, ph_floor
from mustwright.texts import say

MOST_MEMBERS = 20000


@dataclass(frozen=True)
class AcidityRequest:
    """What the maker asked and measured beside the sheet.

    Parameters
    ----------
    ph : float or None
        Measured before yeast; the sheet's own if not given here.
    by_strip : bool
        Read from a paper strip, not a meter.
    ta_g_l : float or None
        Titratable acid measured to pH 8.2, as tartaric [g/L].
    aim_ta_g_l : float or None
        Titratable acid wanted, as tartaric [g/L].
    floor : float
        pH to keep, 2.9 to 4.5.
    salt : str or None
        Name of the salt or acid; the shelf's or potassium bicarbonate where not given.
    bench : tuple of (float, float)
        Grams of the salt per litre of sample, pH it then showed.
    members, seed : int
    """

    ph: float | None = None
    by_strip: bool = False
    ta_g_l: float | None = None
    aim_ta_g_l: float | None = None
    floor: float = field(default_factory=ph_floor)
    salt: str | None = None
    bench: tuple[tuple[float, float], ...] = ()
    members: int = MEMBERS
    seed: int = SEED

    def __post_init__(self) -> None:
        _within(self.ph, "--ph", 2.0, 8.0, "pH")
        _within(self.ta_g_l, "--ta", 0.05, 40.0, say("g/L as tartaric"))
        _within(self.aim_ta_g_l, "--aim-ta", 0.05, 40.0, say("g/L as tartaric"))
        for grams, ph in self.bench:
            _within(grams, "--bench", 0.01, 20.0, "g/L")
            _within(ph, "--bench", 2.0, 10.0, "pH")
        _within(self.floor, "--floor", lowest_shown(), 4.5, "pH")
        _within(self.members, "--members", 50, MOST_MEMBERS, say("members"))
        _within(self.seed, "--seed", 0, 2**31, say("whole number"))


def _within(value: float | None, name: str, low: float, high: float, unit: str) -> None:
    if value is not None and not low <= value <= high:
        raise InputError(
            name,
            say("needs a number from {low:g} to {high:g} ({unit})", low=low, high=high, unit=unit),
            value,
        )
