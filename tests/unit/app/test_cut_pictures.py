"""Pictures of a cut: to scale, readable without colour, and never broken by odd numbers."""

from __future__ import annotations

import re
from math import hypot
from xml.etree import ElementTree

import numpy as np
import pytest

from trayside.app.cut_pictures import PRINT, SCREEN, Trace, around_the_core, cost_over_angle, end_view, rose

SVG = "{http://www.w3.org/2000/svg}"


def view(**more) -> ElementTree.Element:
    facts = dict(angle_deg=30.0, side="right", core_diameter_mm=47.6, kerf_mm=2.5, offset_mm=3.0)
    return ElementTree.fromstring(end_view(**facts | more))


def slot(drawn: ElementTree.Element) -> tuple[float, float]:
    """Middle and width of the blade slot, in millimetres of the core."""
    rect = next(one for one in drawn.iter(f"{SVG}rect") if one.get("stroke"))
    scale = 47.6 / 2 / 60.0
    left, wide = float(rect.get("x")), float(rect.get("width"))
    return (left + wide / 2) * scale, wide * scale


@pytest.mark.parametrize(
    ("side", "offset_mm", "middle_mm"),
    [("right", 3.0, 3.0), ("left", 3.0, -3.0), ("right", 0.0, 0.0), ("right", -2.0, -2.0)],
)
def test_the_slot_is_to_scale_and_shifted_toward_the_bag(side, offset_mm, middle_mm):
    found, wide = slot(view(side=side, offset_mm=offset_mm))
    assert found == pytest.approx(middle_mm, abs=0.05)
    assert wide == pytest.approx(2.5, abs=0.05)


@pytest.mark.parametrize("angle", [-150.0, -30.0, 10.0, 30.0, 90.0, 170.0])
def test_the_orientation_line_lies_anticlockwise_of_a_cut_line_that_is_clockwise_of_it(angle):
    ring = next(one for one in view(angle_deg=angle).iter(f"{SVG}circle") if one.get("cx"))
    x, y = float(ring.get("cx")), -float(ring.get("cy"))
    # Cut line up: the orientation line is turned back by the angle; up is north, clockwise to the right.
    assert hypot(x, y) == pytest.approx(69, abs=0.2)
    assert np.degrees(np.arctan2(x, y)) == pytest.approx(-angle, abs=0.2)


def test_words_say_what_the_picture_shows_and_stay_inside_it():
    for angle in (-170.0, -90.0, -8.0, 0.0, 8.0, 60.0, 120.0, 180.0):
        for side in ("right", "left"):
            for inks in (SCREEN, PRINT):
                drawn = view(angle_deg=angle, side=side, inks=inks)
                assert f"The {side} half is bagged" in drawn.get("aria-label")
                left, top, wide, high = (float(one) for one in drawn.get("viewBox").split())
                size = float(drawn.get("font-size"))
                for text in drawn.iter(f"{SVG}text"):
                    reach = 0.56 * size * len(text.text)
                    x = (
                        float(text.get("x"))
                        - {"start": 0.0, "middle": reach / 2, "end": reach}[text.get("text-anchor")]
                    )
                    assert left <= x, (angle, text.text)
                    assert x + reach <= left + wide, (angle, text.text)
                    assert top + 0.7 * size <= float(text.get("y")) <= top + high, (angle, text.text)


def test_a_plane_on_a_tray_is_a_wave_lowest_at_beta():
    """A plane at alpha 45 on NQ reaches D cot(alpha) = 47.6 mm along the core (derived), lowest at beta."""
    drawn = around_the_core(
        traces=[Trace(2.5, 45.0, 90.0, "vein")], from_m=0.0, to_m=5.0, line=[], marks=[], core_diameter_mm=47.6
    )
    (wave,) = [path for path in re.findall(r'<path d="M([^"]+)"', drawn) if path.count("L") > 40]
    points = np.array([[float(part) for part in pair.split(",")] for pair in wave.split("L")])
    px_per_m = (960.0 - 64.0 - 12.0) / 5.0
    assert np.ptp(points[:, 0]) / px_per_m == pytest.approx(0.0476, abs=0.001)
    deepest = points[points[:, 0].argmax()]
    assert deepest[1] == pytest.approx(14 + 170 * (180 - 90) / 360, abs=3), "clockwise is upward"


def test_a_line_that_passes_the_back_of_the_core_is_broken_there():
    drawn = around_the_core(
        traces=[],
        from_m=0.0,
        to_m=60.0,
        line=[(0.0, 150.0), (60.0, 210.0)],
        marks=[(0.0, 0.0), (60.0, 5.0)],
        core_diameter_mm=47.6,
    )
    thick = re.findall(r'<path d="([^"]+)" fill="none" stroke="#24506e" stroke-width="2.6"/>', drawn)
    assert len(thick) == 2
    for path in thick:
        y = [float(pair.split(",")[1]) for pair in path[1:].split("L")]
        assert np.abs(np.diff(y)).max() < 10


def test_a_rose_counts_by_area():
    drawn = ElementTree.fromstring(rose(beta_deg=[5.0] * 16 + [95.0] * 4, cut_deg=5.0, set_deg=None))
    titles = {
        one.find(f"{SVG}title").text: one.get("d")
        for one in drawn.iter(f"{SVG}path")
        if one.find(f"{SVG}title") is not None
    }
    assert set(titles) == {"0–10°: 16", "90–100°: 4"}
    reach = {name: float(re.search(r"A([\d.]+),", path)[1]) for name, path in titles.items()}
    assert reach["0–10°: 16"] == pytest.approx(2 * reach["90–100°: 4"])
    assert drawn.get("aria-label") == "Rose of beta; best plane at 5°"


def test_the_cost_curve_fits_whatever_the_share():
    angles = list(range(0, 181, 5))
    for height in (0.0001, 0.02, 0.3, 1.0):
        drawn = cost_over_angle(
            angles_deg=angles, shares=[height * abs(np.sin(np.radians(angle - 170))) for angle in angles], best_deg=170.0,
            free_deg=15.0, line=(0.0, height * 0.2),
        )  # fmt: skip
        y = [float(pair.split(",")[1]) for pair in max(re.findall(r'<path d="M([^"]+)"', drawn), key=len).split("L")]
        assert min(y) >= 15.9
        assert max(y) <= 176.1
        assert drawn.count("free: no cost worth a look") == 2, "the free range runs over the end of the axis"


def test_names_of_planes_are_never_markup():
    trace = Trace(2.0, 40.0, 10.0, "<b>&")
    drawn = around_the_core(traces=[trace], from_m=0.0, to_m=5.0, line=[], marks=[], core_diameter_mm=47.6)
    assert "<b>" not in drawn
    ElementTree.fromstring(drawn)
