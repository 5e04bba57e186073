"""Tray tags: numbers, directions, gaps, overlaps and core without a tray."""

from __future__ import annotations

from trayside.model.checks.trays import check_trays
from trayside.model.rules import Rules

RULES = Rules()
SIX = [(number, 5.0 * number - 5, 5.0 * number) for number in range(1, 7)]


def test_trays_that_follow_each_other_have_no_findings(make_core):
    assert check_trays(make_core(trays=SIX), RULES) == []


def test_a_hole_without_trays_has_core_that_lies_nowhere(make_core, make_runs, seen):
    assert seen(check_trays(make_core(trays=()), RULES)) == [("tray.short_of_core", None, 0, 30)]
    deeper = make_core(trays=(), runs=make_runs((6, 9, 3), (9, 12, 3)))
    (finding,) = check_trays(deeper, RULES)
    assert (finding.from_mm, finding.to_mm, finding.evidence) == (6000, 12_000, {"length_m": 6.0})
    assert check_trays(make_core(trays=(), runs=()), RULES) == []


def test_a_number_on_two_trays_explains_the_number_that_is_missing(make_core, seen):
    trays = [*SIX[:3], (3, 15, 20), *SIX[4:]]
    assert seen(check_trays(make_core(trays=trays), RULES)) == [("tray.doubled", 3, 10, 20)]


def test_a_missing_tray_leaves_a_gap_and_a_missing_number(make_core, seen):
    trays = [*SIX[:3], *SIX[4:]]
    assert seen(check_trays(make_core(trays=trays), RULES)) == [
        ("tray.number_missing", 4, 15, 15),
        ("tray.gap", 5, 15, 20),
    ]


def test_a_mistyped_number_is_one_finding_and_not_a_hundred_thousand(make_core):
    trays = [*SIX[:5], (100_000, 25, 30)]
    (finding,) = check_trays(make_core(trays=trays), RULES)
    assert (finding.code, finding.tray) == ("tray.number_missing", 6)
    assert finding.message == "There are no trays 6 to 99999"
    assert finding.evidence == {"missing": 99_994}


def test_trays_that_do_not_begin_at_one(make_core, seen):
    trays = [(number + 1, top, bottom) for number, top, bottom in SIX]
    assert seen(check_trays(make_core(trays=trays), RULES)) == [("tray.number_missing", 1, 0, 0)]


def test_a_tag_that_runs_uphole_makes_no_gap(make_core, seen):
    trays = [*SIX[:2], (3, 15, 10), *SIX[3:]]
    assert seen(check_trays(make_core(trays=trays), RULES)) == [("tray.reversed", 3, 10, 15)]


def test_gap_and_overlap_start_above_the_tolerance(make_core, seen):
    def with_third_from(start_m: float) -> list[tuple]:
        return seen(check_trays(make_core(trays=[*SIX[:2], (3, start_m, 15), *SIX[3:]]), RULES))

    assert with_third_from(10.02) == with_third_from(9.98) == []
    assert with_third_from(10.03) == [("tray.gap", 3, 10, 10.03)]
    assert with_third_from(9.97) == [("tray.overlap", 3, 9.97, 10)]


def test_core_above_the_first_and_below_the_last_tray(make_core, seen):
    trays = [(1, 0.5, 5), *SIX[1:5], (6, 25, 29)]
    assert seen(check_trays(make_core(trays=trays), RULES)) == [
        ("tray.short_of_core", None, 0, 0.5),
        ("tray.short_of_core", None, 29, 30),
    ]
    near = [(1, 0.02, 5), *SIX[1:5], (6, 25, 29.98)]
    assert check_trays(make_core(trays=near), RULES) == []


def test_a_run_deeper_than_the_hole_asks_for_no_tray(make_core, full_runs, make_runs):
    runs = (*full_runs, *make_runs((30, 33, 3)))
    assert check_trays(make_core(runs=runs, trays=SIX, total_m=30), RULES) == []
