"""One tray of an issued cut sheet as the operator at the saw needs it: what to do next, in words, and what to look out for.

Everything is worked out here, so that a tablet without network only follows it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trayside.app.bag_masses import BY_MASS
from trayside.app.bag_picture import bag_picture
from trayside.app.bag_words import bag_words, blade_words, control_words, duplicate_words, twins
from trayside.app.bench_causes import CauseBand, cause_bands
from trayside.app.cut_words import row_line
from trayside.app.hole_view import HoleView
from trayside.app.register_depth import HoleDepth
from trayside.app.saw_cuts import saw_need
from trayside.app.tray_picture import tray_pictures
from trayside.app.written_amounts import depth_text, span_text
from trayside.errors import NotFound
from trayside.model.cut_sheet import Place, Revision, RowKind, SheetRow
from trayside.model.rules import Rules


@dataclass(frozen=True, slots=True)
class ReMark:
    """What is written on the kept half again, and where it lies."""

    what: str
    place: Place | None


@dataclass(frozen=True, slots=True)
class Cleaning:
    """What the saw needs before this core: `after` is the number that was cut before it."""

    after: str
    wash: bool
    flush: bool


@dataclass(frozen=True, slots=True)
class BenchRow:
    """One bag in words. Masses are whole grams, `spans` are (row, left, right) in mm in this tray."""

    number: str
    kind: RowKind
    from_mm: int | None
    to_mm: int | None
    span: str
    from_place: Place | None
    to_place: Place | None
    rock: str
    grade_class: str
    core: str
    recovered_mm: int | None
    short_of_core: str
    method: str
    method_reason: str
    blade: str
    portion: str
    side: str
    bag: str
    stays: str
    picture: str
    expected_g: int | None
    low_g: int | None
    high_g: int | None
    causes: tuple[CauseBand, ...]
    duplicate: str
    duplicate_of: str | None
    material: str | None
    order: str
    how: str
    why_here: str
    caution: str
    cleaning: Cleaning | None
    keeps: bool
    """Whether a part of the core stays and is marked again when this bag is done."""
    re_mark: tuple[ReMark, ...]
    spans: tuple[tuple[int, float, float], ...]
    saw_need: str = ""
    """Which saw it asks for: none, any ('saw'), or one of a kind."""


@dataclass(frozen=True, slots=True)
class BenchSheet:
    """One tray of one issued revision. `numbers` says of every number of the sheet in which tray its core starts.

    `withdrawn` holds numbers that an earlier revision had, with the last one that did.
    """

    hole_id: str
    tray: int
    trays: tuple[int, ...]
    rows_in_tray: int
    row_length_mm: float
    sheet_id: str
    revision: int
    digest: str
    issued_by: str
    rows: tuple[BenchRow, ...]
    numbers: dict[str, tuple[int | None, RowKind]]
    withdrawn: dict[str, int]


def tray_of_rows(rows: tuple[SheetRow, ...]) -> list[int | None]:
    """The tray at which each row of a sheet is done, so that every row is done at exactly one.

    Core where it starts; a control, and core that lies in no tray, with the sample before it (the first ones with the
    first sample that has a tray).
    """
    first = next((row.from_place.tray for row in rows if row.kind == "sample" and row.from_place), None)
    here, found = first, []
    for row in rows:
        if row.kind == "sample" and row.from_place is not None:
            here = row.from_place.tray
        found.append(row.from_place.tray if row.is_core and row.from_place is not None else here)
    return found


def bench_sheet(view: HoleView, revision: Revision, tray: int, *, earlier: tuple[Revision, ...] = ()) -> BenchSheet:
    """The rows of one tray in cutting order. `earlier` are the revisions before this one, with their rows."""
    rows = revision.rows
    trays = tray_of_rows(rows)
    if tray not in trays:
        raise NotFound(
            f"nothing of revision {revision.revision} starts in tray {tray}",
            where=revision.hole_id,
            remedy="Choose one of the trays on the list",
        )
    (picture,) = tray_pictures(hole_id=view.hole_id, depth=view.depth, rows=rows, trays=[tray]) or (None,)
    spans: dict[str, list[tuple[int, float, float]]] = {}
    for span in picture.samples if picture else ():
        for number in span.numbers:
            spans.setdefault(number, []).append((span.row, span.left_from_mm, span.left_to_mm))
    here = [row for row, at in zip(rows, trays, strict=True) if at == tray]
    write = _Writer(view, rows)
    return BenchSheet(
        hole_id=revision.hole_id,
        tray=tray,
        trays=tuple(sorted({at for at in trays if at is not None})),
        rows_in_tray=picture.rows if picture else 0,
        row_length_mm=picture.widest_mm if picture else 0.0,
        sheet_id=revision.sheet_id,
        revision=revision.revision,
        digest=revision.digest,
        issued_by=revision.issued_by,
        rows=tuple(write.row(row, tuple(spans.get(row.number, ()))) for row in here),
        numbers={row.number: (at, row.kind) for row, at in zip(rows, trays, strict=True)},
        withdrawn=_withdrawn(rows, earlier),
    )


def _withdrawn(rows: tuple[SheetRow, ...], earlier: tuple[Revision, ...]) -> dict[str, int]:
    now = {row.number for row in rows}
    return {
        row.number: revision.revision
        for revision in sorted(earlier, key=lambda one: one.revision)
        for row in revision.rows
        if row.number not in now
    }


class _Writer:
    """Writes rows of one sheet."""

    def __init__(self, view: HoleView, rows: tuple[SheetRow, ...]) -> None:
        self.view, self.rules, self.depth = view, view.rules, view.depth
        self.unit = view.rules.paper.length_unit
        self.twin_of = twins(rows)
        self.causes = cause_bands(rows, stock=view.stock, rules=view.rules)
        self.cleaning = _cleanings(rows, view.rules)
        self.marks = _mark_places(view.depth)

    def row(self, row: SheetRow, spans: tuple[tuple[int, float, float], ...]) -> BenchRow:
        twin = self.twin_of.get(row.number)
        bag, stays = bag_words(row) if row.is_core else ("", "")
        order, how = control_words(row) if not row.is_core else ("", "")
        keeps = row.is_core and keeps_core(row, twin=twin)
        offset_mm = self.rules.cut.offset_mm
        return BenchRow(
            number=row.number,
            kind=row.kind,
            from_mm=row.from_mm,
            to_mm=row.to_mm,
            span=span_text(row.from_mm, row.to_mm, unit=self.unit) if row.from_mm is not None else "",
            from_place=row.from_place,
            to_place=row.to_place,
            rock=row.rock or "",
            grade_class=row.grade_class or "",
            core=" · ".join(part for part in (row.rock, row.condition, row.core_size) if part),
            recovered_mm=row.recovered_mm,
            short_of_core=self._short(row),
            method=row.method,
            method_reason=row.method_reason,
            blade=self._blade(row),
            portion=row.portion,
            side=row.side,
            bag=bag,
            stays=stays,
            picture=bag_picture(row, offset_mm=offset_mm),
            expected_g=_grams(row.expected_kg),
            low_g=_grams(row.low_kg),
            high_g=_grams(row.high_kg),
            causes=self.causes.get(row.number, ()),
            duplicate=duplicate_words(row, twin=twin),
            duplicate_of=row.duplicate_of,
            material=row.material,
            order=order,
            how=how,
            why_here=row.reason,
            caution=row.caution,
            cleaning=self.cleaning.get(row.number),
            keeps=keeps,
            re_mark=self._re_mark(row) if keeps else (),
            spans=spans,
            saw_need=saw_need(row, self.rules),
        )

    def _blade(self, row: SheetRow) -> str:
        """Where the cut line is drawn, if it is not the orientation line, and where the blade goes beside it."""
        if not row.is_core:
            return ""
        size = self.view.stock.core_sizes.get(row.core_size or "")
        diameter_mm = size.core_diameter_mm if size else None
        order, line = row_line(row, self.view.cut_register, core_diameter_mm=diameter_mm, unit=self.unit)
        return f"{order} {blade_words(row, offset_mm=self.rules.cut.offset_mm, line=line)}".strip()

    def _short(self, row: SheetRow) -> str:
        """The core that is there, where it is less than the length of the sample."""
        if row.recovered_mm is None or row.from_mm is None or row.recovered_mm >= row.to_mm - row.from_mm:
            return ""
        return f"{depth_text(row.recovered_mm, unit=self.unit)} {self.unit}"

    def _re_mark(self, row: SheetRow) -> tuple[ReMark, ...]:
        """From the top down: boundary, marks between, boundary; then the arrow."""
        depth = lambda at_mm: f"{depth_text(round(at_mm), unit=self.unit)} {self.unit}"  # noqa: E731
        between = [
            ReMark(f"depth mark {depth(at_mm)}", place)
            for at_mm, place in self.marks
            if row.from_mm < at_mm < row.to_mm
        ]
        return (
            ReMark(f"sample boundary {depth(row.from_mm)}", row.from_place),
            *between,
            ReMark(f"sample boundary {depth(row.to_mm)}", row.to_place),
            ReMark("arrow pointing downhole", None),
        )


def keeps_core(row: SheetRow, *, twin: SheetRow | None) -> bool:
    """Whether part of the core goes back to its place once this bag is filled.

    Of a pair it is the bag after which nothing more is taken from the kept half; core taken whole, or as two halves,
    leaves nothing.
    """
    if row.portion == "whole" or row.duplicate_type == "half/half":
        return False
    if row.kind == "duplicate":
        return row.duplicate_type == "half/quarter"
    return twin is None or twin.duplicate_type != "half/quarter"


def _cleanings(rows: tuple[SheetRow, ...], rules: Rules) -> dict[str, Cleaning]:
    """What the saw needs before each bag of core, by number; nothing between a sample and its own duplicate."""
    high = {one.name for one in rules.grade_classes if one.high}
    bench, found, before = rules.bench, {}, None
    for row in rows:
        if not row.is_core:
            continue
        if before is not None and row.duplicate_of != before.number:
            rich = before.grade_class in high
            sawn = before.method != BY_MASS
            wash = bench.wash == "each sample" or (bench.wash == "after high ground" and rich)
            flush = bench.flush_after_high and rich and sawn
            if wash or flush:
                found[row.number] = Cleaning(before.number, wash, flush)
        before = row
    return found


def _mark_places(depth: HoleDepth) -> list[tuple[float, Place]]:
    """Every depth mark of the hole with its place; those in lost core have none."""
    depths = np.unique(depth.marks.depth_m)
    if not len(depths):
        return []
    lost = depth.tray_map.place_at(depth_m=depths).in_loss.tolist()
    places = depth.places_at(depths)
    return [
        (at * 1000, place)
        for at, place, in_loss in zip(depths.tolist(), places, lost, strict=True)
        if place is not None and not in_loss
    ]


def _grams(mass_kg: float | None) -> int | None:
    return None if mass_kg is None else round(mass_kg * 1000)
