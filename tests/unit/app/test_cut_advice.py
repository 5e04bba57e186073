"""Which way to cut: found against brute force, in the frame of the marks, and said in trays and millimetres."""

import numpy as np
import pytest
from tests.unit.app.cut_cases import NQ_MM, cut_hole, scattered

from trayside.app.cut_advice import LINE_WILL_DO, TURN, cut_advice, nearest_turn
from trayside.app.cut_orders import holds_already, orders_computed, orders_now
from trayside.app.cut_register import CutLine
from trayside.app.cut_stretches import advised_stretches
from trayside.core.vein_shares import clipped_vein_shares
from trayside.model.rules import CutPlaneSettings, CutSettings, Rules


def brute_rms(view, cut_deg: float, *, turn=lambda depth: 0.0) -> float:
    """Every vein against every sample, one by one, from the exact shares."""
    step = view.rules.sampling.nominal_m
    tops = np.arange(0.0, view.core.hole.total_depth_mm / 1000, step)
    held = []
    for top in tops:
        whole = difference = 0.0
        for vein in view.core.fabric:
            at = vein.depth_mm / 1000
            share = clipped_vein_shares(
                radius_mm=NQ_MM / 2, alpha_deg=vein.alpha_deg, thickness_mm=vein.thickness_mm, centre_mm=at * 1000,
                sample_from_mm=top * 1000, sample_to_mm=(top + step) * 1000,
                angle_deg=cut_deg - (vein.beta_deg - turn(at)),
            )  # fmt: skip
            whole, difference = whole + float(share.whole), difference + float(share.difference)
        if whole > 0:
            held.append(difference / whole)
    return float(np.sqrt(np.mean(np.square(held))))


def test_the_costs_are_those_of_every_vein_in_every_sample():
    view = cut_hole(veins=scattered(40, beta_deg=70))
    hole = cut_advice(view).hole
    assert hole.best_imbalance == pytest.approx(brute_rms(view, hole.cut_deg), abs=1e-9)
    assert hole.line_imbalance == pytest.approx(brute_rms(view, 0.0), abs=1e-9)
    assert hole.worst_imbalance == pytest.approx(brute_rms(view, hole.cut_deg + 90.0), abs=1e-9)


def test_no_other_plane_is_much_better_than_the_one_advised():
    view = cut_hole(veins=scattered(60, beta_deg=70))
    advice = cut_advice(view)
    tried = [brute_rms(view, angle) for angle in range(0, 180, 10)]
    assert advice.hole.best_imbalance <= min(tried) + 0.01
    assert advice.hole.cut_deg == pytest.approx(70, abs=6)
    assert advice.curve_imbalance[::2][:18] == pytest.approx(tried, abs=1e-9)


def test_a_line_near_the_best_plane_will_do_and_the_orders_say_so():
    view = cut_hole(veins=scattered(40, beta_deg=4))
    advice = cut_advice(view)
    assert [domain.case for domain in advice.domains] == [LINE_WILL_DO]
    (stretch,) = advised_stretches(advice)
    assert (stretch.line.start_deg, stretch.line.end_deg, stretch.first_tray, stretch.last_tray) == (0.0, 0.0, 1, 12)
    (order,) = orders_computed(view, (stretch,))
    assert order.line == "The cut line is the orientation line."


def test_core_is_turned_by_the_arc_of_its_size():
    view = cut_hole(veins=scattered(60, beta_deg=70, spread_deg=3))
    (stretch,) = advised_stretches(cut_advice(view))
    assert stretch.line.start_deg == pytest.approx(70, abs=2)
    (order,) = orders_computed(view, (stretch,))
    # pi D beta / 360 for NQ 47.6 mm and 70 degrees is 29 mm (derived).
    assert order.line in {f"Draw the cut line {arc} mm clockwise of the orientation line." for arc in (28, 29, 30)}
    assert "the right half is bagged; the orientation line stays on the left half" in order.bag


def test_the_left_rule_draws_the_other_end_of_the_same_plane():
    rules = Rules(cut=CutSettings(bag_side="left"))
    view = cut_hole(veins=scattered(60, beta_deg=70, spread_deg=3), rules=rules)
    (stretch,) = advised_stretches(cut_advice(view))
    assert stretch.line.start_deg == pytest.approx(70 - 180, abs=2)
    (order,) = orders_computed(view, (stretch,))
    assert "straight across from a mark" in order.line
    assert "the left half is bagged; the orientation line stays on the right half" in order.bag


def test_a_line_that_drifts_is_followed_tray_by_tray_while_the_rock_keeps_its_plane():
    """The rock asks for one plane; the line leaves the marks by 40 degrees over the lower half."""

    def turn(depth: float) -> float:
        return max(0.0, (depth - 30.0) / 30.0) * 40.0

    veins = [(at, alpha, beta + turn(at)) for at, alpha, beta in scattered(60, beta_deg=0, spread_deg=4)]
    view = cut_hole(veins=veins, marks=[(at, turn(at)) for at in np.arange(3.0, 60.1, 3.0)])
    advice = cut_advice(view)
    assert len(advice.domains) == 1, "the rock does not change"
    assert nearest_turn(advice.hole.cut_deg) == pytest.approx(0, abs=3)
    assert advice.line_turns_deg == pytest.approx(40, abs=3)
    first, last = advice.trays[0], advice.trays[-1]
    assert (first.case, last.case) == (LINE_WILL_DO, TURN)
    assert last.end_deg == pytest.approx(40, abs=5)
    assert advice.hole.line_imbalance > 1.5 * advice.hole.best_imbalance
    counted = brute_rms(view, advice.hole.cut_deg, turn=lambda at: float(advice.turn.at(at)))
    assert advice.hole.best_imbalance == pytest.approx(counted, abs=1e-9)
    stretches = advised_stretches(advice)
    assert stretches[0].line.on_the_line
    for tray in advice.trays:
        here = next(one.line for one in stretches if one.line.from_mm <= tray.from_mm < one.line.to_mm)
        assert here.angle_at(tray.to_mm) == pytest.approx(tray.end_deg, abs=5.0), "within two millimetres of arc"


def test_a_break_is_proposed_where_the_rock_turns_and_none_in_noise():
    turned = scattered(40, beta_deg=0, length_m=30) + scattered(40, beta_deg=60, from_m=30, seed=5)
    advice = cut_advice(cut_hole(veins=turned))
    (at,) = [domain.from_mm for domain in advice.domains[1:]]
    assert at / 1000 == pytest.approx(30, abs=2)
    assert advice.break_chance[0] <= 0.05
    assert [nearest_turn(domain.cut_deg).round(-1) for domain in advice.domains] == [0, 60]
    noise = np.random.default_rng(11).uniform(0, 360, 80)
    still = [(at, alpha, float(beta)) for (at, alpha, _), beta in zip(scattered(80, beta_deg=0), noise, strict=True)]
    advice = cut_advice(cut_hole(veins=still))
    assert len(advice.domains) == 1
    assert advice.domains[0].case == "no preferred plane"
    assert advised_stretches(advice)[0].line.on_the_line


def test_when_it_does_not_matter_it_is_said():
    # A vein wholly inside its sample is shared evenly by every cut through the axis (derived).
    inside = [(at + 0.5, alpha, beta) for at, (_, alpha, beta) in enumerate(scattered(60, beta_deg=70))]
    advice = cut_advice(cut_hole(veins=inside, samples=[(at, at + 1.0) for at in range(60)]))
    assert advice.domains[0].case == "halves alike anyway"
    assert advice.hole.worst_imbalance == pytest.approx(0, abs=1e-9)
    assert cut_advice(cut_hole(veins=scattered(3, beta_deg=70))).domains[0].case == "too few veins"
    nothing = cut_advice(cut_hole(veins=[]))
    assert nothing.hole is None
    assert nothing.why_none


def test_layers_stand_in_where_veins_are_missing_and_settings_choose_the_carriers():
    veins = scattered(40, beta_deg=70)
    advice = cut_advice(cut_hole(veins=veins, kind="foliation", thickness_mm=None))
    assert advice.carriers.stand_in
    assert advice.hole.cut_deg == pytest.approx(70, abs=4)
    assert cut_advice(cut_hole(veins=veins, kind="joint")).hole is None
    rules = Rules(cut_plane=CutPlaneSettings(carriers={"joint": 2.0}))
    assert not cut_advice(cut_hole(veins=veins, kind="joint", rules=rules)).carriers.stand_in


def test_veins_along_the_core_are_told_and_not_counted():
    advice = cut_advice(cut_hole(veins=[*scattered(20, beta_deg=70), (30.5, 0.0, 20.0)]))
    assert advice.carriers.along_axis == 1
    assert len(advice.carriers) == 20


def test_a_thinner_core_gets_its_own_arc():
    view = cut_hole(veins=scattered(60, beta_deg=70, spread_deg=2), sizes=((30.0, "BQ"),))
    stretches = advised_stretches(cut_advice(view))
    arcs = {
        one.core_diameter_mm: order.line for one, order in zip(stretches, orders_computed(view, stretches), strict=True)
    }
    assert set(arcs) == {NQ_MM, 36.5}
    # pi D 70 / 360: 29.1 mm on NQ, 22.3 mm on BQ (derived).
    assert any(f"{arc} mm" in arcs[36.5] for arc in (21, 22, 23))


def test_trays_and_samples_carry_their_own_figures():
    samples = [(float(at), at + 1.0) for at in range(60)]
    view = cut_hole(veins=scattered(60, beta_deg=70), samples=samples)
    advice = cut_advice(view)
    assert sum(tray.vein_count for tray in advice.trays) == 60
    assert len(advice.samples) == 60
    told = [one.line_imbalance for one in advice.samples if one.line_imbalance is not None]
    assert np.sqrt(np.mean(np.square(told))) == pytest.approx(advice.hole.line_imbalance, abs=1e-12)
    assert advice.set_imbalance == advice.hole.line_imbalance, "nothing set: the line is followed"


def test_what_is_set_is_priced_and_compared_with_what_was_computed():
    veins = scattered(60, beta_deg=70, spread_deg=3)
    bare = cut_hole(veins=veins)
    stretches = advised_stretches(cut_advice(bare))
    assert not holds_already(bare, stretches)
    start, end = round(stretches[0].line.start_deg), round(stretches[0].line.end_deg)
    whole = CutLine(0, 60_000, start, end, "right", "best plane", "why", "A", "2031")
    view = cut_hole(veins=veins, lines=(whole,))
    advice = cut_advice(view)
    assert holds_already(view, advised_stretches(advice))
    assert advice.set_imbalance == pytest.approx(advice.hole.best_imbalance, abs=0.005)
    (order,) = orders_now(view)
    assert (order.basis, order.reason, order.by) == ("best plane", "why", "A")


def test_the_same_hole_gives_the_same_advice():
    one, two = (cut_advice(cut_hole(veins=scattered(40, beta_deg=30))) for _ in range(2))
    assert one.trays == two.trays
    assert one.domains == two.domains
