"""Sets of depth intervals in whole micrometres: exact joining and cutting.

Depths at rest are whole millimetres, a tenth of a foot is 30.48 mm. Both are whole micrometres, so lengths, limits and
coincidences can be compared exactly, and a plan does not depend on the last bit of a float.
"""

import numpy as np

from trayside.core.refusals import numbers
from trayside.errors import ImpossibleValue

UM_PER_M = 1_000_000
DEEPEST_M = 20_000.0


def whole_um(*, depth_m, name: str = "depth_m") -> np.ndarray:
    """Depths or lengths in metres as whole micrometres, always one-dimensional.

    Rounded to the nearest micrometre, which loses nothing of a depth kept in whole millimetres or tenths of a foot.

    Parameters
    ----------
    depth_m : float or array (n,) [m]
        Depths or lengths.
    name : str
        What to call the numbers in an error.

    Returns
    -------
    array (n,) of int64
        Whole micrometres.

    Raises
    ------
    ImpossibleValue
        When a number is not finite, is negative, or is above 20 000 m.

    Valid for: 0 to 20 000 m.
    Source: derived.
    Checked by: tests/unit/core/test_stretches.py
    """
    values = np.atleast_1d(numbers(depth_m, name, at_least=0.0, at_most=DEEPEST_M))
    if values.ndim != 1:
        raise ImpossibleValue("not one list of numbers", where=name, remedy="Give one number per place")
    return np.rint(values * UM_PER_M).astype(np.int64)


def pairs_um(*, from_m, to_m, name: str) -> np.ndarray:
    """Intervals as an (n, 2) array of whole micrometres, sorted by their tops.

    Parameters
    ----------
    from_m : array (n,) [m]
        Tops.
    to_m : array (n,) [m]
        Bottoms.
    name : str
        What to call the intervals in an error.

    Returns
    -------
    array (n, 2) of int64
        Top and bottom of each interval, in micrometres.

    Raises
    ------
    ImpossibleValue
        When the lists differ in length or a bottom is not below its top.

    Valid for: 0 to 20 000 m.
    Source: derived.
    Checked by: tests/unit/core/test_stretches.py, tests/unit/core/test_intervals.py
    """
    top, bottom = whole_um(depth_m=from_m, name=f"{name} from"), whole_um(depth_m=to_m, name=f"{name} to")
    if len(top) != len(bottom):
        raise ImpossibleValue(
            f"{len(top)} from depths and {len(bottom)} to depths", where=name, remedy="Give a from and a to for each"
        )
    wrong = np.flatnonzero(bottom <= top)
    if len(wrong):
        a, b = top[wrong[0]] / UM_PER_M, bottom[wrong[0]] / UM_PER_M
        raise ImpossibleValue(
            f"from {a:g} m to {b:g} m has no length", where=name, remedy="The to depth must be below the from depth"
        )
    order = np.lexsort((bottom, top))
    return np.stack([top[order], bottom[order]], axis=1)


def joined(*, pairs: np.ndarray) -> np.ndarray:
    """Sorted intervals with every overlap and touch joined into one.

    Parameters
    ----------
    pairs : array (n, 2) of int64
        Intervals sorted by their tops.

    Returns
    -------
    array (k, 2) of int64
        Separate intervals covering the same ground.

    Raises
    ------
    Nothing.

    Valid for: sorted intervals with positive length.
    Source: derived.
    Checked by: tests/unit/core/test_stretches.py
    """
    if len(pairs) == 0:
        return np.empty((0, 2), dtype=np.int64)
    reach = np.maximum.accumulate(pairs[:, 1])
    starts = np.concatenate([[True], pairs[1:, 0] > reach[:-1]])
    first = np.flatnonzero(starts)
    last = np.append(first[1:], len(pairs)) - 1
    return np.stack([pairs[first, 0], reach[last]], axis=1)


def without(*, pairs: np.ndarray, holes: np.ndarray) -> np.ndarray:
    """What is left of the intervals when other ground is taken out of them.

    Parameters
    ----------
    pairs : array (n, 2) of int64
        Separate intervals, sorted; they may touch.
    holes : array (k, 2) of int64
        Ground to take out, separate and sorted.

    Returns
    -------
    array (j, 2) of int64
        The remaining pieces, sorted, each within one of the given intervals.

    Raises
    ------
    Nothing.

    Valid for: sorted separate intervals.
    Source: derived.
    Checked by: tests/unit/core/test_stretches.py
    """
    pieces = []
    for a, b in pairs.tolist():
        first = int(np.searchsorted(holes[:, 1], a, "right"))
        last = int(np.searchsorted(holes[:, 0], b, "left"))
        for c, d in holes[first:last].tolist():
            if c > a:
                pieces.append((a, c))
            a = max(a, d)
        if a < b:
            pieces.append((a, b))
    return np.array(pieces, dtype=np.int64).reshape(-1, 2)
