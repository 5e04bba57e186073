import pytest

from trayside.app.register_depth import register_hole
from trayside.app.tray_picture import DepthMark, RockSpan, TrayPicture, tray_pictures
from trayside.model.cut_sheet import SheetRow
from trayside.model.hole import Hole, HoleCore, Loss, Rock, Run, Tray
from trayside.model.rules import Rules, TrayRules

HOLE = Hole("H-1", None, 0.0, 0.0, 0.0, 0.0, -90.0, 6000, "6")


def pictures(*, direction: str = "left_to_right", losses: tuple[Loss, ...] = (), rows=(), rock=(), trays=None):
    """Two trays of three rows of one metre, 0–3 m and 3–6 m, two runs of three metres."""
    lost_mm = sum(loss.lost_mm for loss in losses)
    runs = (Run(1, 0, 3000, 3000 - lost_mm, "NQ"), Run(2, 3000, 6000, 3000, "NQ"))
    core = HoleCore(HOLE, (), runs, losses, (Tray(7, 0, 3000, 3, 1000), Tray(8, 3000, 6000, 3, 1000)))
    depth = register_hole(core, Rules(trays=TrayRules(direction=direction)))
    return tray_pictures(hole_id="H-1", depth=depth, rows=rows, rock=rock, trays=trays)


def sample(number: str, from_mm: int, to_mm: int, **more) -> SheetRow:
    return SheetRow(1, "sample", number, from_mm, to_mm, **dict(side="right", portion="half") | more)


def places(picture: TrayPicture) -> list[tuple]:
    return [(s.numbers[0], s.row, s.left_from_mm, s.left_to_mm, s.starts, s.ends) for s in picture.samples]


def test_a_sample_over_a_row_end_lies_in_both_rows():
    first, second = pictures(rows=(sample("A", 800, 1300), sample("B", 2900, 3200)))
    assert places(first) == [
        ("A", 1, 800, 1000, True, False),
        ("A", 2, 0, 300, False, True),
        ("B", 3, 900, 1000, True, False),
    ]
    assert places(second) == [("B", 1, 0, 200, False, True)]


def test_in_a_row_laid_backward_depth_runs_from_right_to_left():
    (first, _) = pictures(direction="boustrophedon", rows=(sample("A", 1200, 1500),))
    assert first.backward == (False, True, False)
    assert places(first) == [("A", 2, 500, 800, True, True)]


def test_a_sample_over_a_seen_loss_is_one_span_with_the_spacer_inside():
    (first, _) = pictures(losses=(Loss(400, 200, "seen"),), rows=(sample("A", 300, 700),))
    kinds = [(p.kind, p.left_from_mm, p.left_to_mm) for p in first.pieces if p.row == 1]
    assert kinds == [("core", 0, 400), ("loss", 400, 600), ("core", 600, 1000)]
    assert places(first) == [("A", 1, 300, 700, True, True)]


def test_a_duplicate_shares_the_span_of_its_sample_and_a_control_has_none():
    rows = (
        sample("A", 0, 500),
        SheetRow(2, "duplicate", "B", 0, 500, side="right", portion="quarter", duplicate_of="A"),
        SheetRow(3, "standard", "C", material="STD"),
    )
    (first, _) = pictures(rows=rows)
    assert [span.numbers for span in first.samples] == [("A", "B")]


def test_marks_blocks_and_rocks_lie_at_their_depth():
    rock = (Rock(0, 1500, "SCH", "intact", "low", "hard"), Rock(1500, 6000, "GRT", "intact", "low", "hard"))
    (first, second) = pictures(rock=rock)
    assert first.marks == (DepthMark(2, 0.0, 1000.0), DepthMark(3, 0.0, 2000.0))
    assert [mark.depth_mm for mark in second.marks] == [3000.0, 4000.0, 5000.0, 6000.0]
    assert [(p.row, p.left_to_mm, p.from_mm) for p in first.pieces if p.kind == "block"] == [(3, 1000, 3000)]
    assert first.rocks[:3] == (RockSpan("SCH", 1, 0, 1000), RockSpan("SCH", 2, 0, 500), RockSpan("GRT", 2, 500, 1000))
    assert {span.rock for span in second.rocks} == {"GRT"}


def test_trays_can_be_chosen_by_number():
    assert [picture.tray for picture in pictures(trays=[8])] == [8]
    assert [picture.tray for picture in pictures()] == [7, 8]
    assert pictures(trays=[99]) == ()


@pytest.mark.parametrize("direction", ["left_to_right", "boustrophedon"])
def test_spans_agree_with_the_place_of_every_depth(direction):
    """The tray map answers for single depths; the picture must put a sample's ends at the same centimetres."""
    rows = tuple(sample(f"S{at}", at * 370, at * 370 + 370) for at in range(16))
    core = HoleCore(HOLE, (), (Run(1, 0, 3000, 3000, "NQ"), Run(2, 3000, 6000, 3000, "NQ")), (),
                    (Tray(7, 0, 3000, 3, 1000), Tray(8, 3000, 6000, 3, 1000)))  # fmt: skip
    depth = register_hole(core, Rules(trays=TrayRules(direction=direction)))
    found = tray_pictures(hole_id="H-1", depth=depth, rows=rows)
    for row in rows:
        middle = depth.tray_map.place_at(depth_m=(row.from_mm + 185) / 1000)
        spans = [s for s in found[middle.tray_index].samples if s.numbers[0] == row.number and s.row == middle.row]
        assert len(spans) == 1
        assert spans[0].left_from_mm - 0.1 <= middle.left_cm * 10 <= spans[0].left_to_mm + 0.1
