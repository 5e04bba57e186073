import random
import xml.etree.ElementTree as ElementTree
from itertools import pairwise

import pytest

from trayside.app.label_lanes import GAP_PX, lanes_used, place_labels
from trayside.app.tray_picture import DepthMark, RockSpan, SampleSpan, TrayPicture, TrayPiece
from trayside.app.tray_svg import SIDE_PX, THEMES, tray_svg

SVG = "{http://www.w3.org/2000/svg}"


def one_row(*spans: SampleSpan, backward: bool = False, **more) -> TrayPicture:
    facts = dict(
        hole_id="H-1", tray=7, from_mm=0, to_mm=1000, rows=1, row_length_mm=1000.0, backward=(backward,),
        pieces=(TrayPiece("core", 1, 0.0, 1000.0, 0.0, 1000.0, 1),), samples=spans,
    )  # fmt: skip
    return TrayPicture(**facts | more)


def span(number: str, left_mm: float, right_mm: float, **more) -> SampleSpan:
    facts = dict(
        numbers=(number,), row=1, left_from_mm=left_mm, left_to_mm=right_mm, from_mm=round(left_mm), to_mm=round(right_mm),
        starts=True, ends=True, side="right", portion="half",
    )  # fmt: skip
    return SampleSpan(**facts | more)


def parts(drawing: str, name: str) -> list[ElementTree.Element]:
    return [part for part in ElementTree.fromstring(drawing).iter() if name in (part.get("class") or "").split()]


def label_boxes(drawing: str) -> list[tuple[float, float, float, float]]:
    """Boxes of the ticket numbers and depths: left, top, right, bottom."""
    texts = parts(drawing, "tray-number") + parts(drawing, "tray-depth")
    found = []
    for text in texts:
        x, y, wide = (float(text.get(name)) for name in ("x", "y", "textLength"))
        found.append((x, y - 9, x + wide, y + 2))
    return found


def test_the_core_is_drawn_to_scale_and_carries_its_depths():
    drawing = tray_svg(picture=one_row(), scale_px_per_mm=0.5)
    (core,) = parts(drawing, "tray-core")
    assert float(core.get("width")) == 500.0
    assert float(core.get("x")) == SIDE_PX
    assert (core.get("data-from-mm"), core.get("data-to-mm"), core.get("data-run")) == ("0", "1000", "1")


@pytest.mark.parametrize(
    ("side", "backward", "low"),
    [("right", False, True), ("left", False, False), ("right", True, False), ("left", True, True)],
)
def test_the_bagged_half_lies_on_its_side_looking_downhole(side, backward, low):
    # Seen from above with depth running to the right, the right-hand side is the lower one on the page.
    drawing = tray_svg(picture=one_row(span("A", 100, 400, side=side), backward=backward), scale_px_per_mm=1.0)
    (core,), (bagged,), (line,) = (parts(drawing, name) for name in ("tray-core", "tray-bagged", "tray-drawn-line"))
    middle = float(core.get("y")) + float(core.get("height")) / 2
    top, bottom = float(bagged.get("y")), float(bagged.get("y")) + float(bagged.get("height"))
    assert (top > middle) if low else (bottom < middle)
    assert (float(bagged.get("x")), float(bagged.get("width"))) == (SIDE_PX + 100, 300)
    assert f",{middle:.1f}" in line.get("d")
    assert len(parts(drawing, "tray-cut")) == 1


def test_core_taken_by_mass_is_dotted_and_whole_core_hatched_over_all():
    by_mass = tray_svg(picture=one_row(span("A", 0, 500, side="")))
    whole = tray_svg(picture=one_row(span("A", 0, 500, side="", portion="whole")))
    assert parts(by_mass, "tray-bagged")[0].get("fill").startswith("url(#dots")
    assert parts(whole, "tray-bagged")[0].get("fill").startswith("url(#hatch")
    assert not parts(by_mass, "tray-cut")
    assert not parts(whole, "tray-cut")


@pytest.mark.parametrize("seed", range(25))
def test_labels_never_lie_on_each_other(seed):
    chance = random.Random(seed)
    ends = sorted(chance.sample(range(0, 1001), 24))
    spans = [span(f"VR{at:06d}", a, b) for at, (a, b) in enumerate(pairwise(ends))]
    pieces = (
        TrayPiece("core", 1, 0.0, 500.0, 0.0, 500.0, 1), TrayPiece("block", 1, 500.0, 500.0, 500.0, 500.0, 1),
        TrayPiece("core", 1, 500.0, 1000.0, 500.0, 1000.0, 2),
    )  # fmt: skip
    marks = tuple(DepthMark(1, float(at), float(at)) for at in (0, 333, 667, 1000))
    drawing = tray_svg(picture=one_row(*spans, pieces=pieces, marks=marks), scale_px_per_mm=0.9)
    boxes = label_boxes(drawing)
    assert len(boxes) > 40
    for at, a in enumerate(boxes):
        for b in boxes[at + 1 :]:
            apart = a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1]
            assert apart, (a, b)
    wide = float(ElementTree.fromstring(drawing).get("width"))
    assert all(box[0] >= 0 and box[2] <= wide for box in boxes)


def test_every_label_is_written_once():
    drawing = tray_svg(picture=one_row(span("A", 0, 500), span("B", 500, 1000)))
    assert [text.text for text in parts(drawing, "tray-number")] == ["A", "B"]
    assert sorted(text.text for text in parts(drawing, "tray-depth")) == ["0.00", "0.50", "1.00"]


def test_a_sample_that_goes_on_elsewhere_and_one_with_a_caution_say_so():
    drawing = tray_svg(
        picture=one_row(span("A", 0, 500, starts=False), span("B", 500, 1000, ends=False, caution="gold"))
    )
    assert [text.text for text in parts(drawing, "tray-number")] == ["…A", "▲ B…"]
    assert "caution: gold" in "".join(ElementTree.fromstring(drawing).itertext())


def test_a_loss_is_told_in_words_and_a_block_by_its_depth():
    pieces = (
        TrayPiece("core", 1, 0.0, 300.0, 0.0, 300.0, 1), TrayPiece("loss", 1, 300.0, 700.0, 300.0, 700.0, 1),
        TrayPiece("block", 1, 700.0, 700.0, 700.0, 700.0, 1),
    )  # fmt: skip
    drawing = tray_svg(picture=one_row(pieces=pieces, rocks=(RockSpan("SCH", 1, 0.0, 300.0),)))
    assert parts(drawing, "tray-lost")[0].text == "lost 0.40 m"
    assert parts(drawing, "tray-loss")[0].get("data-from-mm") == "300"
    assert "■0.70" in [text.text for text in parts(drawing, "tray-depth")]
    assert parts(drawing, "tray-rock")[0].text == "SCH"


@pytest.mark.parametrize("backward", [False, True])
def test_a_rock_is_named_only_where_its_core_leaves_room(backward):
    loss = TrayPiece("loss", 1, 20.0, 100.0, 20.0, 100.0, 1)
    if backward:
        loss = TrayPiece("loss", 1, 900.0, 980.0, 20.0, 100.0, 1)
    rocks = (RockSpan("SCH", 1, 0.0, 1000.0),)
    assert not parts(tray_svg(picture=one_row(pieces=(loss,), rocks=rocks, backward=backward)), "tray-rock")
    assert parts(tray_svg(picture=one_row(pieces=(loss,), rocks=rocks, backward=not backward)), "tray-rock")


def test_hostile_text_stays_text():
    hostile = '"><script>&\x00\x07'
    drawing = tray_svg(picture=one_row(span("A<b>", 0, 500, caution=hostile), hole_id='H"<1'))
    root = ElementTree.fromstring(drawing)
    assert root.get("data-hole") == 'H"<1'
    assert not [part for part in root.iter() if part.tag in (f"{SVG}script", f"{SVG}b")]
    assert '"><script>&' in "".join(root.itertext())


def test_pattern_names_differ_between_trays_and_inline_style_is_not_used():
    first, second = (tray_svg(picture=one_row(tray=tray)) for tray in (7, 8))
    names = [{part.get("id") for part in ElementTree.fromstring(d).iter() if part.get("id")} for d in (first, second)]
    assert not names[0] & names[1]
    assert "style=" not in first
    assert "<style" not in first


@pytest.mark.parametrize("theme", THEMES)
def test_both_looks_draw_the_same_parts(theme):
    drawing = tray_svg(picture=one_row(span("A", 0, 500)), theme=theme)
    assert THEMES[theme].ground in drawing
    assert len(parts(drawing, "tray-sample")) == 1


def test_feet_are_written_where_asked():
    drawing = tray_svg(picture=one_row(span("A", 0, 1000, to_mm=3048)), unit="ft")
    assert "10.00" in [text.text for text in parts(drawing, "tray-depth")]


def test_lanes_keep_labels_apart_inside_the_line_and_prefer_the_nearest():
    placed = place_labels(wanted=[(50, 40), (60, 40), (200, 40), (2, 40), (399, 40)], left_px=0, right_px=400)
    assert [label.lane for label in placed] == [0, 1, 0, 2, 0]
    assert placed[3].left_px == 0
    assert placed[4].left_px == 360
    assert lanes_used(placed) == 3
    assert lanes_used(()) == 0
    assert GAP_PX > 0
