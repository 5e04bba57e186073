"""Where a depth lies in the yard: tray, row, centimetres from the row's left end, and back.

    tray 7      row 1 |=======core======[loss ]==core==|
                row 2 |==core==#=====core==============|    # driller's block
                row 3 |==core=====                     |
                      0 cm                           100 cm

A tray holds everything laid between its two depths: core, a spacer for each loss, and the blocks. Core reads like a
page; in a tray laid to and fro every second row runs from right to left. Centimetres always count from the left end.
Where trays overlap, the first one named that holds the depth answers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trayside.core.depth import Registration
from trayside.core.recovery import NANOMETRE_M, same_columns
from trayside.core.refusals import Floats, numbers, plain, refuse_where
from trayside.core.run_ownership import Whole, owned_stretches, owner_at
from trayside.core.tray_elements import BLOCK, SPACER, Elements, laid_elements
from trayside.errors import ImpossibleValue

DIRECTIONS = ("left_to_right", "boustrophedon")
SPACERS = ("full_length", "fixed")
KINDS = ("core", "loss", "block")


@dataclass(frozen=True, slots=True)
class TrayPlace:
    """Place of each depth: tray index (-1 none), row from 1 (0 none), centimetres (NaN none), in a spacer or not."""

    tray_index: Any
    row: Any
    left_cm: Any
    in_loss: Any


@dataclass(frozen=True, slots=True)
class DrawnPieces:
    """What is drawn, tray by tray and row by row: `kind` is "core", "loss" or "block"; `left_from_cm` < `left_to_cm`.

    `depth_from_m` is the upper depth of the piece; in a row that runs from right to left it lies at `left_to_cm`.
    """

    kind: NDArray[np.str_]
    tray_index: Whole
    row: Whole
    left_from_cm: Floats
    left_to_cm: Floats
    depth_from_m: Floats
    depth_to_m: Floats
    run_index: Whole


@dataclass(frozen=True, slots=True)
class TrayMap:
    """The trays of a hole with everything laid in them.

    `laid_m` is the length laid in each tray, `overfull_m` how much of it is more than the rows can hold (odd: flag it).
    """

    tray_from_m: Floats
    tray_to_m: Floats
    rows: Whole
    row_length_m: Floats
    laid_m: Floats
    overfull_m: Floats
    first_row: Whole
    row_tray: Whole
    row_number: Whole
    row_laid_from_m: Floats
    row_laid_to_m: Floats
    row_width_m: Floats
    row_backward: NDArray[np.bool_]
    own_from_m: Floats
    own_to_m: Floats
    own_tray: Whole
    elements: Elements

    def place_at(self, *, depth_m: ArrayLike) -> TrayPlace:
        """Tray, row and centimetres from the left end of each depth; a depth in a loss gets its place in the spacer."""
        depth = np.asarray(depth_m, dtype=np.float64)
        tray = owner_at(depth, self.own_from_m, self.own_to_m, self.own_tray)
        element, reached = self.elements.element_at(depth)
        found = (tray >= 0) & reached
        if not found.any():
            nothing = np.full(depth.shape, np.nan)
            return _place(np.full(depth.shape, -1), np.zeros(depth.shape, dtype=np.int64), nothing, found)
        safe_tray = np.where(found, tray, 0)
        laid = self.elements.laid_at(depth, np.where(found, element, self.elements.answers[0]))
        row = self._row_of(laid, safe_tray)
        along = laid - self.row_laid_from_m[row]
        left = np.where(self.row_backward[row], self.row_width_m[row] - along, along)
        return _place(
            np.where(found, tray, -1),
            np.where(found, self.row_number[row], 0),
            np.where(found, left * 100.0, np.nan),
            found & (self.elements.kind[element] == SPACER),
        )

    def depth_at(self, *, tray_index: ArrayLike, row: ArrayLike, left_cm: ArrayLike) -> Any:
        """Depth of places in the trays; NaN in a spacer, in a block, off the core and where no such row is."""
        tray, number, left = np.broadcast_arrays(
            np.asarray(tray_index, dtype=np.int64),
            np.asarray(row, dtype=np.int64),
            np.asarray(left_cm, dtype=np.float64),
        )
        known = (tray >= 0) & (tray < len(self.rows)) & (number >= 1)
        known &= number <= self.rows[np.where(known, tray, 0)] if len(self.rows) else False
        if not known.any():
            return plain(np.full(left.shape, np.nan))
        index = np.where(known, self.first_row[np.where(known, tray, 0)] + number - 1, 0)
        along = np.where(self.row_backward[index], self.row_width_m[index] - left / 100.0, left / 100.0)
        laid = self.row_laid_from_m[index] + along
        known &= (along >= -NANOMETRE_M) & (laid <= self.row_laid_to_m[index] + NANOMETRE_M)
        return plain(np.where(known, self.elements.depth_at(laid), np.nan))

    def pieces(self) -> DrawnPieces:
        """Everything drawn: core, loss spacers and blocks, cut at the ends of rows, in reading order of the rows."""
        e = self.elements
        # A block without width still stands at the end of its run: in the row that ends there, not in the next.
        thin = e.laid_to_m - e.laid_from_m <= NANOMETRE_M
        solid = np.flatnonzero(~thin)
        low, high = self.row_laid_from_m, self.row_laid_to_m
        first = np.searchsorted(e.laid_to_m[solid], low + NANOMETRE_M, side="right")
        stop = np.searchsorted(e.laid_from_m[solid], high - NANOMETRE_M, side="left")
        row_index, element = _spread(first, stop)
        element = solid[element]
        blocks = np.flatnonzero(thin & (e.kind == BLOCK))
        first = np.searchsorted(e.laid_from_m[blocks], low + NANOMETRE_M, side="right")
        stop = np.searchsorted(e.laid_from_m[blocks], high + NANOMETRE_M, side="right")
        thin_row, thin_block = _spread(first, stop)
        row_index, element = np.append(row_index, thin_row), np.append(element, blocks[thin_block])

        laid_from = np.maximum(e.laid_from_m[element], low[row_index])
        laid_to = np.minimum(e.laid_to_m[element], high[row_index])
        laid_from = np.minimum(laid_from, laid_to)
        order = np.lexsort((element, laid_from, row_index))
        row_index, element, laid_from, laid_to = (a[order] for a in (row_index, element, laid_from, laid_to))
        near, far = laid_from - low[row_index], laid_to - low[row_index]
        backward, width = self.row_backward[row_index], self.row_width_m[row_index]
        return DrawnPieces(
            kind=np.asarray(KINDS)[e.kind[element]],
            tray_index=self.row_tray[row_index],
            row=self.row_number[row_index],
            left_from_cm=np.where(backward, width - far, near) * 100.0,
            left_to_cm=np.where(backward, width - near, far) * 100.0,
            depth_from_m=e.depth_along(laid_from, element),
            depth_to_m=e.depth_along(laid_to, element),
            run_index=e.run[element],
        )

    def _row_of(self, laid: Floats, tray: Whole) -> Whole:
        """Index in the row table: the row of the tray in which a laid length lies; the last row used holds the end."""
        number = np.zeros(laid.shape, dtype=np.int64)
        for step in range(1, int(self.rows.max())):
            # Where row number `step` ends above the point and something lies in the row below, go on to that row.
            here = self.first_row[tray] + np.minimum(step, self.rows[tray] - 1)
            below = (self.row_laid_from_m[here] <= laid + NANOMETRE_M) & (step < self.rows[tray])
            filled = self.row_laid_to_m[here] - self.row_laid_from_m[here] > NANOMETRE_M
            number = np.where(below & filled, step, number)
        return self.first_row[tray] + number


def tray_map(
    *,
    tray_from_m: ArrayLike,
    tray_to_m: ArrayLike,
    rows: ArrayLike,
    row_length_m: ArrayLike,
    registration: Registration,
    direction: str = "left_to_right",
    loss_spacer: str = "full_length",
    fixed_spacer_m: float = 0.1,
    block_m: float = 0.0,
    row_end_m: Sequence[ArrayLike | None] | None = None,
) -> TrayMap:
    """Lay the core of a hole into its trays.

    Core, spacers and blocks between the two depths of a tray fill its rows one after another, each to the row length.
    What is more than the rows can hold is shared evenly over them and told, not cut off. Measured depths at the row
    ends, where given, decide instead. A block that stands at the depth where two trays part lies in the upper one.

    Parameters
    ----------
    tray_from_m : float array (t,) [m]
        Depth at the start of each tray.
    tray_to_m : float array (t,) [m]
        Depth at the end of each tray.
    rows : int or array (t,)
        Rows of each tray.
    row_length_m : float or array (t,) [m]
        Inside length of a row.
    registration : Registration
        The tie of core to depth.
    direction : str
        "left_to_right" (every row) or "boustrophedon" (rows 2, 4, ... from right to left).
    loss_spacer : str
        "full_length": a spacer as long as the loss; "fixed": one short block for each loss.
    fixed_spacer_m : float [m]
        Length of that short block.
    block_m : float [m]
        Width of the driller's block at the end of each run; 0 when it stands on the core.
    row_end_m : sequence (t,) of float array or None [m]
        Depth at the end of each row, measured; None for a tray without measurements.

    Returns
    -------
    TrayMap
        .place_at(depth_m=...), .depth_at(tray_index=..., row=..., left_cm=...), .pieces(); .laid_m (t) [m] laid in each
        tray; .overfull_m (t) [m] more than its rows hold.

    Raises
    ------
    ImpossibleValue
        When a tray does not end below its start, has no row or no length, measured row ends do not rise inside
        their tray or leave core without a row, or a setting is unknown.

    Valid for: trays of straight rows of one length.
    Source: core reads like a page: common practice, no source; a spacer for every loss so that the whole run shows:
        Kirtland AFB SOP, yumpu 38434557 p. 226 (seen); filling of rows derived.
    Checked by: tests/unit/core/test_tray_map.py, tests/properties/test_tray_map_properties.py
    """
    _one_of(direction, DIRECTIONS, "direction")
    _one_of(loss_spacer, SPACERS, "loss_spacer")
    top = numbers(tray_from_m, "tray_from_m", at_least=0.0)
    bottom = numbers(tray_to_m, "tray_to_m", at_least=0.0)
    same_columns(tray_from_m=top, tray_to_m=bottom)
    refuse_where(
        bottom - top < NANOMETRE_M, bottom, "tray_to_m", "does not lie below tray_from_m", "Check the tray's depths"
    )
    count = _for_each_tray(rows, "rows", len(top))
    refuse_where(
        (count < 1.0) | (count != np.rint(count)), count, "rows", "must be a whole number from 1", "Count the rows"
    )
    width = _for_each_tray(row_length_m, "row_length_m", len(top))
    refuse_where(width <= 0.0, width, "row_length_m", "must be more than 0", "Measure the row")
    spacer = float(numbers(fixed_spacer_m, "fixed_spacer_m", above=0.0))
    elements = laid_elements(
        registration=registration,
        fixed_spacer_m=spacer if loss_spacer == "fixed" else None,
        block_m=float(numbers(block_m, "block_m", at_least=0.0)),
    )

    rows_of = count.astype(np.int64)
    starts, stops = elements.laid_above(top), elements.laid_above(bottom)
    laid = stops - starts
    measured = _measured_ends(row_end_m, top, bottom, rows_of)
    ends = [
        _row_ends(float(a), float(b), int(n), float(w), None if m is None else elements.laid_above(m))
        for a, b, n, w, m in zip(starts, stops, rows_of, width, measured, strict=True)
    ]
    row_tray = np.repeat(np.arange(len(top)), rows_of)
    first_row = np.concatenate(([0], np.cumsum(rows_of)))[:-1].astype(np.int64)
    row_number = np.arange(len(row_tray)) - first_row[row_tray] + 1
    row_to = np.concatenate([*ends, np.zeros(0)])
    row_from = np.concatenate(([0.0], row_to))[:-1] if len(row_to) else row_to.copy()
    row_from[first_row] = starts
    over = np.maximum(row_to - row_from - width[row_tray], 0.0)
    overfull = np.bincount(row_tray, weights=over, minlength=len(top))
    own_from, own_to, own_tray = owned_stretches(top, bottom)
    return TrayMap(
        tray_from_m=top,
        tray_to_m=bottom,
        rows=rows_of,
        row_length_m=width,
        laid_m=laid,
        overfull_m=np.where(overfull > NANOMETRE_M, overfull, 0.0),
        first_row=first_row,
        row_tray=row_tray,
        row_number=row_number,
        row_laid_from_m=row_from,
        row_laid_to_m=row_to,
        row_width_m=np.maximum(width[row_tray], row_to - row_from),
        row_backward=(row_number % 2 == 0) & (direction == "boustrophedon"),
        own_from_m=own_from,
        own_to_m=own_to,
        own_tray=own_tray,
        elements=elements,
    )


def _one_of(setting: str, settings: tuple[str, ...], name: str) -> None:
    if setting not in settings:
        raise ImpossibleValue(f"{setting!r} is no {name}", where=name, remedy=f"Use one of {', '.join(settings)}")


def _for_each_tray(value: ArrayLike, name: str, trays: int) -> Floats:
    """One number for every tray."""
    array = numbers(value, name)
    if array.shape not in ((), (trays,)):
        raise ImpossibleValue(
            f"{array.size} values of {name} for {trays} trays",
            where=name,
            remedy="Give one value, or one for each tray",
        )
    return np.array(np.broadcast_to(array, (trays,)))


def _row_ends(start: float, stop: float, rows: int, width: float, measured: Floats | None) -> Floats:
    """Laid length at the end of each row of one tray."""
    if measured is not None:
        ends = np.full(rows, stop)
        ends[: len(measured)] = np.minimum(measured, stop)
        return ends
    each = width if stop - start <= rows * width + NANOMETRE_M else (stop - start) / rows
    ends = np.minimum(start + each * np.arange(1, rows + 1), stop)
    ends[-1] = stop
    return ends


def _measured_ends(
    row_end_m: Sequence[ArrayLike | None] | None, top: Floats, bottom: Floats, rows: Whole
) -> list[Floats | None]:
    """Measured row-end depths by tray; refuses those that do not fit their tray."""
    if row_end_m is None:
        return [None] * len(top)
    if len(row_end_m) != len(top):
        raise ImpossibleValue(
            f"row ends for {len(row_end_m)} of {len(top)} trays",
            where="row_end_m",
            remedy="Give None for a tray without",
        )
    found: list[Floats | None] = []
    for tray, given in enumerate(row_end_m):
        if given is None:
            found.append(None)
            continue
        ends = numbers(given, "row_end_m")
        where, low, high = f"tray, index {tray}", float(top[tray]), float(bottom[tray])
        if ends.ndim != 1 or not 1 <= len(ends) <= rows[tray]:
            raise ImpossibleValue(
                f"{ends.size} row ends for {rows[tray]} rows", where=where, remedy="Give one depth for each row used"
            )
        if np.any(np.diff(ends) <= 0.0) or ends[0] <= low or ends[-1] > high + NANOMETRE_M:
            raise ImpossibleValue(
                f"the row ends do not rise between {low:.3f} m and {high:.3f} m",
                where=where,
                remedy="Check the depths at the row ends",
            )
        if len(ends) == rows[tray] and ends[-1] < high - NANOMETRE_M:
            raise ImpossibleValue(
                f"the last row ends at {ends[-1]:.3f} m, the tray at {high:.3f} m",
                where=where,
                remedy="Check the tray's end depth and the depth at the end of its last row",
            )
        found.append(ends)
    return found


def _spread(first: Whole, stop: Whole) -> tuple[Whole, Whole]:
    """Every pair (row, number) with first[row] <= number < stop[row]."""
    counts = np.maximum(stop - first, 0)
    row = np.repeat(np.arange(len(first)), counts)
    within = np.arange(int(counts.sum())) - np.repeat(np.cumsum(counts) - counts, counts)
    return row, first[row] + within


def _place(tray: Whole, row: Whole, left_cm: Floats, in_loss: NDArray[np.bool_]) -> TrayPlace:
    """Plain numbers for a single depth, arrays for many."""
    if np.ndim(left_cm) == 0:
        return TrayPlace(int(tray), int(row), float(left_cm), bool(in_loss))
    return TrayPlace(tray, row, left_cm, in_loss)
