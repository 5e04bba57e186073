"""Core sizes against the vocabulary of the Geological Survey of Queensland, and against two published misprints."""

import pytest

from trayside.core.core_sizes import CORE_SIZES, core_size
from trayside.core.cut_geometry import whole_area
from trayside.errors import ImpossibleValue

# Geological Survey of Queensland vocabulary "Core Size" (linked.data.gov.au/def/core-size), core-size.ttl, seen:
# inside diameter of the bit = core, outside diameter = hole, mm.
VOCABULARY = {
    "AQ": (27, 48),
    "BQ": (36.5, 60),
    "NQ": (47.6, 75.7),
    "HQ": (63.5, 96),
    "HQ3": (61.1, 96),
    "PQ": (85, 122.6),
    "PQ3": (83, 122.6),
    "CHD 76": (43.5, 75.7),
    "CHD 101": (63.5, 101.3),
    "CHD 134": (85, 134.0),
}


def test_defaults_are_the_ten_sizes_of_the_vocabulary_and_no_other():
    assert {s.code: (s.core_diameter_mm, s.hole_diameter_mm) for s in CORE_SIZES} == VOCABULARY
    assert {s.source.grade for s in CORE_SIZES} == {"seen"}


@pytest.mark.parametrize(
    ("code", "field", "misprint", "where"),
    [
        ("NQ", "hole_diameter_mm", 75.5, "metaglossary 'diamond drilling' (seen) prints 75.5, vocabulary 75.7"),
        ("BQ", "core_diameter_mm", 36.3, "drillerstoolbox.com 'Diamond drilling' (seen) prints 36.3, vocabulary 36.5"),
    ],
)
def test_published_misprints_are_not_repeated(code, field, misprint, where):
    assert abs(getattr(core_size(code), field) - misprint) > 0.15, where


@pytest.mark.parametrize(
    ("code", "area_mm2"),
    [
        # derived: pi D^2/4 worked out separately from the vocabulary's diameters
        ("AQ", 572.5553),
        ("BQ", 1046.3467),
        ("NQ", 1779.5237),
        ("HQ", 3166.9217),
        ("HQ3", 2932.0563),
        ("PQ", 5674.5017),
        ("PQ3", 5410.6079),
        ("CHD 76", 1486.1697),
    ],
)
def test_areas_of_the_sizes(code, area_mm2):
    assert whole_area(core_diameter_mm=core_size(code).core_diameter_mm) == pytest.approx(area_mm2, abs=5e-5)


def test_code_is_found_whatever_its_spaces_and_capitals():
    assert core_size("chd134").code == "CHD 134"
    assert core_size(" nq ").core_diameter_mm == 47.6


def test_code_without_a_default_is_refused_and_asks_for_millimetres():
    with pytest.raises(ImpossibleValue, match="millimetres"):
        core_size("NQ9")
