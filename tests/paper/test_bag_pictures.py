import xml.etree.ElementTree as ElementTree

import pytest
from tests.paper.paper_cases import forty_rows, sample

from trayside.app.bag_picture import SHIFT, bag_picture

SVG = "{http://www.w3.org/2000/svg}"


def bagged_box(drawing: str) -> tuple[float, float, float, float]:
    """Left, right, top, bottom of what is hatched; the core's axis is 0, 0 and the drawn line is at the top."""
    root = ElementTree.fromstring(drawing)
    (clip,) = [part for part in root.iter(f"{SVG}clipPath") if part.get("id") == "bag"]
    x, y, wide, high = (float(clip[0].get(name)) for name in ("x", "y", "width", "height"))
    return x, x + wide, y, y + high


@pytest.mark.parametrize(
    ("side", "offset_mm", "left", "right"),
    [("right", 3.0, SHIFT, 50), ("left", 3.0, -50, -SHIFT), ("right", 0.0, 0, 50), ("right", -2.0, -SHIFT, 50)],
)
def test_the_bagged_half_is_beyond_the_cut_on_its_side(side, offset_mm, left, right):
    box = bagged_box(bag_picture(sample("A", 0, 1000, side=side), offset_mm=offset_mm))
    assert box == (left, right, -50, 50)


def test_a_second_half_is_the_other_side_of_the_same_cut():
    first = bagged_box(bag_picture(sample("A", 0, 1000), offset_mm=3.0))
    twin = sample("B", 0, 1000, kind="duplicate", side="left", duplicate_of="A", duplicate_type="half/half")
    second = bagged_box(bag_picture(twin, offset_mm=3.0))
    assert second[1] == first[0]
    assert second[0] == -50


def test_two_quarters_of_the_bagged_half_are_different_ones():
    quarter = dict(portion="quarter", duplicate_type="quarter/quarter")
    first = bagged_box(bag_picture(sample("A", 0, 1000, **quarter), offset_mm=3.0))
    second = bagged_box(bag_picture(sample("B", 0, 1000, kind="duplicate", duplicate_of="A", **quarter), offset_mm=3.0))
    assert first[:2] == second[:2] == (SHIFT, 50)
    assert first[2:] == (-50, 0)
    assert second[2:] == (0, 50)


def test_whole_core_is_hatched_all_over_and_a_control_has_no_picture():
    assert bagged_box(bag_picture(sample("A", 0, 1000, portion="whole", side=""), offset_mm=3.0)) == (-50, 50, -50, 50)
    assert bag_picture(forty_rows()[4], offset_mm=3.0) == ""
