"""One tray of an issued sheet for the bench: every bag at one tray, the right words, causes as the core weighs them."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from trayside.app.bench_causes import cause_bands, portion_masses_kg, relative_sd
from trayside.app.bench_sheet import BenchSheet, bench_sheet, keeps_core, tray_of_rows
from trayside.app.hole_view import plan_digest
from trayside.core.mass_residuals import AS_PLANNED, FAR_HALF, UNEXPLAINED, bag_causes
from trayside.errors import NotFound
from trayside.model.cut_sheet import Place, SheetRow
from trayside.model.rules import Rules


@pytest.fixture
def issued(planned):
    planned.issue()
    with planned.start_work(writing=False) as work:
        return planned.view(), work.revision("A-1", 1)


def sheets(issued) -> list[BenchSheet]:
    view, revision = issued
    trays = sorted({tray for tray in tray_of_rows(revision.rows) if tray is not None})
    return [bench_sheet(view, revision, tray) for tray in trays]


def test_every_bag_of_the_sheet_is_done_at_exactly_one_tray(issued):
    told = [row.number for sheet in sheets(issued) for row in sheet.rows]
    assert sorted(told) == sorted(row.number for row in issued[1].rows)
    assert len(told) == len(set(told))


def test_rows_stand_in_ticket_order_and_a_sample_where_it_starts(issued):
    seq = {row.number: row.seq for row in issued[1].rows}
    for sheet in sheets(issued):
        assert [seq[row.number] for row in sheet.rows] == sorted(seq[row.number] for row in sheet.rows)
        for row in sheet.rows:
            if row.kind in ("sample", "duplicate"):
                assert row.from_place.tray == sheet.tray


def test_a_control_is_done_with_the_sample_before_it_and_a_duplicate_with_its_own(issued):
    rows = issued[1].rows
    at = dict(zip((row.number for row in rows), tray_of_rows(rows), strict=True))
    before = None
    for row in rows:
        if row.kind == "sample":
            before = row
        elif row.kind == "duplicate":
            assert at[row.number] == at[row.duplicate_of]
        elif before is not None:
            assert at[row.number] == at[before.number]


def bag(number: str, kind: str, tray: int | None, **more) -> SheetRow:
    place = None if tray is None else Place(tray, 1, 0.0)
    return SheetRow(0, kind, number, from_mm=0, to_mm=1000, from_place=place, **more)


def test_controls_before_the_first_sample_and_core_in_no_tray_are_not_lost():
    rows = (
        bag("1", "blank", None), bag("2", "sample", None), bag("3", "sample", 4), bag("4", "sample", None),
        bag("5", "sample", 5), bag("6", "duplicate", 4, duplicate_of="3"), bag("7", "standard", None),
    )  # fmt: skip
    assert tray_of_rows(rows) == [4, 4, 4, 4, 5, 4, 5]
    assert tray_of_rows((bag("1", "blank", None),)) == [None]


def test_a_tray_without_bags_is_not_found(issued):
    view, revision = issued
    with pytest.raises(NotFound, match="tray 99"):
        bench_sheet(view, revision, 99)


def test_masses_on_the_bench_are_those_of_the_sheet_in_grams(issued):
    of = {row.number: row for row in issued[1].rows}
    for sheet in sheets(issued):
        for row in sheet.rows:
            assert row.expected_g == round(of[row.number].expected_kg * 1000)
            assert row.low_g < row.expected_g < row.high_g


def test_the_kept_half_is_marked_at_both_ends_at_every_metre_between_and_with_an_arrow(issued):
    view, revision = issued
    long = next(row for row in revision.rows if row.kind == "sample" and row.from_mm % 1000 == 0)
    rows = tuple(replace(row, to_mm=row.to_mm + 300) if row is long else row for row in revision.rows)
    marks_seen = 0
    for sheet in sheets((view, replace(revision, rows=rows))):
        for row in sheet.rows:
            if not row.keeps:
                assert row.re_mark == ()
                continue
            what = [mark.what for mark in row.re_mark]
            assert what[0] == f"sample boundary {row.from_mm / 1000:.2f} m"
            assert what[-2] == f"sample boundary {row.to_mm / 1000:.2f} m"
            assert what[-1] == "arrow pointing downhole"
            inside = [metre for metre in range(31) if row.from_mm < metre * 1000 < row.to_mm]
            assert what[1:-2] == [f"depth mark {metre}.00 m" for metre in inside]
            for mark in row.re_mark[1:-2]:
                assert mark.place.tray >= row.from_place.tray
                marks_seen += 1
    assert marks_seen


@pytest.mark.parametrize(
    ("kind", "portion", "pair", "first_keeps", "second_keeps"),
    [
        ("quarter/quarter", "quarter", "quarter", True, False),
        ("half/quarter", "half", "quarter", False, True),
        ("half/half", "half", "half", False, False),
    ],
)
def test_of_a_pair_the_bag_after_which_nothing_more_is_taken_puts_the_kept_half_back(
    kind, portion, pair, first_keeps, second_keeps
):
    first = bag("1", "sample", 1, portion=portion, side="right", duplicate_type=kind)
    second = bag("2", "duplicate", 1, portion=pair, side="right", duplicate_type=kind, duplicate_of="1")
    assert keeps_core(first, twin=second) is first_keeps
    assert keeps_core(second, twin=None) is second_keeps


def test_whole_core_leaves_nothing_to_put_back():
    assert not keeps_core(bag("1", "sample", 1, portion="whole"), twin=None)


def test_the_saw_is_washed_between_samples_not_before_the_first_nor_before_an_own_duplicate(issued):
    cores = [row for sheet in sheets(issued) for row in sheet.rows if row.kind in ("sample", "duplicate")]
    order = [row.number for row in issued[1].rows if row.is_core]
    cores.sort(key=lambda row: order.index(row.number))
    assert cores[0].cleaning is None
    for before, row in itertools.pairwise(cores):
        if row.duplicate_of == before.number:
            assert row.cleaning is None
        else:
            assert row.cleaning.wash
            assert row.cleaning.after == before.number


def test_after_high_ground_the_blade_is_flushed_before_the_next_core(issued):
    view, revision = issued
    highs = {one.name for one in view.rules.grade_classes if one.high}
    samples = [row for row in revision.rows if row.kind == "sample"]
    rich = replace(samples[1], grade_class=next(iter(highs)))
    rows = tuple(rich if row.number == rich.number else row for row in revision.rows)
    after = next(row for row in rows if row.is_core and row.seq > rich.seq and row.duplicate_of != rich.number)
    told = bench_sheet(view, replace(revision, rows=rows), after.from_place.tray)
    cleaning = next(row.cleaning for row in told.rows if row.number == after.number)
    assert cleaning.flush
    off = view.rules.model_copy(update={"bench": view.rules.bench.model_copy(update={"flush_after_high": False})})
    told = bench_sheet(replace(view, rules=off), replace(revision, rows=rows), after.from_place.tray)
    assert not next(row.cleaning for row in told.rows if row.number == after.number).flush


def test_numbers_of_the_whole_sheet_and_withdrawn_ones_are_known(issued):
    view, revision = issued
    gone = replace(revision.rows[0], number="OLD-1")
    earlier = replace(revision, revision=1, rows=(gone, *revision.rows[1:]))
    told = bench_sheet(view, replace(revision, revision=2), tray_of_rows(revision.rows)[0], earlier=(earlier,))
    assert told.withdrawn == {"OLD-1": 1}
    assert set(told.numbers) == {row.number for row in revision.rows}
    assert all(told.numbers[row.number] == (told.tray, row.kind) for row in told.rows)


def looked_up(bands, grams: float) -> tuple[str, ...]:
    return next(band.causes for band in bands if band.up_to_g is None or grams <= band.up_to_g)


def test_causes_looked_up_are_those_the_core_weighs(issued):
    view, revision = issued
    cores = [row for row in revision.rows if row.is_core]
    bands = cause_bands(revision.rows, stock=view.stock, rules=view.rules)
    agreed = tried = 0
    for at, row in enumerate(cores):
        grams = np.random.default_rng(at).uniform(0.15, 6.0, size=60) * row.expected_kg * 1000
        weighed = bag_causes(
            measured_kg=grams / 1000,
            as_planned_kg=row.expected_kg,
            relative_sd=relative_sd(row, view.rules),
            recovered_length_m=row.recovered_mm / 1000,
            portion_kg=portion_masses_kg(row, stock=view.stock, rules=view.rules),
            before_kg=cores[at - 1].expected_kg if at else np.nan,
            after_kg=cores[at + 1].expected_kg if at + 1 < len(cores) else np.nan,
        )
        for place, mass in enumerate(grams):
            direct = [one.cause for one in weighed.ranked(place) if one.cause != AS_PLANNED][:2]
            direct = [cause for cause in direct if cause != UNEXPLAINED] or direct
            tried += 1
            agreed += list(looked_up(bands[row.number], mass)) == direct
    assert tried >= 300
    assert agreed / tried > 0.93  # they may differ within half a step (1.3 %) of where one cause overtakes another


def test_the_other_half_is_the_first_question_at_its_own_mass(issued):
    """With 3 mm offset the halves of NQ core are about 41 and 59 % (needs no source: areas of core.cut_geometry)."""
    view, revision = issued
    row = next(row for row in revision.rows if row.kind == "sample" and row.portion == "half")
    portions = portion_masses_kg(row, stock=view.stock, rules=view.rules)
    bands = cause_bands((row,), stock=view.stock, rules=view.rules)[row.number]
    assert looked_up(bands, portions[FAR_HALF] * 1000)[0] == FAR_HALF
    assert bands[-1].up_to_g is None
    ends = [band.up_to_g for band in bands[:-1]]
    assert ends == sorted(ends)


def test_a_core_size_nobody_knows_leaves_only_causes_that_need_none(issued):
    view, revision = issued
    row = replace(next(row for row in revision.rows if row.kind == "sample"), core_size="??")
    assert portion_masses_kg(row, stock=view.stock, rules=view.rules) == {}
    assert cause_bands((row,), stock=view.stock, rules=view.rules)[row.number]


def test_settings_of_the_bench_do_not_make_a_plan_look_old(issued):
    view, _ = issued
    other = view.rules.model_copy(update={"bench": Rules().bench.model_copy(update={"wash": "never"})})
    assert plan_digest(view.core, view.stock, other) == plan_digest(view.core, view.stock, view.rules)
