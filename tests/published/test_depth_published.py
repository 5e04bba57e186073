"""Depth registration against published depth scales. Tolerance: half the last printed place."""

import numpy as np
import pytest

from trayside.core.depth import register

# IODP Depth Scales Terminology v2, Table T1 in Proc. IODP 318 and 336 Methods (seen): CSF-A "let overlap if long",
# CSF-B "scale if long". The numbers are worked by hand from those two definitions (derived).
LONG_CORES = [
    (100.0, 9.5, 9.88, 0.0, 100.0, 100.0),
    (100.0, 9.5, 9.88, 2.5, 102.5, 102.403846),
    (100.0, 9.5, 9.88, 4.94, 104.94, 104.75),
    (100.0, 9.5, 9.88, 9.5, 109.5, 109.134615),
    (100.0, 9.5, 9.88, 9.88, 109.88, 109.5),
    (57.0, 3.0, 3.12, 1.0, 58.0, 57.961538),
    (57.0, 3.0, 3.12, 2.0, 59.0, 58.923077),
    (57.0, 3.0, 3.12, 3.0, 60.0, 59.884615),
    (57.0, 3.0, 3.12, 3.12, 60.12, 60.0),
]


def one_run(top, advance, recovered, **rules):
    return register(run_from_m=[top], run_to_m=[top + advance], recovered_m=[recovered], **rules)


@pytest.mark.parametrize(("top", "advance", "recovered", "core_m", "overlap", "scale"), LONG_CORES)
def test_long_core_overlaps_in_one_scale_and_is_shortened_in_the_other(top, advance, recovered, core_m, overlap, scale):
    let_overlap = one_run(top, advance, recovered, long_rule="overlap")
    scaled = one_run(top, advance, recovered, long_rule="scale")
    assert let_overlap.depth_at(core_m=core_m) == pytest.approx(overlap, abs=5e-7)
    assert scaled.depth_at(core_m=core_m) == pytest.approx(scale, abs=5e-7)


@pytest.mark.parametrize("long_rule", ["overlap", "scale"])
def test_short_core_is_not_stretched_by_either_scale(long_rule):
    # Derived from the same definitions: T = 57 m, 2.55 m of 3 m.
    short = one_run(57.0, 3.0, 2.55, long_rule=long_rule)
    assert short.depth_at(core_m=[1.0, 2.0, 2.55]) == pytest.approx([58.0, 59.0, 59.55], abs=5e-7)


def test_loss_stands_at_the_end_of_the_run():
    # Wittke, rock-mechanics handbook p. 377, citing DIN EN ISO 22475-1 (seen): loss of unknown place at the end of the run.
    lost = one_run(57.0, 3.0, 2.55).lost_stretches()
    assert lost.from_m == pytest.approx([59.55])
    assert lost.to_m == pytest.approx([60.0])


def test_stretched_and_bottom_justified_core():
    # Derived: z = T + x a/r, and z = T + (a - r) + x.
    stretched = one_run(57.0, 3.0, 2.55, loss_rule="stretch")
    assert stretched.depth_at(core_m=[1.0, 2.0, 2.55]) == pytest.approx([58.176471, 59.352941, 60.0], abs=5e-7)
    hung = one_run(57.0, 3.0, 2.55, loss_rule="start_of_run")
    assert hung.depth_at(core_m=[1.0, 2.0, 2.55]) == pytest.approx([58.45, 59.45, 60.0], abs=5e-7)


def test_rescaling_for_compression():
    # T. Bishop, thomasbishop.uk/rescaling-for-compression (seen): a drive from 1000 mm to 2000 mm gave 950 mm; depths
    # 1050 to 2000 are mapped linearly on 1000 to 2000. Places beyond the print are derived.
    drive = one_run(1.0, 1.0, 0.95, loss_rule="stretch")
    taped_mm = np.array([1050, 1060, 1500, 2000])
    found_mm = drive.depth_at(core_m=(taped_mm - 1050) / 1000) * 1000
    assert found_mm == pytest.approx([1000.0, 1010.526316, 1473.684211, 2000.0], abs=5e-7)


@pytest.mark.parametrize(("offset_mm", "csf_a_m"), [(1430, 365.74), (1470, 365.78)])
def test_both_scales_agree_where_the_core_is_not_long(offset_mm, csf_a_m):
    # IODP/SOD-Laboratory, commit 114d7326, X-ray/notebooks/xrf.ipynb output (seen): U1587A-39X-6A, CSF-A = CSF-B at both
    # offsets, 40 mm apart. The top of section 6 is taken from the first row; run and recovery are ours, not long.
    section_top_m = 365.74 - 1.430
    for long_rule in ("overlap", "scale"):
        core = one_run(section_top_m, 9.7, 9.0, long_rule=long_rule)
        assert core.depth_at(core_m=offset_mm / 1000) == pytest.approx(csf_a_m, abs=0.005)


def test_both_scales_agree_at_the_first_section_too():
    # Same output (seen): U1587A-2H-1A, offset 10 mm, CSF-A 2.81 m and CSF-B 2.81 m.
    for long_rule in ("overlap", "scale"):
        core = one_run(2.80, 9.5, 9.4, long_rule=long_rule)
        assert core.depth_at(core_m=0.010) == pytest.approx(2.81, abs=0.005)
