"""What may be said of a pH: how low it is shown, which is kept, when a risk gets its name."""

from __future__ import annotations

from typing import Any

from mustwright import data
from mustwright.texts import say

# Above the floor [pH]: a salt begins only below the first, its second half only below the other
# (assumed, as the steps of a dose say).
ADD_UNDER, REST_UNDER = 0.3, 0.2


def claims_data() -> dict[str, Any]:
    """What may be shown, and at what chance a risk gets its name."""
    return dict(data.load("acids")["claims"])


def ph_floor() -> float:
    """The pH to keep unless another is asked for; under it yeast struggles."""
    return float(data.load("acids")["claims"]["default_floor"])


def lowest_shown() -> float:
    """The pH below which nothing is claimed, as a ferment would likely stall there."""
    return float(data.load("acids")["claims"]["lowest_shown"])


def stall_words() -> str:
    """What is said of the pH below that."""
    return say("below {ph:g}, likely to stall", ph=lowest_shown())
