"""What became of the nitrogen: taken up while cells grew, taken up later, or left."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mustwright.kinetics import simulate
from mustwright.kinetics.bands import Band, single

GROWN = 0.95  # of the cells there will be: from then on they count as no longer growing


@dataclass(frozen=True)
class NitrogenUse:
    """What became of the nitrogen.

    Parameters
    ----------
    unused_ammonium_mg_l, unused_amino_mg_l : Band
        Left at the horizon [mg N/L].
    share_while_growing : Band
        Of all that was taken up, the part while cells still grew; the rest only quickened them.
    """

    unused_ammonium_mg_l: Band
    unused_amino_mg_l: Band
    share_while_growing: Band


def nitrogen_use(run: simulate.Run) -> NitrogenUse:
    """What became of the nitrogen of a run.

    Notes
    -----
    Cells count as growing until they stand at 95 % of the most they come to. What was taken up is
    what was there and fed so far, less what is left, at the kept times.
    """
    from mustwright.kinetics.ensemble import KEPT

    total = run.kept[KEPT.index("total")].astype(float)
    taken = run.taken_n_g_l
    grown = np.argmax(total >= total[0] + GROWN * (total.max(axis=0) - total[0]), axis=0)
    early = np.take_along_axis(taken, grown[None], axis=0)[0]
    share = np.clip(early / np.maximum(taken[-1], 1e-6), 0.0, 1.0)
    return NitrogenUse(
        single(1000 * run.kept[KEPT.index("ammonium_n")][-1]),
        single(1000 * run.kept[KEPT.index("amino_n")][-1]),
        single(share),
    )
