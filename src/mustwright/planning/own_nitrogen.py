"""What does the must bring itself: enough, so that nothing need be fed, or a part of it."""

from __future__ import annotations

from mustwright.nutrition.choose import SHORT_MG_L
from mustwright.planning.must_setup import Ground
from mustwright.texts import join, say

WORTH_SAYING = 0.25  # of the demand: less is what plain honey brings (assumed)


def own_nitrogen(ground: Ground) -> str:
    """How the must's own nitrogen stands to what its yeast needs; empty for a plain honey must.

    Parameters
    ----------
    ground : Ground
    """
    credit, demand = ground.setting.credit, ground.setting.demand().value
    own = credit.nitrogen_mg_l
    if demand <= 0 or own.value < WORTH_SAYING * demand:
        return ""
    brings = say("This must brings {own:.0f} mg N/L of its own", own=own.value)
    if own.low is not None and own.high is not None and not credit.measured:
        brings = say(
            "This must brings {own:.0f} mg N/L of its own (usually {low:.0f} to {high:.0f})",
            own=own.value,
            low=own.low,
            high=own.high,
        )
    low = own.value if credit.measured or own.low is None else own.low
    unsure = [] if credit.measured else [say("Measure its nitrogen (YAN) if you can.")]
    if low >= demand:
        return say(
            "{brings}, all of the {demand:.0f} its yeast needs: no feed is needed.",
            brings=brings,
            demand=demand,
        )
    if own.value >= demand - SHORT_MG_L:
        all_of_it = say(
            "{brings}, most likely all of the {demand:.0f} its yeast needs.",
            brings=brings,
            demand=demand,
        )
        return join(" ", (all_of_it, *unsure))
    part = say(
        "{brings} of the {demand:.0f} its yeast needs: it lacks {lacks:.0f}, so its feeds are "
        "smaller than those of a honey must.",
        brings=brings,
        demand=demand,
        lacks=demand - own.value,
    )
    return join(" ", (part, *unsure))
