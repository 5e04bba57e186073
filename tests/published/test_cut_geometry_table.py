"""Tables of pieces, quarters, drift and inverse offsets.

Grade of every figure here: derived. Worked out beforehand by a separate script from the closed forms, and checked there
by quadrature and polygons; tolerance half the last printed place. No publication with such a table was found.
"""

import pytest

from trayside.core.cut_geometry import cut_pieces, drifting_cut, offset_from_masses, quarter_pieces, whole_area

D = {"NQ": 47.6, "HQ": 63.5, "PQ": 85.0}  # Geological Survey of Queensland vocabulary "Core Size" (seen)

PIECES = [
    # size, kerf mm, offset mm, near mm2, far mm2, slot mm2, near share, far share, slot share, far/near
    ("NQ", 2.2, 0, 837.4205, 837.4205, 104.6827, 0.470587, 0.470587, 0.058826, 1.000000),
    ("NQ", 2.2, 3, 695.5715, 980.1057, 103.8465, 0.390875, 0.550769, 0.058356, 1.409065),
    ("NQ", 2.2, 5, 602.6130, 1074.5677, 102.3431, 0.338637, 0.603851, 0.057512, 1.783181),
    ("NQ", 3.2, 0, 813.6593, 813.6593, 152.2052, 0.457234, 0.457234, 0.085531, 1.000000),
    ("NQ", 3.2, 3, 672.1729, 956.3634, 150.9875, 0.377726, 0.537427, 0.084847, 1.422794),
    ("NQ", 3.2, 5, 579.6762, 1051.0497, 148.7978, 0.325748, 0.590635, 0.083617, 1.813167),
    ("HQ", 2.2, 0, 1513.6248, 1513.6248, 139.6720, 0.477948, 0.477948, 0.044103, 1.000000),
    ("HQ", 2.2, 3, 1323.8363, 1704.0388, 139.0466, 0.418020, 0.538074, 0.043906, 1.287198),
    ("HQ", 2.2, 5, 1198.5072, 1830.4867, 137.9278, 0.378445, 0.578002, 0.043553, 1.527305),
    ("HQ", 3.2, 0, 1481.9039, 1481.9039, 203.1140, 0.467932, 0.467932, 0.064136, 1.000000),
    ("HQ", 3.2, 3, 1292.3860, 1672.3321, 202.2037, 0.408089, 0.528062, 0.063849, 1.293988),
    ("HQ", 3.2, 5, 1167.3991, 1798.9475, 200.5751, 0.368623, 0.568043, 0.063334, 1.540988),
]


@pytest.mark.parametrize(("size", "kerf", "offset", "near", "far", "slot", "f1", "f2", "f_slot", "ratio"), PIECES)
def test_pieces_of_an_off_centre_cut(size, kerf, offset, near, far, slot, f1, f2, f_slot, ratio):
    cut = cut_pieces(core_diameter_mm=D[size], kerf_mm=kerf, offset_mm=offset)
    assert cut.near_mm2 == pytest.approx(near, abs=5e-5)
    assert cut.far_mm2 == pytest.approx(far, abs=5e-5)
    assert cut.slot_mm2 == pytest.approx(slot, abs=5e-5)
    whole = whole_area(core_diameter_mm=D[size])
    assert cut.near_mm2 / whole == pytest.approx(f1, abs=5e-7)
    assert cut.far_mm2 / whole == pytest.approx(f2, abs=5e-7)
    assert cut.slot_mm2 / whole == pytest.approx(f_slot, abs=5e-7)
    assert cut.far_mm2 / cut.near_mm2 == pytest.approx(ratio, abs=5e-7)


@pytest.mark.parametrize(
    ("size", "kerf", "area", "share"),
    [
        ("NQ", 2.2, 393.7496, 0.221267),
        ("NQ", 3.2, 371.3383, 0.208673),
        ("HQ", 2.2, 723.1044, 0.228330),
        ("HQ", 3.2, 692.7335, 0.218740),
        ("PQ", 2.2, 1326.3459, 0.233738),
        ("PQ", 3.2, 1285.2176, 0.226490),
    ],
)
def test_quarters_of_two_centred_cuts(size, kerf, area, share):
    cut = quarter_pieces(core_diameter_mm=D[size], kerf_mm=kerf)
    assert cut.near_quarter_mm2 == pytest.approx(area, abs=5e-5)
    assert cut.far_quarter_mm2 == pytest.approx(area, abs=5e-5)
    assert cut.near_quarter_mm2 / whole_area(core_diameter_mm=D[size]) == pytest.approx(share, abs=5e-7)


@pytest.mark.parametrize(
    ("size", "first", "near", "far"),
    [
        ("NQ", 0, 326.1251, 461.7922),
        ("HQ", 0, 631.5101, 815.0114),
        ("PQ", 0, 1202.4113, 1450.5137),
        ("NQ", 3, 267.5006, 385.1677),
    ],
)
def test_quarters_with_the_second_cut_3_mm_off(size, first, near, far):
    cut = quarter_pieces(core_diameter_mm=D[size], kerf_mm=2.2, offset_mm=first, second_offset_mm=3)
    assert cut.near_quarter_mm2 == pytest.approx(near, abs=5e-5)
    assert cut.far_quarter_mm2 == pytest.approx(far, abs=5e-5)


@pytest.mark.parametrize(
    ("size", "shrinking", "growing"),
    [("NQ", 0.404253, 0.537358), ("HQ", 0.428046, 0.528033), ("PQ", 0.446170, 0.520955)],
)
def test_mean_shares_of_a_cut_that_drifts_from_0_to_5_mm(size, shrinking, growing):
    cut = drifting_cut(core_diameter_mm=D[size], kerf_mm=2.2, start_offset_mm=0, end_offset_mm=5)
    whole = whole_area(core_diameter_mm=D[size])
    assert cut.near_mm2 / whole == pytest.approx(shrinking, abs=5e-7)
    assert cut.far_mm2 / whole == pytest.approx(growing, abs=5e-7)


@pytest.mark.parametrize(
    ("size", "ratio", "offset"),
    [
        ("NQ", 0.9, 0.92721),
        ("HQ", 0.9, 1.25569),
        ("PQ", 0.9, 1.69999),
        ("NQ", 0.8, 1.95950),
        ("HQ", 0.8, 2.65363),
        ("PQ", 0.8, 3.59254),
    ],
)
def test_offset_found_back_from_the_mass_ratio(size, ratio, offset):
    found = offset_from_masses(near_kg=2 * ratio, far_kg=2, core_diameter_mm=D[size], kerf_mm=2.2)
    assert found == pytest.approx(offset, abs=5e-6)


@pytest.mark.parametrize(("size", "percent"), [("BQ", 8.7), ("NQ", 6.7), ("HQ", 5.0), ("PQ", 3.7)])
def test_share_of_the_core_that_a_slot_of_2_5_mm_takes(size, percent):
    diameter = {"BQ": 36.5, **D}[size]
    slot = cut_pieces(core_diameter_mm=diameter, kerf_mm=2.5).slot_mm2
    assert 100 * slot / whole_area(core_diameter_mm=diameter) == pytest.approx(percent, abs=0.05)
