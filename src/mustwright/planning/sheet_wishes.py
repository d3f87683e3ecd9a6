"""What the maker wishes of the plan: the aim, how labels count, how protocols are followed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from mustwright.errors import InputError
from mustwright.planning.ranking import DEFAULT_AIM, Aim, aim_called, aims
from mustwright.texts import say

LABELS_BIND, LABELS_ADVISE = "bind", "advise"
FITTED, AS_WRITTEN = "fitted", "as_written"


def aim_of(goal: Mapping[str, Any]) -> Aim:
    """What the maker wants most; security if the sheet does not say.

    Raises
    ------
    InputError, UnknownKindError
    """
    wish = goal.get("aim", DEFAULT_AIM)
    if not isinstance(wish, str):
        raise InputError("goal.aim", say("needs one of {known}", known=", ".join(aims())), wish)
    return aim_called(wish)


def labels_advise(legal: Mapping[str, Any]) -> bool:
    """Whether the maxima of typed labels only advise.

    Raises
    ------
    InputError
    """
    wish = legal.get("labels", LABELS_BIND)
    if wish not in (LABELS_BIND, LABELS_ADVISE):
        needs = say(
            "needs '{bind}' (a label maximum is kept) or '{advise}'",
            bind=LABELS_BIND,
            advise=LABELS_ADVISE,
        )
        raise InputError("legal.labels", needs, wish)
    return bool(wish == LABELS_ADVISE)


def follows_author(goal: Mapping[str, Any]) -> bool:
    """Whether protocols are followed as their authors wrote them, the law apart.

    Raises
    ------
    InputError
    """
    wish = goal.get("protocols", FITTED)
    if wish not in (FITTED, AS_WRITTEN):
        needs = say(
            "needs '{fitted}' (to shelf, labels and law) or '{as_written}' (law apart)",
            fitted=FITTED,
            as_written=AS_WRITTEN,
        )
        raise InputError("goal.protocols", needs, wish)
    return bool(wish == AS_WRITTEN)
