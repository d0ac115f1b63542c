"""Lobes: what taking off the wide part of a change leaves beside every edge.

A change across an edge is looked at without what is wide (a shadow's soft ramp): with a fine Gaussian's derivative F
and a wide one's W, the change is F - W.  At a step, W reaches farther than F does, and leaves a lobe of the other sign
on either side, two to four tenths as high as the edge and a quarter of a millimetre from it.  In a clean picture that
is many times the noise, so wherever a line counts with either sign, lobes would be edges.

Where F is less than W, or has the other sign, F - W is no change that is there.  So what is wide is taken off as far
as F goes and no farther:

    change = F - W, held between 0 and F

At an edge itself it stays F - W, and a real edge within another one's lobe stays F.  It is done with the sums along a
whole line, as all that is not linear here.  On a copy only a rise to the lighter outside counts, so its lobes do not.

So it is done for flanks, uncut edges and backs.  Floors keep theirs: a lobe inside the far rim of a thick key makes the
near one stronger, and that is the metal's (of 1024 scans and card photos 941 are read right without them, 951 with).
For the same reason, and since its thresholds were measured so, a dark band is looked for with them.
"""

from __future__ import annotations

import numpy as np

from keycore.measured import Floats


def without_lobes(change: Floats, wide: Floats) -> Floats:
    """Sums of a change (F - W) along lines, without the lobes that ``wide`` (W) has left beside edges."""
    whole = change + wide
    return np.asarray(np.clip(change, np.minimum(whole, 0.0), np.maximum(whole, 0.0)))
