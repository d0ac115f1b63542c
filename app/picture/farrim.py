"""How far outside of its near rim a thick key's far one stands, as its cuts tell it, and what that says of other lines.

The uncut edge of a thick key has two rims as its floors have (:mod:`app.picture.rims`), at the same distance.  Once all
floors together have told that distance, it tells which of two long lines is the metal's edge: the near line has another
one that far outside of it, the far one has none there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.picture.logsum import logsumexp
from keycore.measured import Floats

MOST = 6.0
"""Of the far line no more than this counts: half of what it counts beside a floor, since what lies beside an uncut edge
(a groove, a bevel) runs along with it."""


@dataclass(frozen=True)
class FarRim:
    """Where a far rim may lie.

    Attributes
    ----------
    rows, log_p, log_none
        (v,) rows outward that it may lie, the log-probability of each, and that of none being seen.
    temper
        Power to which likelihood ratios are taken (:mod:`app.picture.rims`).
    """

    rows: NDArray[np.intp]
    log_p: Floats
    log_none: float
    temper: float

    def for_near(self, ratio: Floats) -> Floats:
        """(..., m) what speaks for a near rim at each row: 0 where nothing does, less where a far rim should show.

        Parameters
        ----------
        ratio
            (..., m) log-likelihood ratio of a line to the light at each row, outward along the last axis.
        """
        seen = self.temper * np.minimum(ratio, MOST)
        nothing = np.zeros((*seen.shape[:-1], int(self.rows[-1])))  # is seen outside of the map
        beyond = np.concatenate([seen, nothing], axis=-1)
        by_rows = beyond[..., np.arange(seen.shape[-1])[:, None] + self.rows] + self.log_p
        none = np.full((*by_rows.shape[:-1], 1), self.log_none)
        return np.asarray(logsumexp(np.concatenate([by_rows, none], axis=-1), axis=-1) / self.temper)
