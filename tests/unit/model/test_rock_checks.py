"""The rock log and the densities: gaps, overlaps, depths, classes, codes."""

from __future__ import annotations

from dataclasses import replace

import pytest

from trayside.model.checks.rock import check_codes, check_density, check_rock, stick_density_t_m3
from trayside.model.hole import Density, Rock
from trayside.model.rules import Rules

RULES = Rules()
THREE = [(0, 10), (10, 20), (20, 30)]


def test_a_log_without_gaps_has_no_findings(make_core):
    assert check_rock(make_core(rock=THREE), RULES) == []


def test_cored_ground_that_nobody_logged(make_core, seen):
    assert seen(check_rock(make_core(rock=[(1, 10), (10.5, 20), (20, 28)]), RULES)) == [
        ("rock.gap", None, 0, 1),
        ("rock.gap", None, 10, 10.5),
        ("rock.gap", None, 28, 30),
    ]


def test_a_hole_with_core_and_no_log_at_all(make_core, seen):
    assert seen(check_rock(make_core(rock=()), RULES)) == [("rock.gap", None, 0, 30)]
    assert check_rock(make_core(runs=(), rock=()), RULES) == []


def test_half_a_centimetre_is_no_gap_and_no_overlap(make_core):
    assert check_rock(make_core(rock=[(0, 10), (10.005, 20), (19.995, 30)]), RULES) == []
    codes = [one.code for one in check_rock(make_core(rock=[(0, 10), (10.006, 20), (19.994, 30)]), RULES)]
    assert codes == ["rock.gap", "rock.overlap"]


def test_ground_above_the_core_needs_no_log(make_core, make_runs, seen):
    runs = make_runs(*((6 + 3.0 * run, 9 + 3.0 * run, 3.0) for run in range(8)))
    assert check_rock(make_core(runs=runs, rock=[(0, 2), (6, 30)]), RULES) == []
    assert seen(check_rock(make_core(runs=runs, rock=[(0, 2), (7, 30)]), RULES)) == [("rock.gap", None, 6, 7)]


def test_shared_depths_are_named_as_far_as_they_are_shared(make_core, seen):
    assert seen(check_rock(make_core(rock=[(0, 12), (10, 30)]), RULES)) == [("rock.overlap", None, 10, 12)]
    assert seen(check_rock(make_core(rock=[(0, 20), (5, 6), (20, 30)]), RULES)) == [("rock.overlap", None, 5, 6)]


def test_logged_deeper_than_the_core(make_core, seen):
    assert seen(check_rock(make_core(rock=[(0, 30.5)]), RULES)) == [("rock.beyond_core", None, 30, 30.5)]
    assert check_rock(make_core(rock=[(0, 30.005)]), RULES) == []


def test_a_grade_class_the_rules_do_not_know(make_core):
    strange = Rock(0, 30_000, "GRD", "intact", "bonanza", "soft")
    (finding,) = check_rock(make_core(rock=[strange]), RULES)
    assert (finding.code, finding.severity) == ("rock.unknown_class", "stop")
    assert finding.evidence == {"grade_class": "bonanza"}


def test_codes_and_sizes_the_shared_tables_no_longer_hold(make_core, stock):
    core = make_core(rock=THREE)
    assert check_codes(core, stock) == []
    bare = replace(stock, core_sizes={}, rock_codes={})
    assert sorted({finding.code for finding in check_codes(core, bare)}) == ["rock.unknown_code", "run.unknown_size"]
    assert {finding.severity for finding in check_codes(core, bare)} == {"stop"}


def test_a_density_unlike_its_rock_starts_above_four_standard_deviations(make_core, stock):
    def codes(density_t_m3: float) -> list[str]:
        core = make_core(rock=THREE, sticks=[(1.0, 1.1, {"density_t_m3": density_t_m3})])
        return [finding.code for finding in check_density(core, RULES, stock.rock_codes)]

    assert codes(2.70 + 0.1999) == codes(2.70 - 0.1999) == []
    assert codes(2.901) == codes(2.499) == ["density.outside_rock"]


def test_a_stick_outside_the_log_or_of_a_rock_without_scatter_is_not_judged(make_core, stock):
    core = make_core(rock=[(5, 30)], sticks=[(1.0, 1.1, {"density_t_m3": 9.0})])
    assert check_density(core, RULES, stock.rock_codes) == []
    exact = {"GRD": replace(stock.rock_codes["GRD"], density_sd_t_m3=0.0)}
    core = make_core(rock=THREE, sticks=[(1.0, 1.1, {"density_t_m3": 9.0})])
    assert check_density(core, RULES, exact) == []


def test_the_density_of_a_stick_from_its_two_masses():
    """Archimedes by hand: 540 g in air, 340 g in water displace 200 g of water, 2.70 t/m³ (water taken as 1.00)."""
    stick = Density(0, 100, "immersion", mass_dry_g=540.0, mass_in_water_g=340.0)
    assert stick_density_t_m3(stick) == pytest.approx(2.70, abs=0.01)
    assert stick_density_t_m3(replace(stick, density_t_m3=3.0)) == 3.0
    assert stick_density_t_m3(replace(stick, mass_in_water_g=None)) is None
    assert stick_density_t_m3(replace(stick, mass_in_water_g=540.0)) is None
