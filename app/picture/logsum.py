"""Sums of probabilities that are held as logarithms, without the set-up time that small arrays cannot bear."""

from __future__ import annotations

from typing import Any

import numpy as np

from keycore.measured import Floats


def logsumexp(log_p: Floats, axis: int | None = None) -> Any:
    """``ln(sum(exp(log_p)))`` along an axis, or over everything.

    The largest is taken out first, so nothing overflows; at least one value along the axis must be finite.  The fit
    asks for some hundreds of these sums over a few hundred values each, where a general one spends most of its time on
    finding out what it was given.
    """
    most = log_p.max(axis=axis, keepdims=True)
    total = np.log(np.exp(log_p - most).sum(axis=axis, keepdims=True)) + most
    return total.item() if axis is None else np.squeeze(total, axis=axis)
