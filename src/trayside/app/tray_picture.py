"""What a picture of one tray holds: pieces, marks, blocks and samples, each at its place in its row.

Places are millimetres from the left end of the row, as a tape laid in the tray reads them.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from trayside.app.register_depth import HoleDepth
from trayside.model.cut_sheet import SheetRow
from trayside.model.hole import Rock

JOIN_MM = 1.0
"""Pieces closer than this are drawn as one bracket."""


@dataclass(frozen=True, slots=True)
class TrayPiece:
    """A stretch of core, of lost core, or a driller's block. In a row laid backward `from_mm` is at its right end."""

    kind: str
    row: int
    left_from_mm: float
    left_to_mm: float
    from_mm: float
    to_mm: float
    run: int


@dataclass(frozen=True, slots=True)
class DepthMark:
    """A depth mark to draw on the core."""

    row: int
    left_mm: float
    depth_mm: float


@dataclass(frozen=True, slots=True)
class SampleSpan:
    """The part of one sample that lies in one row. `numbers` are its tickets: its own, then those of duplicates.

    `starts` and `ends` say whether the sample begins or ends here or goes on from or to another row.
    """

    numbers: tuple[str, ...]
    row: int
    left_from_mm: float
    left_to_mm: float
    from_mm: int
    to_mm: int
    starts: bool
    ends: bool
    side: str
    portion: str
    caution: str = ""


@dataclass(frozen=True, slots=True)
class RockSpan:
    """A logged rock in one row."""

    rock: str
    row: int
    left_from_mm: float
    left_to_mm: float


@dataclass(frozen=True, slots=True)
class TrayPicture:
    """One tray, to scale along the core. `backward` says for each row whether it is laid from right to left."""

    hole_id: str
    tray: int
    from_mm: int
    to_mm: int
    rows: int
    row_length_mm: float
    backward: tuple[bool, ...]
    pieces: tuple[TrayPiece, ...]
    marks: tuple[DepthMark, ...] = ()
    samples: tuple[SampleSpan, ...] = ()
    rocks: tuple[RockSpan, ...] = ()

    @property
    def widest_mm(self) -> float:
        """Length of the longest row as drawn: more than the row's own where the tray is overfull."""
        return max([self.row_length_mm, *(piece.left_to_mm for piece in self.pieces)])


def tray_pictures(
    *,
    hole_id: str,
    depth: HoleDepth,
    rows: tuple[SheetRow, ...] = (),
    rock: tuple[Rock, ...] = (),
    trays: Iterable[int] | None = None,
) -> tuple[TrayPicture, ...]:
    """The pictures of a hole's trays in order, or of the trays with these numbers."""
    wanted = None if trays is None else set(trays)
    pieces = _pieces_by_tray(depth)
    marks = _marks_by_tray(depth)
    tray_map = depth.tray_map
    pictures = []
    for index, tray in enumerate(depth.trays):
        if wanted is not None and tray.tray not in wanted:
            continue
        first = int(tray_map.first_row[index])
        backward = tuple(bool(back) for back in tray_map.row_backward[first : first + tray.rows])
        held = pieces.get(index, ())
        pictures.append(
            TrayPicture(
                hole_id=hole_id,
                tray=tray.tray,
                from_mm=tray.from_mm,
                to_mm=tray.to_mm,
                rows=tray.rows,
                row_length_mm=float(tray.row_length_mm),
                backward=backward,
                pieces=held,
                marks=marks.get(index, ()),
                samples=_samples_in(held, backward, rows),
                rocks=_rocks_in(held, backward, rock),
            )
        )
    return tuple(pictures)


def _pieces_by_tray(depth: HoleDepth) -> dict[int, tuple[TrayPiece, ...]]:
    drawn = depth.tray_map.pieces()
    found: dict[int, list[TrayPiece]] = {}
    columns = (drawn.kind, drawn.row, drawn.left_from_cm * 10, drawn.left_to_cm * 10, drawn.depth_from_m * 1000,
               drawn.depth_to_m * 1000, drawn.run_index)  # fmt: skip
    lists = [column.tolist() for column in columns]
    for tray, kind, row, left, right, top, bottom, run in zip(drawn.tray_index.tolist(), *lists, strict=True):
        piece = TrayPiece(
            kind, row, round(left, 1), round(right, 1), round(top, 1), round(bottom, 1), depth.runs[run].run
        )
        found.setdefault(tray, []).append(piece)
    return {tray: tuple(pieces) for tray, pieces in found.items()}


def _marks_by_tray(depth: HoleDepth) -> dict[int, tuple[DepthMark, ...]]:
    depths = np.unique(depth.marks.depth_m)
    place = depth.tray_map.place_at(depth_m=depths)
    found: dict[int, list[DepthMark]] = {}
    columns = (depths, place.tray_index, place.row, place.left_cm, place.in_loss)
    for at, tray, row, left_cm, in_loss in zip(*(column.tolist() for column in columns), strict=True):
        if tray >= 0 and not in_loss:
            found.setdefault(tray, []).append(DepthMark(row, round(left_cm * 10, 1), round(at * 1000, 1)))
    return {tray: tuple(marks) for tray, marks in found.items()}


def _spans(
    pieces: tuple[TrayPiece, ...], backward: tuple[bool, ...], from_mm: int, to_mm: int
) -> list[tuple[int, float, float, float, float]]:
    """Where a stretch of depth lies: (row, left, right, upper depth, lower depth), joined within each row."""
    found: list[list] = []
    for piece in pieces:
        length = piece.to_mm - piece.from_mm
        low, high = max(piece.from_mm, from_mm), min(piece.to_mm, to_mm)
        if piece.kind == "block" or length <= 0 or high <= low:
            continue
        a, b = (low - piece.from_mm) / length, (high - piece.from_mm) / length
        wide = piece.left_to_mm - piece.left_from_mm
        if backward[piece.row - 1]:
            left, right = piece.left_to_mm - b * wide, piece.left_to_mm - a * wide
        else:
            left, right = piece.left_from_mm + a * wide, piece.left_from_mm + b * wide
        last = found[-1] if found and found[-1][0] == piece.row else None
        # A block between two pieces of the same sample is inside the bracket.
        if last and abs(low - last[4]) <= JOIN_MM:
            last[1], last[2], last[4] = min(last[1], left), max(last[2], right), high
        else:
            found.append([piece.row, left, right, low, high])
    return [tuple(span) for span in found]


def _samples_in(
    pieces: tuple[TrayPiece, ...], backward: tuple[bool, ...], rows: tuple[SheetRow, ...]
) -> tuple[SampleSpan, ...]:
    if not pieces:
        return ()
    top, bottom = min(piece.from_mm for piece in pieces), max(piece.to_mm for piece in pieces)
    seconds: dict[str, list[str]] = {}
    for row in rows:
        if row.kind == "duplicate" and row.duplicate_of:
            seconds.setdefault(row.duplicate_of, []).append(row.number)
    found = []
    for row in rows:
        if (
            row.kind != "sample"
            or row.from_mm is None
            or row.to_mm is None
            or row.to_mm <= top
            or row.from_mm >= bottom
        ):
            continue
        for place, left, right, low, high in _spans(pieces, backward, row.from_mm, row.to_mm):
            found.append(
                SampleSpan(
                    numbers=(row.number, *seconds.get(row.number, ())),
                    row=place,
                    left_from_mm=round(left, 1),
                    left_to_mm=round(right, 1),
                    from_mm=row.from_mm,
                    to_mm=row.to_mm,
                    starts=low - row.from_mm <= JOIN_MM,
                    ends=row.to_mm - high <= JOIN_MM,
                    side=row.side,
                    portion=row.portion,
                    caution=row.caution,
                )
            )
    return tuple(found)


def _rocks_in(
    pieces: tuple[TrayPiece, ...], backward: tuple[bool, ...], rock: tuple[Rock, ...]
) -> tuple[RockSpan, ...]:
    if not pieces:
        return ()
    top, bottom = min(piece.from_mm for piece in pieces), max(piece.to_mm for piece in pieces)
    return tuple(
        RockSpan(logged.rock, row, round(left, 1), round(right, 1))
        for logged in rock
        if logged.from_mm < bottom and logged.to_mm > top
        for row, left, right, _, _ in _spans(pieces, backward, logged.from_mm, logged.to_mm)
    )
