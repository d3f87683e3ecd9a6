"""What the scale can show: grams to its step, within every ceiling."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from mustwright.nutrition.dosing_problem import Ceiling, Floats


def round_to_scale(
    grams: Floats, step_g: float, ceilings: Sequence[Ceiling], volume_l: float
) -> Floats:
    """Grams as the scale can show them: the nearest step, or the one below to keep every ceiling.

    Parameters
    ----------
    grams : ndarray
        Feeds by jars, at least 0 [g].
    step_g : float
        Smallest step of the scale, above 0 [g].
    ceilings : sequence of Ceiling
    volume_l : float
        Of the must, above 0 [L].

    Returns
    -------
    ndarray
        Feeds by jars [g].

    Notes
    -----
    No amount moves up by more than half a step; where the rounded sum breaks a ceiling, the
    amounts rounded up most are rounded down instead, one at a time.
    """
    steps = np.floor(grams / step_g + 0.5)
    exact = grams / step_g
    for ceiling in ceilings:
        weights = np.array(ceiling.weights)
        for _ in range(int(grams.size) + 1):
            amount = float(steps.sum(axis=0) @ weights) * step_g / volume_l
            if amount <= ceiling.most * (1 + 1e-9) + 1e-12:
                break
            excess = np.where((weights[None, :] > 0) & (steps > 0), steps - exact, -np.inf)
            i, j = np.unravel_index(int(np.argmax(excess)), excess.shape)
            steps[i, j] -= 1
    return np.asarray(np.round(steps * step_g, 9))
