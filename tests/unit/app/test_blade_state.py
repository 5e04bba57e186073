"""What a blade cut and will still cut, learned from its heights; glazing; orders; and the sawn area of each kind of bag."""

from dataclasses import replace
from datetime import date

import pytest
from tests.saw_floor import SAWS, SawFloor

from trayside.app.bag_views import hole_bags
from trayside.app.blade_state import blade_life, mounts_of, order_advice
from trayside.app.maintain_saw import measure_height
from trayside.app.saw_cuts import SawCut, saw_cuts, saw_need, sawn_of
from trayside.app.saw_state import read_saw, saw_named
from trayside.app.yard_rules import rules_of
from trayside.core.blade import surface_speed
from trayside.model.bag_states import Fact
from trayside.model.cut_sheet import SheetRow
from trayside.model.event import Event
from trayside.model.rules import Rules, SawRockClass, SawSettings
from trayside.model.saw import Blade, fits_need, need_of

RULES = Rules()
BLADE = Blade("B-1", "T350", 350.0, 10.0, stamped_rpm=4365.0)
NQ_MM, HQ_MM, PQ_MM = 47.6, 63.5, 85.0


def cut(at: str, area_m2: float, *, rock: str = "rock", diameter_mm: float = NQ_MM, minutes: float | None = None) -> SawCut:
    return SawCut("N", "K-1", 1, at, "Demo operator", "tablet 1", rock, diameter_mm, area_m2 / diameter_mm * 1000, area_m2,
                  minutes)  # fmt: skip


def height(at: str, height_mm: float, *readings: str) -> Fact:
    values = {"height_um": round(height_mm * 1000), "readings": list(readings)}
    event = Event("id", "height_measured", "blade", "B-1", "Demo operator", "office", at, 0, "test", values=values)
    return Fact(event, values)


def day(number: int, hour: int = 8) -> str:
    return f"2031-05-{number:02d}T{hour:02d}:00:00.000Z"


def life_of(cuts, heights, *, rules: Rules = RULES, diameter_mm: float = NQ_MM, **more):
    settings = {"mix": {}, "core_diameter_mm": diameter_mm, "flange_diameter_mm": 100.0} | more
    return blade_life(BLADE, cuts=cuts, heights=heights, rules=rules, **settings)


# The worked example of a Bayesian regression on segment heights: S = 0, 5, 10, 15 m2; heights 10.00, 9.10, 8.25, 7.30 mm;
# scatter 0.10; prior h0 10.0 (0.2), wear 0.20 (0.08) -> wear 0.1791716 (0.0084577), 29.6830 m2 left above 2.00 mm
# (delta sd 1.7965): NQ 623.6 m, HQ 467.4 m, PQ 349.2 m. Derived: worked out by hand with normal equations.
CUTS = [cut(day(1), 5.0), cut(day(2), 5.0), cut(day(3), 5.0)]
HEIGHTS = [height(day(1, 6), 10.0), height(day(1, 18), 9.1), height(day(2, 18), 8.25), height(day(3, 18), 7.3)]


@pytest.mark.parametrize(("diameter_mm", "metres"), [(NQ_MM, 623.6), (HQ_MM, 467.4), (PQ_MM, 349.2)])
def test_the_worked_example_comes_out_of_cuts_and_heights(diameter_mm, metres):
    life = life_of(CUTS, HEIGHTS, diameter_mm=diameter_mm)
    assert life.lines[0].wear_mm_per_m2 == pytest.approx(0.1791716, abs=5e-8)
    assert life.lines[0].wear_sd_mm_per_m2 == pytest.approx(0.0084577, abs=5e-8)
    assert life.left.area_m2 == pytest.approx(29.6830, abs=5e-5)
    assert life.left.metres == pytest.approx(metres, abs=0.05)
    assert life.left.low_metres < life.left.metres < life.left.high_metres
    assert life.area_m2 == 15.0


def test_each_new_height_changes_what_is_left_and_the_figure_before_is_shown_beside_it():
    three, four = life_of(CUTS, HEIGHTS[:3]), life_of(CUTS, HEIGHTS)
    assert four.before.metres == pytest.approx(three.left.metres)
    assert four.left.metres != pytest.approx(three.left.metres)
    width = lambda left: left.high_metres - left.low_metres  # noqa: E731
    assert width(four.left) < width(three.left)
    assert life_of(CUTS, []).before is None


def test_a_height_falls_with_what_is_cut_after_it():
    more = [*CUTS, cut(day(4), 5.0)]
    assert life_of(more, HEIGHTS).height_mm == pytest.approx(life_of(CUTS, HEIGHTS).height_mm - 5 * 0.1791716, abs=1e-6)


def test_rock_classes_wear_the_blade_each_at_its_own_pace():
    classes = (
        SawRockClass(name="hard", rocks=("QZV",), wear_mm_per_m2=0.4),
        SawRockClass(name="mild", rocks=("SLT",), wear_mm_per_m2=0.1),
    )
    rules = RULES.model_copy(update={"saws": SawSettings(classes=classes)})
    cuts = [cut(day(1), 4.0, rock="hard"), cut(day(2), 8.0, rock="mild")]
    heights = [height(day(1, 6), 10.0), height(day(1, 18), 8.4), height(day(2, 18), 7.6)]
    hard, mild, other = life_of(cuts, heights, rules=rules).lines
    assert hard.wear_mm_per_m2 == pytest.approx(0.4, abs=0.02)
    assert mild.wear_mm_per_m2 == pytest.approx(0.1, abs=0.02)
    assert mild.left.metres > 3 * hard.left.metres
    assert (hard.area_m2, mild.area_m2, other.area_m2) == (4.0, 8.0, 0.0)
    mixed = life_of(cuts, heights, rules=rules, mix={"hard": 1.0, "mild": 1.0})
    assert dict(mixed.mix) == {"hard": 0.5, "mild": 0.5}
    assert hard.left.metres < mixed.left.metres < mild.left.metres


def test_a_second_blade_begins_with_what_the_first_one_taught():
    first = life_of(CUTS, HEIGHTS)
    taught, guessed = life_of([], [], prior=first.belief), life_of([], [])
    assert taught.lines[0].wear_mm_per_m2 == pytest.approx(0.1791716, abs=1e-6)
    assert guessed.lines[0].wear_mm_per_m2 == 0.2
    assert taught.left.high_metres - taught.left.low_metres < guessed.left.high_metres - guessed.left.low_metres


def test_slower_and_wearing_less_is_glazing_and_wearing_more_at_the_same_pace_is_over_wear():
    def watched(minutes_after: float, wear_after: float) -> str:
        """Twelve metres as believed, then thirty more with another pace or wear."""
        cuts, heights, at_mm, number = [], [], 10.0, 0
        for number in range(42):
            slow = minutes_after if number >= 12 else 1.0
            cuts.append(cut(day(1 + number // 20, 1 + number % 20), 0.5, minutes=0.5 / 0.68 * 60 * slow))
            at_mm -= 0.5 * 0.2 * (wear_after if number >= 12 else 1.0)
            at = cuts[-1].at.replace(":00:00", ":30:00")
            heights.append(height(at, at_mm))
        return life_of(cuts, heights).watch.state

    assert watched(1.0, 1.0) == "steady"
    assert watched(2.5, 0.2) == "glazing"
    assert watched(1.0, 1.9) == "over-wear"
    assert watched(2.5, 1.9) == "both"


def test_segments_of_different_height_tell_of_the_shaft():
    life = life_of(CUTS, [height(day(3, 18), 7.3, "7.8", "6.8")])
    assert any("worn shaft" in flag for flag in life.flags)
    assert life_of(CUTS, [height(day(3, 18), 7.3, "7.4", "7.2")]).flags == ()


def test_a_height_that_grew_is_told():
    life = life_of(CUTS, [height(day(2, 18), 7.3), height(day(3, 18), 8.3)])
    assert any("same marked segments" in flag for flag in life.flags)


def test_the_setting_is_deeper_by_the_wear_and_says_when_the_blade_is_too_small():
    life = life_of(CUTS, HEIGHTS)
    assert life.setting.fits
    assert life.setting.reach_mm == pytest.approx((350 - 2 * life.setting.lowered_by_mm - 100) / 2)
    # Reach of a 350 mm blade with flanges of 100 mm: 125 mm new, 117 mm after 8 mm of wear (derived).
    worn = life_of(CUTS, [height(day(3, 18), 2.0)], rules=RULES.model_copy(update={"saws": SawSettings(height_scatter_mm=0.001)}))
    assert worn.setting.reach_mm == pytest.approx(117.0, abs=0.1)
    assert not life_of([], [], diameter_mm=150.0).setting.fits
    assert "flanges" in life_of([], [], flange_diameter_mm=None).setting_fault


def test_blades_are_ordered_before_the_last_one_is_worn_with_delivery_and_a_margin():
    life = life_of(CUTS, HEIGHTS)  # 5 m2 a day
    spare = replace(BLADE, blade="B-2", lead_days=3.0)
    none = order_advice("T350", lives=[life], spares=[], rules=RULES, today=date(2031, 5, 4))
    one = order_advice("T350", lives=[life], spares=[spare], rules=RULES, today=date(2031, 5, 4))
    assert none.advice.order_now  # about five working days left, fifteen to deliver
    assert none.by == date(2031, 5, 4)
    assert one.lead_days == 3.0
    assert one.advice.empty_in_days > none.advice.empty_in_days + 5
    assert one.by > date(2031, 5, 4)
    assert order_advice("T350", lives=[life_of([], [])], spares=[], rules=RULES, today=date(2031, 5, 4)) is None


def row(**changed) -> SheetRow:
    given = {"seq": 1, "kind": "sample", "number": "K1", "from_mm": 0, "to_mm": 1000, "method": "manual saw", "portion": "half"}
    return SheetRow(**given | changed)


def test_the_sawn_face_is_a_diameter_a_metre_and_a_half_more_for_a_quarter():
    """NQ 0.0476, HQ 0.0635, PQ 0.0850 m2 a metre; a quarter adds half of it (derived)."""
    for diameter_mm, face in ((NQ_MM, 0.0476), (HQ_MM, 0.0635), (PQ_MM, 0.0850)):
        assert sawn_of(row(), core_diameter_mm=diameter_mm, rules=RULES) == pytest.approx((1.0, face), abs=1e-9)
    sawn = lambda **changed: sawn_of(row(**changed), core_diameter_mm=NQ_MM, rules=RULES)  # noqa: E731
    assert sawn(portion="quarter") == pytest.approx((1.0, 0.0714))
    assert sawn(recovered_mm=600) == pytest.approx((0.6, 0.6 * 0.0476))
    assert sawn(kind="duplicate", duplicate_type="half/quarter", portion="quarter") == pytest.approx((0.0, 0.0238))
    assert sawn(kind="duplicate", duplicate_type="quarter/quarter", portion="quarter") == (0.0, 0.0)
    assert sawn(kind="duplicate", duplicate_type="half/half") == (0.0, 0.0)
    assert sawn(method="half by mass") == (0.0, 0.0)
    assert sawn(method="splitter") == (0.0, 0.0)
    assert sawn(portion="whole") == (0.0, 0.0)


def test_a_method_nobody_described_counts_as_sawing():
    saws = RULES.saws
    need = lambda method, portion="half": need_of(  # noqa: E731
        method, portion, kinds=saws.method_saws, without_saw=saws.methods_without_saw
    )
    assert need("automatic saw") == "automatic"
    assert need("bench saw with a clamp") == "saw"
    assert need("knife") == need("manual saw", "whole") == ""
    assert saw_need(row(kind="standard"), RULES) == ""
    assert fits_need("manual", "automatic")
    assert not fits_need("automatic", "manual")
    assert not fits_need("splitter", "saw")
    assert fits_need("splitter", "")


def test_surface_speed_of_the_register_is_the_published_one(planned):
    """Masonry Magazine, November 2004, p. 26 (seen): a 9 in blade at 4,032 rpm runs at 9,500 sfpm, 48.26 m/s."""
    floor = SawFloor(planned)
    floor.load(
        saws=SAWS.replace("A-1,automatic,1425", "A-1,automatic,4032"),
        blades="blade,blade_type,diameter_mm,segment_height_mm,stamped_rpm\nB-9,N9,228.6,7,6800\n",
    )
    floor.fit(blade="B-9")
    assert floor.now_of().start.new_speed_m_s == pytest.approx(48.26, abs=0.005)
    assert surface_speed(blade_diameter_mm=350, spindle_rpm=1425) == pytest.approx(26.11, abs=0.005)  # derived


@pytest.fixture
def floor(planned):
    planned.issue()
    floor = SawFloor(planned)
    floor.fit()
    floor.sign()
    return floor


def test_cuts_on_the_saw_become_metres_minutes_and_days_of_its_blade(floor):
    with floor.yard.start_work(writing=False) as work:
        rows = [bag.row for bag in hole_bags(work, "A-1").bags if bag.row.kind == "sample"][:4]
    for number, one in enumerate(rows):
        floor.cut(one, hole_id="A-1", minutes=4.0, lasted_s=150 if number == 3 else None)
    with floor.yard.start_work(writing=False) as work:
        facts = read_saw(work, saw_named(work, "A-1"))
        cuts = saw_cuts(work, facts, rules=rules_of(work))
    assert [one.number for one in cuts] == [one.number for one in rows]
    assert [one.minutes for one in cuts] == [None, 4.0, 4.0, 2.5]  # nothing was recorded before the first
    assert [one.timed for one in cuts] == [False, False, False, True]
    lengths = [(one.to_mm - one.from_mm) / 1000 for one in rows]
    life = floor.view().life
    assert life.metres == pytest.approx(sum(lengths))
    assert life.area_m2 == pytest.approx(sum(one.area_m2 for one in cuts))
    assert life.hours == pytest.approx(10.5 / 60)
    assert (life.days, life.cuts, life.hours_of) == (1, 4, 3)
    (mount,) = mounts_of([facts])
    assert (mount.blade, mount.to) == ("B-1", None)
    left = floor.view().life.left.metres
    measure_height("B-1", "9.6 9.5", desk=floor.desk(), start_work=floor.yard.start_work)
    assert floor.view().life.left.metres < left
    assert floor.view().life.before.metres == pytest.approx(left)


def test_the_coming_rock_is_what_waits_in_the_hole_that_was_cut_last(floor):
    coming = floor.view().coming
    with floor.yard.start_work(writing=False) as work:
        bags = hole_bags(work, "A-1").bags
    sawn = [bag.row for bag in bags if bag.row.kind == "sample"]
    assert (coming.hole_id, coming.core_diameter_mm) == ("A-1", NQ_MM)
    assert coming.metres == pytest.approx(sum(one.to_mm - one.from_mm for one in sawn) / 1000)
    floor.cut(sawn[0], hole_id="A-1")
    assert floor.view().coming.metres == pytest.approx(coming.metres - (sawn[0].to_mm - sawn[0].from_mm) / 1000)
    assert floor.view("S-1").coming is None
