"""The shift plan against every possible plan of small shifts, a yard's shift of 200 pieces, a saw that stops."""

import itertools
from dataclasses import replace

import numpy as np
import pytest

from trayside.core.planning_aid import PLANNING_AID
from trayside.core.shift_bound import lower_bound
from trayside.core.shift_paths import path_bound
from trayside.core.shift_plan import Piece, Saw, ShiftSettings, _task, metres_waiting, plan_shift, replan
from trayside.core.shift_routes import in_turn, plan_cost, play, search
from trayside.errors import ImpossibleValue

SETTINGS = ShiftSettings()


def cost_of(order, pieces, saws, settings=SETTINGS):
    """The cost of queues, written out anew: no code of the plan is used."""
    total = sum(piece.metres * piece.priority for piece in pieces)
    cost, finish = 0.0, 0.0
    for saw, queue in zip(saws, order, strict=True):
        clock, hole, grade, left = saw.ready_min, saw.hole, saw.grade, saw.blade_left_m2
        for piece in queue:
            if piece.hole != hole:
                clock += settings.hole_change_min
            else:
                clock += settings.wash_down_min if piece.grade < grade else settings.wash_min
            if left is not None and piece.area_m2 > left:
                clock, left = clock + settings.blade_change_min, saw.blade_new_m2
            left = None if left is None else left - piece.area_m2
            clock += piece.minutes * saw.pace
            hole, grade, finish = piece.hole, piece.grade, max(finish, clock)
            share = piece.metres * piece.priority / total
            late = 0.0 if piece.due_min is None else max(0.0, clock - piece.due_min)
            cost += share * (clock + settings.late_weight * late)
    return cost + settings.finish_weight * finish


def cheapest(pieces, saws):
    """Over every order and every way to cut it into queues."""
    costs = []
    for order in itertools.permutations(pieces):
        for cuts in itertools.combinations_with_replacement(range(len(pieces) + 1), len(saws) - 1):
            ends = [0, *cuts, len(pieces)]
            queues = [order[a:b] for a, b in itertools.pairwise(ends)]
            if all(not p.saws or saw.name in p.saws for saw, queue in zip(saws, queues, strict=True) for p in queue):
                costs.append(cost_of(queues, pieces, saws))
    return min(costs)


def small_shift(seed):
    chance = np.random.default_rng(seed)
    saws = [
        Saw(
            name=f"saw {k}",
            ready_min=float(chance.choice([0.0, 0.0, 12.5])),
            pace=float(chance.choice([1.0, 1.0, 1.3])),
            hole=[None, "hole 0", "hole 1"][chance.integers(3)],
            grade=int(chance.integers(3)),
            blade_left_m2=[None, 0.1, 0.3][chance.integers(3)],
            blade_new_m2=0.5,
        )
        for k in range(int(chance.integers(1, 4)))
    ]
    pieces = [
        Piece(
            name=f"tray {k}",
            hole=f"hole {chance.integers(3)}",
            minutes=float(chance.uniform(2, 12)),
            metres=float(chance.uniform(0.3, 2)),
            grade=int(chance.integers(3)),
            area_m2=float(chance.uniform(0.02, 0.1)),
            priority=float(chance.choice([1, 2, 4])),
            due_min=[None, 15.0, 30.0][chance.integers(3)],
            saws=() if chance.random() < 0.8 else (f"saw {chance.integers(len(saws))}",),
        )
        for k in range(int(chance.integers(1, 6)))
    ]
    return pieces, saws


def queues_of(plan, pieces, saws):
    by_name = {piece.name: piece for piece in pieces}
    return [[by_name[line.piece] for line in plan.lines if line.saw == saw.name] for saw in saws]


@pytest.mark.parametrize("seed", range(40))
def test_small_shifts_get_the_cheapest_of_all_plans(seed):
    pieces, saws = small_shift(seed)
    plan = plan_shift(pieces=pieces, saws=saws)
    best = cheapest(pieces, saws)
    assert plan.figures.cost_min == pytest.approx(best, rel=1e-9)
    assert plan.figures.cost_min == pytest.approx(cost_of(queues_of(plan, pieces, saws), pieces, saws), rel=1e-9)
    assert plan.gap == 0.0
    assert "no plan is cheaper" in plan.says


@pytest.mark.parametrize("seed", range(40))
def test_the_bound_is_never_above_the_cheapest_plan_and_the_search_comes_near_it(seed):
    pieces, saws = small_shift(seed)
    task = _task(pieces, saws, SETTINGS)
    best = cheapest(pieces, saws)
    turn = in_turn(task, range(len(pieces)))
    finish = max(play(task, saw, queue)[-1].end_min for saw, queue in enumerate(turn) if queue)
    bound = lower_bound(task, cost=plan_cost(task, turn), finish_min=finish)
    assert 0.0 < bound.cost <= best * (1.0 + 1e-9)
    prizes = path_bound(task, cost=best, finish_min=finish, worth=bound.piece_worth, rounds=30)
    assert 0.0 < prizes <= best * (1.0 + 1e-9)
    found = search(task, turn, moves=4000, seed=1, bound=bound.cost, near=0.0, first_heat=1.0)
    assert best * (1.0 - 1e-9) <= plan_cost(task, found) <= best * 1.05


def yard_shift(seed, *, holes, scattered, pieces=200):
    """200 pieces as they arrive, holes mixed; grade, rock and priority in stretches, or scattered piece by piece."""
    chance = np.random.default_rng(seed)
    hole = np.sort(chance.integers(0, holes, pieces))
    metres = np.round(chance.uniform(0.5, 1.5, pieces), 2)
    stretch = 1 if scattered else 10
    rate = np.repeat(chance.choice([4.0, 6.0, 8.0, 11.0], -(-pieces // stretch)), stretch)[:pieces]
    grade = np.repeat(chance.choice([0, 1, 2], -(-pieces // stretch), p=[0.6, 0.3, 0.1]), stretch)[:pieces]
    urgent = chance.choice([1.0, 2.0, 4.0], pieces, p=[0.7, 0.2, 0.1])
    urgent = urgent if scattered else urgent[:holes][hole]
    lorry = {int(one): 240.0 for one in chance.choice(holes, max(1, holes // 6), replace=False)}
    return [
        Piece(
            f"piece {k}", f"hole {hole[k]}", float(metres[k] * rate[k]), float(metres[k]), int(grade[k]),
            float(metres[k] * 0.0556), float(urgent[k]), lorry.get(int(hole[k])),
        )
        for k in chance.permutation(pieces)
    ]  # fmt: skip


THREE_SAWS = [Saw(f"saw {k}", blade_left_m2=left, blade_new_m2=30.0) for k, left in enumerate((2.0, 6.0, 9.0))]


@pytest.mark.slow
@pytest.mark.parametrize(("holes", "scattered"), [(12, False), (25, False), (12, True)])
def test_200_pieces_on_3_saws_come_within_5_percent_of_the_bound(holes, scattered):
    pieces = yard_shift(1, holes=holes, scattered=scattered)
    plan = plan_shift(pieces=pieces, saws=THREE_SAWS)
    assert plan.gap < 0.05
    assert plan.first_come.cost_min > 1.5 * plan.figures.cost_min
    assert sorted(line.piece for line in plan.lines) == sorted(piece.name for piece in pieces)
    assert plan.figures.cost_min == pytest.approx(cost_of(queues_of(plan, pieces, THREE_SAWS), pieces, THREE_SAWS))


def test_first_come_first_served_is_the_order_given():
    pieces = [Piece(f"p{k}", f"h{k % 2}", 10.0, 1.0) for k in range(6)]
    plan = plan_shift(pieces=pieces, saws=[Saw("a")])
    assert plan.first_come.hole_changes == 6
    assert plan.first_come.finish_min == 6 * (10.0 + SETTINGS.hole_change_min)
    assert plan.figures.hole_changes == 2
    assert plan.figures.finish_min == 60.0 + 2 * SETTINGS.hole_change_min + 4 * SETTINGS.wash_min
    assert "28 min sooner than first come, first served" in plan.says
    assert plan.caution == PLANNING_AID


def test_low_grade_before_high_grade_in_a_hole():
    pieces = [Piece(f"p{k}", "h", 10.0, 1.0, grade=grade) for k, grade in enumerate([2, 0, 1, 0, 2])]
    plan = plan_shift(pieces=pieces, saws=[Saw("a")])
    grades = [{piece.name: piece.grade for piece in pieces}[line.piece] for line in plan.lines]
    assert grades == [0, 0, 1, 2, 2]
    assert plan.figures.falling_grades == 0


def test_the_lorry_comes_before_the_rest_and_priority_before_none():
    plain = Piece("late", "h0", 30.0, 5.0)
    lorry = replace(plain, name="lorry", hole="h1", due_min=40.0)
    urgent = replace(plain, name="urgent", hole="h2", priority=9.0)
    pieces = [plain, lorry, urgent]
    plan = plan_shift(pieces=pieces, saws=[Saw("a")])
    assert [line.piece for line in plan.lines] == ["lorry", "urgent", "late"]
    assert plan.figures.late_m == 0.0


def test_a_blade_is_changed_before_the_piece_it_would_not_last():
    pieces = [Piece(f"p{k}", "h", 10.0, 1.0, area_m2=0.4) for k in range(4)]
    plan = plan_shift(pieces=pieces, saws=[Saw("a", blade_left_m2=0.9, blade_new_m2=5.0)])
    assert [line.blade_change_min for line in plan.lines] == [0.0, 0.0, SETTINGS.blade_change_min, 0.0]
    assert plan.figures.blade_changes == 1


def test_the_same_shift_gives_the_same_plan():
    pieces = yard_shift(7, holes=5, scattered=True, pieces=30)
    assert plan_shift(pieces=pieces, saws=THREE_SAWS) == plan_shift(pieces=pieces, saws=THREE_SAWS)


def test_a_search_that_is_stopped_gives_the_best_until_then():
    pieces = yard_shift(7, holes=5, scattered=True, pieces=60)
    stopped = plan_shift(pieces=pieces, saws=THREE_SAWS, enough=lambda: True)
    whole = plan_shift(pieces=pieces, saws=THREE_SAWS)
    assert sorted(line.piece for line in stopped.lines) == sorted(piece.name for piece in pieces)
    assert whole.figures.cost_min < stopped.figures.cost_min < stopped.first_come.cost_min
    assert stopped.gap > whole.gap


def test_few_holes_with_many_pieces_are_bounded_by_the_ways_of_the_saws():
    pieces = yard_shift(1, holes=2, scattered=False, pieces=60)
    task = _task(pieces, THREE_SAWS, SETTINGS)
    plan = plan_shift(pieces=pieces, saws=THREE_SAWS, settings=replace(SETTINGS, most_moves=20_000))
    prices = lower_bound(task, cost=plan.figures.cost_min, finish_min=plan.figures.finish_min)
    prizes = path_bound(
        task, cost=plan.figures.cost_min, finish_min=plan.figures.finish_min, worth=prices.piece_worth, rounds=60
    )
    assert prices.cost < prizes < plan.figures.cost_min


def test_a_saw_that_may_take_nothing_and_pieces_for_one_saw_only_keep_the_bound_near():
    pieces = [
        replace(one, saws=("a",) if at % 3 else ("a", "b"))
        for at, one in enumerate(yard_shift(4, holes=2, scattered=False, pieces=24))
    ]
    plan = plan_shift(pieces=pieces, saws=[Saw("a"), Saw("b"), Saw("idle", ready_min=3.0)])
    assert "idle" not in {line.saw for line in plan.lines}
    assert {line.saw for line in plan.lines} == {"a", "b"}
    assert plan.gap < 0.25
    alone = plan_shift(pieces=pieces, saws=[Saw("a"), Saw("b")])
    assert alone.figures.cost_min == plan.figures.cost_min


def test_metres_waiting_fall_to_nothing():
    pieces = yard_shift(7, holes=5, scattered=True, pieces=30)
    plan = plan_shift(pieces=pieces, saws=THREE_SAWS)
    assert sum(m for _, m in metres_waiting(plan=plan, at_min=0.0)) == pytest.approx(sum(p.metres for p in pieces))
    assert metres_waiting(plan=plan, at_min=plan.figures.finish_min) == ()
    hole, done = plan.hole_done_min[0]
    assert hole in dict(metres_waiting(plan=plan, at_min=done - 0.01))
    assert hole not in dict(metres_waiting(plan=plan, at_min=done))


@pytest.fixture(scope="module")
def shift():
    pieces = yard_shift(3, holes=6, scattered=False, pieces=40)
    return pieces, plan_shift(pieces=pieces, saws=THREE_SAWS)


@pytest.mark.parametrize("back", [None, 130.0])
def test_a_saw_stops(shift, back):
    pieces, plan = shift
    new = replan(plan=plan, pieces=pieces, saws=THREE_SAWS, at_min=60.0, stopped="saw 1", back_min=back)
    done, todo = {line.piece for line in new.done}, {line.piece for line in new.plan.lines}
    assert done | todo == {piece.name for piece in pieces}
    assert not done & todo
    assert new.cut_off in todo
    assert all(line.begin_min < 60.0 for line in new.done)
    assert all(line.begin_min >= 60.0 - 1e-9 for line in new.plan.lines)
    again = [line for line in new.plan.lines if line.saw == "saw 1"]
    assert bool(again) is (back is not None)
    assert all(line.begin_min >= 130.0 for line in again)
    for saw in ("saw 0", "saw 2"):
        ends = [line.end_min for line in new.done if line.saw == saw]
        first = min(line.begin_min for line in new.plan.lines if line.saw == saw)
        assert first >= max(ends) - 1e-9
    moved = {one.piece for one in new.moved if one.to_saw != one.from_saw}
    assert {line.piece for line in plan.lines if line.saw == "saw 1"} - done - {p.piece for p in again} <= moved
    assert new.stuck == ()
    assert "saw 1 stopped at minute 60" in new.says


def test_pieces_only_the_stopped_saw_may_cut_are_stuck():
    free = Piece("b", "other", 10.0, 1.0)
    pieces = [Piece("a", "h", 10.0, 1.0, saws=("one",)), free, Piece("c", "h", 10.0, 1.0, saws=("one",))]
    saws = [Saw("one"), Saw("two")]
    plan = plan_shift(pieces=pieces, saws=saws)
    assert {line.piece: line.saw for line in plan.lines}["b"] == "two"
    new = replan(plan=plan, pieces=pieces, saws=saws, at_min=1.0, stopped="one")
    assert set(new.stuck) == {"a", "c"}
    assert "no saw for" in new.says
    assert [line.piece for line in new.done] == ["b"]
    assert new.plan is None


def test_the_only_saw_stops_for_good():
    pieces = [Piece("a", "h", 10.0, 1.0), Piece("b", "h", 10.0, 1.0)]
    plan = plan_shift(pieces=pieces, saws=[Saw("one")])
    new = replan(plan=plan, pieces=pieces, saws=[Saw("one")], at_min=1.0, stopped="one")
    assert new.plan is None
    assert set(new.stuck) == {"a", "b"}


def test_the_blade_and_the_hole_of_a_saw_are_carried_over():
    pieces = [Piece(f"p{k}", "h", 10.0, 1.0, area_m2=0.4, saws=("one",)) for k in range(5)]
    saws = [Saw("one", blade_left_m2=0.9, blade_new_m2=5.0), Saw("two", blade_left_m2=5.0, blade_new_m2=5.0)]
    plan = plan_shift(pieces=pieces, saws=saws)
    second_ends = plan.lines[1].end_min
    new = replan(plan=plan, pieces=pieces, saws=saws, at_min=second_ends, stopped="two")
    assert [line.blade_change_min for line in new.plan.lines] == [SETTINGS.blade_change_min, 0.0, 0.0]
    assert [line.hole_change_min for line in new.plan.lines] == [0.0, 0.0, 0.0]
    assert [line.end_min for line in new.plan.lines] == pytest.approx([line.end_min for line in plan.lines][2:])


PIECE, SAW = Piece("p", "h", 10.0, 1.0, area_m2=0.1), Saw("a")


@pytest.mark.parametrize(
    ("pieces", "saws", "match"),
    [
        ([], [SAW], "no pieces"),
        ([PIECE], [], "no saw runs"),
        ([PIECE, PIECE], [SAW], "p comes twice"),
        ([PIECE], [SAW, SAW], "a comes twice"),
        ([replace(PIECE, minutes=0.0)], [SAW], "piece p, minutes"),
        ([replace(PIECE, metres=-1.0)], [SAW], "piece p, metres"),
        ([replace(PIECE, priority=0.0)], [SAW], "piece p, priority"),
        ([replace(PIECE, due_min=float("nan"))], [SAW], "piece p, due_min"),
        ([replace(PIECE, saws=("b",))], [SAW], "no saw that runs"),
        ([PIECE], [replace(SAW, pace=0.0)], "saw a, pace"),
        ([PIECE], [replace(SAW, blade_left_m2=1.0)], "blade_new_m2"),
        ([PIECE], [replace(SAW, blade_left_m2=1.0, blade_new_m2=0.05)], "more than a new blade"),
    ],
)
def test_refusals(pieces, saws, match):
    with pytest.raises(ImpossibleValue, match=match):
        plan_shift(pieces=pieces, saws=saws)


def test_replan_refusals(shift):
    pieces, plan = shift
    with pytest.raises(ImpossibleValue, match="no saw is called"):
        replan(plan=plan, pieces=pieces, saws=THREE_SAWS, at_min=1.0, stopped="saw 9")
    with pytest.raises(ImpossibleValue, match="at least 60"):
        replan(plan=plan, pieces=pieces, saws=THREE_SAWS, at_min=60.0, stopped="saw 1", back_min=50.0)
    with pytest.raises(ImpossibleValue, match="was not given"):
        replan(plan=plan, pieces=pieces[1:], saws=THREE_SAWS, at_min=60.0, stopped="saw 1")
