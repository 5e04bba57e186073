"""Where every metre lies, from runs, losses and trays as loaded; what cannot be right is left out."""

from __future__ import annotations

import numpy as np
import pytest

from trayside.app.register_depth import register_hole, usable_losses, usable_runs
from trayside.model.cut_sheet import Place
from trayside.model.hole import Hole, HoleCore, Loss, Run, Tray
from trayside.model.rules import DepthRules, Rules

RULES = Rules()


def runs(*blocks: tuple[float, float, float], core_size: str = "NQ") -> tuple[Run, ...]:
    return tuple(
        Run(number, round(top * 1000), round(bottom * 1000), round(recovered * 1000), core_size)
        for number, (top, bottom, recovered) in enumerate(blocks, start=1)
    )


def core_of(loaded: tuple[Run, ...], *, losses=(), trays=()) -> HoleCore:
    return HoleCore(Hole("T-1", None, 0, 0, 0, 0, -90, 12_000, ""), runs=loaded, losses=losses, trays=trays)


STUB = runs((0, 3, 3), (3, 6, 2.4), (6, 9, 3.6), (9, 12, 3))


def test_core_left_in_the_hole_is_put_back_where_it_was_cut():
    depth = register_hole(core_of(STUB), RULES)
    assert depth.stubs_used
    assert depth.registration.depth_at(core_m=np.array([2.0, 5.3, 5.5, 10.0])) == pytest.approx([2.0, 5.3, 5.5, 10.0])
    assert len(depth.registration.lost_stretches().from_m) == 0


def test_without_crediting_stubs_the_short_run_has_a_loss():
    depth = register_hole(core_of(STUB), Rules(depth=DepthRules(credit_stubs=False)))
    assert not depth.stubs_used
    lost = depth.registration.lost_stretches()
    assert list(zip(lost.from_m.tolist(), lost.to_m.tolist(), strict=True)) == [pytest.approx((5.4, 6.0))]


def test_a_placed_loss_that_contradicts_the_stub_leaves_the_blocks_in_charge():
    loss = Loss(3500, 600, "seen")
    depth = register_hole(core_of(STUB, losses=(loss,)), RULES)
    assert depth.losses == (loss,)
    assert not depth.stubs_used
    assert depth.registration.depth_at(core_m=np.array([5.3, 5.5])) == pytest.approx([5.9, 6.1])


def test_a_gain_within_the_tape_moves_no_run():
    depth = register_hole(core_of(runs((0, 3, 3), (3, 6, 2.96), (6, 9, 3.04))), RULES)
    assert not depth.stubs_used
    assert depth.registration.depth_at(core_m=np.array([5.95, 5.97, 8.0])) == pytest.approx([5.95, 6.01, 8.04])


def test_one_wrong_block_takes_out_no_more_than_its_own_runs():
    loaded = runs((0, 3, 3), (3, 29.53, 3), (29.53, 9, 3), (9, 12, 3), (12, 15, 3))
    assert [run.run for run in usable_runs(loaded)] == [1, 4, 5]
    assert usable_runs(()) == usable_runs(runs((3, 0, 3))) == ()


def test_runs_that_overlap_a_little_are_kept():
    loaded = runs((0, 3, 3), (2.8, 6, 3.2), (6, 9, 3))
    assert usable_runs(loaded) == loaded


def test_losses_that_fit_no_run_or_overlap_or_leave_no_room_are_left_out():
    loaded = runs((0, 3, 2.0), (3, 6, 3), (6, 9, 2.5))
    good, second = Loss(1000, 400, "seen"), Loss(2000, 600, "seen")
    crossing, overlapping = Loss(2900, 200, "seen"), Loss(1200, 300, "seen")
    too_long, empty = Loss(6500, 600, "seen"), Loss(7000, 0, "seen")
    assert usable_losses((good, overlapping, second, crossing, too_long, empty), loaded) == (good, second)


def test_a_hole_without_runs_or_trays_still_has_an_answer():
    bare = register_hole(core_of(()), RULES)
    assert (bare.runs, bare.trays, bare.stubs_used) == ((), (), False)
    assert bare.places_at([1.0, 2.0]) == [None, None]
    no_trays = register_hole(core_of(STUB), RULES)
    assert no_trays.places_at(1.0) == [None]


def trays(*tags: tuple[float, float], **more) -> tuple[Tray, ...]:
    return tuple(
        Tray(number, round(top * 1000), round(bottom * 1000), 3, 1000, **more)
        for number, (top, bottom) in enumerate(tags, start=1)
    )


FULL = runs((0, 3, 3), (3, 6, 3), (6, 9, 3))


def test_depths_lie_in_tray_row_and_centimetre():
    depth = register_hole(core_of(FULL, trays=trays((0, 3), (3, 6), (6, 9))), RULES)
    assert depth.places_at([0.0, 1.25, 5.999, 9.5]) == [
        Place(1, 1, 0.0),
        Place(1, 2, 25.0),
        Place(2, 3, pytest.approx(99.9)),
        None,
    ]


def test_the_end_of_a_sample_is_on_the_core_above_it():
    depth = register_hole(core_of(FULL, trays=trays((0, 3), (3, 6), (6, 9))), RULES)
    assert depth.places_at([2.0, 3.0, 9.0], end=True) == [Place(1, 2, 100.0), Place(1, 3, 100.0), Place(3, 3, 100.0)]
    assert depth.places_at([2.0, 3.0]) == [Place(1, 3, 0.0), Place(2, 1, 0.0)]


def test_a_tag_that_runs_uphole_is_left_out():
    depth = register_hole(core_of(FULL, trays=trays((0, 3), (6, 3), (6, 9))), RULES)
    assert [tray.tray for tray in depth.trays] == [1, 3]
    assert depth.places_at([4.0, 7.5]) == [None, Place(3, 2, 50.0)]


def test_measured_row_ends_decide_where_they_are_complete():
    measured = trays((0, 3), row_ends_mm=(900, 2100))
    depth = register_hole(core_of(FULL, trays=measured), RULES)
    assert [place.row for place in depth.places_at([0.85, 0.95, 2.05, 2.15])] == [1, 2, 2, 3]
    partly = register_hole(core_of(FULL, trays=trays((0, 3), row_ends_mm=(900,))), RULES)
    assert [place.row for place in partly.places_at([0.85, 0.95, 2.05, 2.15])] == [1, 1, 3, 3]


def test_the_core_size_of_a_depth_is_that_of_its_run():
    loaded = (*runs((0, 3, 3), (3, 6, 3)), Run(3, 6000, 9000, 3000, "BQ"))
    depth = register_hole(core_of(loaded), RULES)
    assert depth.core_size_at(np.array([1.0, 5.99, 6.01, 20.0])) == ["NQ", "NQ", "BQ", "BQ"]


def test_marks_follow_the_rule_of_the_yard():
    metres = register_hole(core_of(FULL), RULES).marks.depth_m
    feet = register_hole(core_of(FULL), Rules(depth=DepthRules(mark_every="5 ft"))).marks.depth_m
    assert np.allclose(metres, np.round(metres))
    assert np.allclose(feet / 1.524, np.round(feet / 1.524))
