"""Length-weighted grades by the stated definition. Tolerance: half the last place given."""

import pytest

from trayside.core.composite import composites, intercepts

# Worked by hand beforehand (derived) from the length weighting of an old mine-examination text,
# mineralprospector.com/high-assays (seen): sum of length x assay divided by sum of lengths.
FROM_M, TO_M = [0.0, 1.0, 1.6, 2.4], [1.0, 1.6, 2.4, 3.4]
GRADE, DENSITY = [1.20, 8.50, 3.10, 0.40], [2.70, 4.10, 3.20, 2.65]


def test_four_samples_by_length_and_by_mass():
    found = composites(
        from_m=FROM_M, to_m=TO_M, grade=GRADE, density_t_m3=DENSITY, stretch_from_m=[0.0], stretch_to_m=[3.4]
    )
    assert found.grade[0] == pytest.approx(2.7000, abs=5e-5)
    assert found.grade_by_mass[0] == pytest.approx(3.196336, abs=5e-7)
    assert found.density_t_m3[0] == pytest.approx(3.05, abs=5e-3)


def test_share_of_the_best_sample_and_grade_without_it():
    # By hand (derived): metal 1.20, 5.10, 2.48 over 2.4 m; 5.10/8.78 = 0.580866; (8.78 - 5.10)/1.8 = 2.044444.
    (found,) = intercepts(from_m=FROM_M, to_m=TO_M, grade=GRADE, cutoff=1.0)
    assert (found.from_m, found.to_m, found.top_sample) == (0.0, 2.4, 1)
    assert found.grade == pytest.approx(3.658333, abs=5e-7)
    assert found.top_metal_share == pytest.approx(0.580866, abs=5e-7)
    assert found.top_length_share == pytest.approx(0.25, abs=5e-7)
    assert found.grade_without_top == pytest.approx(2.044444, abs=5e-7)
