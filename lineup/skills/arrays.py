"""Names for arrays, and sums over groups of rows."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
Bools = NDArray[np.bool_]


def group_sums(group: Ints, values: Floats, groups: int) -> Floats:
    """Sum values per group; shape (groups,), zero for a group without rows."""
    sums: Floats = np.bincount(group, weights=values, minlength=groups).astype(np.float64)
    return sums
