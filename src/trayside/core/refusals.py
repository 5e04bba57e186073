"""Refusing impossible numbers: every core calculation asks here, so that every refusal reads alike."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trayside.errors import ImpossibleValue

Floats = NDArray[np.float64]


def numbers(
    value: ArrayLike,
    name: str,
    *,
    above: float | None = None,
    at_least: float | None = None,
    below: float | None = None,
    at_most: float | None = None,
    infinite_ok: bool = False,
) -> Floats:
    """The value as a float array, or a refusal that names the argument, the entry and the limit."""
    try:
        raw = np.asarray(value)
        if raw.dtype.kind in "USbMmc":
            raise TypeError
        array = raw.astype(np.float64)
    except (TypeError, ValueError):
        raise ImpossibleValue(f"not a number: {value!r}", where=name, remedy="Give a number") from None
    if not np.isfinite(array).all():
        refuse_where(np.isnan(array), array, name, "missing (NaN)", "Give the measured value, or leave this row out")
        if not infinite_ok:
            refuse_where(np.isinf(array), array, name, "infinite", "Give a finite number")
    if above is not None:
        refuse_where(~(array > above), array, name, f"must be more than {above:g}", "Check the entry and its unit")
    if at_least is not None:
        refuse_where(
            ~(array >= at_least), array, name, f"must be at least {at_least:g}", "Check the entry and its unit"
        )
    if below is not None:
        refuse_where(~(array < below), array, name, f"must be less than {below:g}", "Check the entry and its unit")
    if at_most is not None:
        refuse_where(~(array <= at_most), array, name, f"must be at most {at_most:g}", "Check the entry and its unit")
    return array


def refuse_where(bad: Any, value: ArrayLike, name: str, why: str, remedy: str) -> None:
    """Refuse if any entry is bad, naming the first bad entry and how many there are."""
    bad = np.asarray(bad)
    if not bad.any():
        return
    shown = np.broadcast_to(np.asarray(value, dtype=np.float64), bad.shape)
    first = np.unravel_index(int(np.argmax(bad)), bad.shape)
    place = f"{name}, entry {', '.join(str(int(i)) for i in first)}" if bad.ndim else name
    count = int(bad.sum())
    seen = float(shown[first])
    what = f"{seen:.12g} {why}" if np.isfinite(seen) else why
    raise ImpossibleValue(what + (f" ({count} entries in all)" if count > 1 else ""), where=place, remedy=remedy)


def together(**arrays: Floats) -> tuple[Floats, ...]:
    """All arrays at one common shape, or a refusal that lists the shapes that do not go together."""
    try:
        return tuple(np.broadcast_arrays(*arrays.values()))
    except ValueError:
        shapes = ", ".join(f"{name} {array.shape}" for name, array in arrays.items() if array.ndim)
        raise ImpossibleValue(
            f"the arrays do not go together: {shapes}",
            where=next(iter(arrays)),
            remedy="Give one number or arrays of one length",
        ) from None


def plain(array: Floats) -> Any:
    """Scalar in, plain float out; arrays stay arrays (and own their numbers)."""
    return float(array) if np.ndim(array) == 0 else np.array(array, dtype=np.float64)


def checked_cut(
    core_diameter_mm: ArrayLike, kerf_mm: ArrayLike, offset_mm: ArrayLike, *, offset_name: str = "offset_mm"
) -> tuple[Floats, Floats, Floats]:
    """Radius, kerf and offset at one shape, or a refusal in words."""
    diameter, kerf, offset = together(
        core_diameter_mm=numbers(core_diameter_mm, "core_diameter_mm", above=0.0),
        kerf_mm=numbers(kerf_mm, "kerf_mm", at_least=0.0),
        **{offset_name: numbers(offset_mm, offset_name)},
    )
    refuse_where(
        kerf >= diameter,
        kerf,
        "kerf_mm",
        "is as wide as the core: nothing would be left",
        "Check the blade width and the core size",
    )
    refuse_where(
        np.abs(offset) >= diameter / 2.0,
        offset,
        offset_name,
        "puts the middle of the blade outside the core: the blade would miss it",
        "Give the distance from the core axis to the middle of the blade, less than half the diameter",
    )
    return diameter / 2.0, kerf, offset
