"""Depths as people type them. The international foot is 0.3048 m exactly (by definition)."""

from __future__ import annotations

import pytest

from trayside.app.typed_depth import typed_depth_mm
from trayside.errors import ImpossibleValue


@pytest.mark.parametrize(
    ("text", "unit", "depth_mm"),
    [
        ("123.4", "m", 123_400),
        ("123,4", "m", 123_400),
        (" 123.4 M ", "m", 123_400),
        ("0", "m", 0),
        (".5", "m", 500),
        ("12.3456", "m", 12_346),
        ("405 ft", "m", 123_444),
        ("405'", "m", 123_444),
        ("405", "ft", 123_444),
        ("123.4 m", "ft", 123_400),
        ("1 foot", "m", 305),
    ],
)
def test_a_depth_is_read_in_its_own_unit_or_the_yards(text, unit, depth_mm):
    assert typed_depth_mm(text, unit=unit) == depth_mm


@pytest.mark.parametrize(
    "text", ["", "  ", "m", "-1", "1e5", "nan", "inf", "1 2", "1.2.3", "15001", "12 in", "1,500", "٣"]
)
def test_what_is_no_depth_is_refused_with_what_to_type(text):
    with pytest.raises(ImpossibleValue) as refusal:
        typed_depth_mm(text, unit="m")
    assert "Type" in refusal.value.remedy
