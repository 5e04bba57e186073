"""The shift plan: which trays on which saw in which order, how far from the best it can be, and what it saves.

A piece here is whatever is cut in one go, mostly a tray. Between pieces of one hole the saw is washed, longer when the
grade falls; between holes the bench and the sump are cleaned and the next hole laid out; a blade that will not last the
piece is changed first. The plan with the lowest cost is looked for:

    finish weight x minute the last saw is done  +  mean wait of a metre (by priority)  +  late weight x mean lateness

all three in minutes. Beside it stands the cost of first come, first served, and a bound below which no plan can come.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from trayside.core.number_lists import one_number
from trayside.core.planning_aid import PLANNING_AID
from trayside.core.shift_bound import lower_bound
from trayside.core.shift_paths import path_bound
from trayside.core.shift_routes import Task, cheapest_of_all, hole_by_hole, in_turn, plan_cost, play, search
from trayside.core.sources import Source
from trayside.errors import ImpossibleValue

MOVES_A_PIECE, MOST_MOVES = 1_200, 240_000
FEW_PIECES = 7  # so few that every plan can be tried
HEATS = (1.0, 0.2)  # of the two rounds of the search
LAST_HEAT = 0.3  # of a third, where the gap is still wide
BOUND_ROUNDS = 100


@dataclass(frozen=True, slots=True)
class Piece:
    """A tray, or part of one, cut in one go. `grade` is a class: 0 barren, rising. `saws` empty: any saw may."""

    name: str
    hole: str
    minutes: float  # at a saw of pace 1, handling included, washing not
    metres: float
    grade: int = 0
    area_m2: float = 0.0  # sawn face, for the blade
    priority: float = 1.0
    due_min: float | None = None  # minute the lorry is loaded
    saws: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Saw:
    """A saw as it stands: when it is free, what is laid out at it, what its blade still lasts (None: not counted)."""

    name: str
    ready_min: float = 0.0
    pace: float = 1.0  # minutes here to minutes at pace 1
    hole: str | None = None
    grade: int = 0
    blade_left_m2: float | None = None
    blade_new_m2: float | None = None


@dataclass(frozen=True, slots=True)
class ShiftSettings:
    """Minutes between pieces and what counts how much: starting choices, replace them by the yard's own."""

    wash_min: float = 1.0
    wash_down_min: float = 4.0  # next piece of lower grade: wash, flush cut
    hole_change_min: float = 8.0  # clean bench and sump, lay out the next hole
    blade_change_min: float = 15.0
    finish_weight: float = 1.0
    late_weight: float = 20.0
    near: float = 0.002  # stop looking when this close to the bound
    wanted: float = 0.04  # a wider gap than this to the bound is worth the double time
    most_moves: int | None = None
    source: Source = Source(  # noqa: RUF009 - a frozen record
        "no document found", "starting choice, replace by the yard's own", "common practice, no source"
    )


DEFAULT_SHIFT = ShiftSettings()


@dataclass(frozen=True, slots=True)
class PlanLine:
    """One piece in the plan, with what is done before it."""

    piece: str
    hole: str
    saw: str
    metres: float
    wash_min: float
    hole_change_min: float
    blade_change_min: float
    start_min: float
    end_min: float
    late_min: float

    @property
    def begin_min(self) -> float:
        """When the washing or laying out before the piece begins."""
        return self.start_min - self.wash_min - self.hole_change_min - self.blade_change_min


@dataclass(frozen=True, slots=True)
class PlanFigures:
    """What a plan comes to."""

    cost_min: float
    finish_min: float
    mean_wait_min: float  # of a metre, by priority, from minute 0
    between_min: float  # washing, laying out and blade changes, all saws
    hole_changes: int
    falling_grades: int
    blade_changes: int
    late_m: float


@dataclass(frozen=True, slots=True)
class ShiftPlan:
    """Lines by saw and time, figures, the same for first come first served, and the bound."""

    lines: tuple[PlanLine, ...]
    figures: PlanFigures
    first_come: PlanFigures
    bound_min: float
    gap: float  # (cost - bound) / bound: the best plan is at most this much cheaper
    hole_done_min: tuple[tuple[str, float], ...]
    says: str
    caution: str = PLANNING_AID


@dataclass(frozen=True, slots=True)
class Moved:
    """A piece that now goes to another saw, or starts at another minute."""

    piece: str
    from_saw: str
    to_saw: str
    from_start_min: float
    to_start_min: float


@dataclass(frozen=True, slots=True)
class Replan:
    """The plan after a saw stopped. `cut_off` lay under its blade; `stuck` may be cut on no other saw."""

    done: tuple[PlanLine, ...]  # ended before, or under the blade of another saw
    plan: ShiftPlan | None  # of what is left; None when nothing is, or nothing can be cut
    moved: tuple[Moved, ...]
    cut_off: str | None
    stuck: tuple[str, ...]
    says: str
    saws: tuple[Saw, ...] = ()  # as they stand when the rest begins


def plan_shift(
    *,
    pieces: Sequence[Piece],
    saws: Sequence[Saw],
    settings: ShiftSettings = DEFAULT_SHIFT,
    seed: int = 0,
    enough: Callable[[], bool] | None = None,
) -> ShiftPlan:
    """Which pieces go to which saw, in which order.

    Up to seven pieces every plan is tried. Beyond, simulated annealing from the best of several starts (first come first
    served is one of them), with seeded chance and a fixed number of moves: the same shift gives the same plan, unless it is
    stopped. The bound is the higher of two: prices on saw time, and prizes for pieces (both Lagrange duality); the gap is
    what the best plan could still be cheaper.

    Parameters
    ----------
    pieces : sequence (n,) of Piece
        In order of arrival; minutes from minutes_per_metre, area from sawn_area.
    saws : sequence (s,) of Saw
        Saws that run today.
    settings : ShiftSettings
        Minutes between pieces, weights.
    seed : int
        Start of the chance.
    enough : callable or None
        Asked now and then; once it says True, the best plan and bound until then are given.

    Returns
    -------
    ShiftPlan
        .lines, .figures, .first_come, .bound_min [min], .gap, .hole_done_min, .says, .caution

    Raises
    ------
    ImpossibleValue
        When a name comes twice, a number is impossible, a piece may go to no saw that runs, or needs more than a new
        blade.

    Valid for: one crew a saw, no breaks (give productive minutes); pieces that end after the shift are tomorrow's.
    Source: derived (scheduling with set-ups; bound by Lagrange duality); minutes and weights are settings.
    Checked by: tests/unit/core/test_shift_plan.py, tests/properties/test_shift_plan_properties.py
    """
    return _solve(list(pieces), list(saws), settings, seed, None, enough or _never)


def replan(
    *,
    plan: ShiftPlan,
    pieces: Sequence[Piece],
    saws: Sequence[Saw],
    at_min: float,
    stopped: str,
    back_min: float | None = None,
    settings: ShiftSettings = DEFAULT_SHIFT,
    seed: int = 0,
    enough: Callable[[], bool] | None = None,
) -> Replan:
    """The rest of the shift after a saw stops.

    What has ended stays; a piece under the blade of another saw is finished there; the piece under the blade of the
    stopped saw is planned again with its full minutes. The rest is solved anew on the saws that run.

    Parameters
    ----------
    plan : ShiftPlan
        The plan in force.
    pieces : sequence (n,) of Piece
        The pieces it was made from.
    saws : sequence (s,) of Saw
        The saws it was made from.
    at_min : float [min]
        Minute at which the saw stops.
    stopped : str
        Name of the saw.
    back_min : float [min] or None
        Minute at which it runs again; None for not today.
    settings : ShiftSettings
        As for the plan.
    seed : int
        Start of the chance.
    enough : callable or None
        As for the plan.

    Returns
    -------
    Replan
        .done, .plan, .moved, .cut_off, .stuck, .says, .saws

    Raises
    ------
    ImpossibleValue
        When the saw or a piece is not known, or the saw is back before it stops.

    Valid for: work that went as planned until now; otherwise plan the pieces that are left.
    Source: derived.
    Checked by: tests/unit/core/test_shift_plan.py
    """
    now = one_number(at_min, "at_min", at_least=0.0)
    by_name, saw_by_name = {piece.name: piece for piece in pieces}, {saw.name: saw for saw in saws}
    if stopped not in saw_by_name:
        raise ImpossibleValue(
            f"no saw is called {stopped}", where="stopped", remedy=f"Use one of: {', '.join(saw_by_name)}"
        )
    back = None if back_min is None else one_number(back_min, "back_min", at_least=now)
    unknown = [line.piece for line in plan.lines if line.piece not in by_name or line.saw not in saw_by_name]
    if unknown:
        raise ImpossibleValue(
            f"the plan holds {unknown[0]}, which was not given",
            where="pieces",
            remedy="Give the pieces and saws the plan was made from",
        )
    done = tuple(line for line in plan.lines if line.end_min <= now or (line.begin_min < now and line.saw != stopped))
    under = next((one.piece for one in plan.lines if one.saw == stopped and one.begin_min < now < one.end_min), None)
    running = []
    for saw in saws:
        if saw.name != stopped or back is not None:
            free = now if saw.name != stopped else back
            running.append(
                _saw_after(saw, [one for one in done if one.saw == saw.name], by_name, max(free, saw.ready_min))
            )
    names, gone = {saw.name for saw in running}, {line.piece for line in done}
    left = [line for line in sorted(plan.lines, key=lambda one: one.start_min) if line.piece not in gone]
    stuck = tuple(line.piece for line in left if not names & set(by_name[line.piece].saws or names))
    todo = [line for line in left if line.piece not in stuck]
    new = None
    if todo:
        order = [by_name[line.piece] for line in todo]
        new = _solve(order, running, settings, seed, {line.piece: line.saw for line in todo}, enough or _never)
    return replace(_with_changes(done, new, todo, under, stuck, stopped, now), saws=tuple(running))


def metres_waiting(*, plan: ShiftPlan, at_min: float) -> tuple[tuple[str, float], ...]:
    """Metres of each hole not yet cut at a minute of the plan.

    Metres of every piece that has not ended by then.

    Parameters
    ----------
    plan : ShiftPlan
        The plan.
    at_min : float [min]
        Minute of the plan.

    Returns
    -------
    tuple of (str, float)
        Hole and metres, in the order of the plan; holes that are done are left out.

    Raises
    ------
    ImpossibleValue
        When the minute is not a number.

    Valid for: work that goes as planned.
    Source: derived.
    Checked by: tests/unit/core/test_shift_plan.py
    """
    now = one_number(at_min, "at_min")
    waiting: dict[str, float] = {}
    for line in plan.lines:
        if line.end_min > now:
            waiting[line.hole] = waiting.get(line.hole, 0.0) + line.metres
    return tuple(waiting.items())


def _never() -> bool:
    return False


def _solve(
    pieces: list[Piece],
    saws: list[Saw],
    settings: ShiftSettings,
    seed: int,
    old_saw: dict[str, str] | None,
    enough: Callable[[], bool],
) -> ShiftPlan:
    task = _task(pieces, saws, settings)
    if not pieces:
        raise ImpossibleValue("no pieces", where="pieces", remedy="Give at least one piece to cut")
    useful = frozenset.union(*task.allowed)
    if len(useful) < len(saws):  # a saw that may take nothing would make the bounds weak
        saws = [saw for number, saw in enumerate(saws) if number in useful]
        task = _task(pieces, saws, settings)
    turn = in_turn(task, range(len(pieces)))
    starts = [turn, hole_by_hole(task, _by_ratio(task))]
    if old_saw is not None:
        place = {saw.name: number for number, saw in enumerate(saws)}
        known = [place.get(old_saw[piece.name]) for piece in pieces]
        starts.append([[one for one, saw in enumerate(known) if saw == number] for number in range(len(saws))])
        # Pieces of the stopped saw join the shortest queues.
        for one in [one for one, saw in enumerate(known) if saw is None]:
            saw = min(task.allowed[one], key=lambda saw: _queue_end(task, saw, starts[-1][saw]))
            starts[-1][saw].append(one)
    cheapest = min(starts, key=lambda queues: plan_cost(task, queues))
    bound = lower_bound(task, cost=plan_cost(task, cheapest), finish_min=_finish(task, cheapest))
    starts.append(hole_by_hole(task, sorted(set(task.hole), key=lambda hole: (bound.hole_start_min[hole], hole))))
    cheapest = min(starts, key=lambda queues: plan_cost(task, queues))
    if len(pieces) <= FEW_PIECES:
        queues = cheapest_of_all(task, cheapest)
        least = plan_cost(task, queues)
    else:
        queues, least = _searched(task, cheapest, bound.cost, settings, seed, enough)
    lines, figures = _lines(task, queues, pieces, saws)
    first_come = _lines(task, turn, pieces, saws)[1]
    hole_done: dict[str, float] = {}
    for line in lines:
        hole_done[line.hole] = max(line.end_min, hole_done.get(line.hole, 0.0))
    gap = figures.cost_min / least - 1.0 if least > 0.0 else math.inf
    done = tuple(sorted(hole_done.items(), key=lambda one: one[1]))
    return ShiftPlan(lines, figures, first_come, least, gap, done, _in_words(figures, first_come, gap))


def _searched(
    task: Task, start: list[list[int]], bound: float, settings: ShiftSettings, seed: int, enough: Callable[[], bool]
) -> tuple[list[list[int]], float]:
    """The cheapest queues found, and the best bound."""
    count = len(task.minutes)
    moves = min(MOST_MOVES, MOVES_A_PIECE * count) if settings.most_moves is None else settings.most_moves

    def further(queues: list[list[int]], turn: int, many: int, heat: float, least: float) -> list[list[int]]:
        return search(
            task, queues, moves=many, seed=seed + turn, bound=least, near=settings.near, first_heat=heat, enough=enough
        )

    queues, least = start, bound
    for turn, heat in enumerate(HEATS):
        queues = further(queues, turn, moves // len(HEATS), heat, least)
    cost, finish = plan_cost(task, queues), _finish(task, queues)
    if cost > (1.0 + settings.near) * least and not enough():
        again = lower_bound(task, cost=cost, finish_min=finish)
        least = max(least, again.cost)
        if cost > (1.0 + settings.wanted) * least:
            prizes = path_bound(
                task, cost=cost, finish_min=finish, worth=again.piece_worth, rounds=BOUND_ROUNDS, enough=enough
            )
            least = max(least, prizes)
        if cost > (1.0 + settings.wanted) * least:
            queues = further(queues, len(HEATS), moves, LAST_HEAT, least)
    return queues, least


def _task(pieces: list[Piece], saws: list[Saw], settings: ShiftSettings) -> Task:
    """Everything in plain lists; refuses what cannot be."""
    _unlike([piece.name for piece in pieces], "pieces")
    _unlike([saw.name for saw in saws], "saws")
    if not saws:
        raise ImpossibleValue("no saw runs", where="saws", remedy="Give at least one saw that may start")
    for piece in pieces:
        where = f"piece {piece.name}"
        one_number(piece.minutes, f"{where}, minutes", above=0.0)
        one_number(piece.metres, f"{where}, metres", above=0.0)
        one_number(piece.area_m2, f"{where}, area_m2", at_least=0.0)
        one_number(piece.priority, f"{where}, priority", above=0.0)
        if piece.due_min is not None:
            one_number(piece.due_min, f"{where}, due_min")
    for saw in saws:
        where = f"saw {saw.name}"
        one_number(saw.ready_min, f"{where}, ready_min", at_least=0.0)
        one_number(saw.pace, f"{where}, pace", above=0.0)
        if saw.blade_left_m2 is not None:
            one_number(saw.blade_left_m2, f"{where}, blade_left_m2", at_least=0.0)
            if saw.blade_new_m2 is None:
                raise ImpossibleValue(
                    "the area its blade still lasts is given, that of a new blade is not",
                    where=where,
                    remedy="Give blade_new_m2, or leave both empty to plan without blade changes",
                )
            one_number(saw.blade_new_m2, f"{where}, blade_new_m2", above=0.0)
    for name in ("wash_min", "wash_down_min", "hole_change_min", "blade_change_min", "finish_weight", "late_weight"):
        one_number(getattr(settings, name), name, at_least=0.0)
    one_number(settings.near, "near", at_least=0.0)
    numbered = {saw.name: number for number, saw in enumerate(saws)}
    holes = {hole: number for number, hole in enumerate(dict.fromkeys(piece.hole for piece in pieces))}
    weight_sum = math.fsum(piece.metres * piece.priority for piece in pieces)
    weights = tuple(piece.metres * piece.priority / weight_sum for piece in pieces)
    return Task(
        minutes=tuple(float(piece.minutes) for piece in pieces),
        hole=tuple(holes[piece.hole] for piece in pieces),
        grade=tuple(piece.grade for piece in pieces),
        area_m2=tuple(float(piece.area_m2) for piece in pieces),
        weight=weights,
        due_min=tuple(math.inf if piece.due_min is None else float(piece.due_min) for piece in pieces),
        late_weight=tuple(
            0.0 if piece.due_min is None else settings.late_weight * weight
            for piece, weight in zip(pieces, weights, strict=True)
        ),
        allowed=tuple(_allowed(piece, saws, numbered) for piece in pieces),
        ready_min=tuple(float(saw.ready_min) for saw in saws),
        pace=tuple(float(saw.pace) for saw in saws),
        first_hole=tuple(-1 if saw.hole is None else holes.get(saw.hole, -1) for saw in saws),
        first_grade=tuple(saw.grade for saw in saws),
        blade_left_m2=tuple(math.inf if saw.blade_left_m2 is None else float(saw.blade_left_m2) for saw in saws),
        blade_new_m2=tuple(math.inf if saw.blade_left_m2 is None else float(saw.blade_new_m2) for saw in saws),
        wash_min=float(settings.wash_min),
        wash_down_min=float(settings.wash_down_min),
        hole_change_min=float(settings.hole_change_min),
        blade_change_min=float(settings.blade_change_min),
        finish_weight=float(settings.finish_weight),
    )


def _allowed(piece: Piece, saws: list[Saw], numbered: dict[str, int]) -> frozenset[int]:
    """Numbers of the saws that may take the piece; a saw named for it that does not run is left out."""
    able = [
        number
        for name, number in numbered.items()
        if (not piece.saws or name in piece.saws)
        and (saws[number].blade_left_m2 is None or piece.area_m2 <= saws[number].blade_new_m2)
    ]
    if not able:
        raise ImpossibleValue(
            "no saw that runs may take it, or it needs more than a new blade lasts",
            where=f"piece {piece.name}",
            remedy="Allow another saw, split the piece, or leave it out of this shift",
        )
    return frozenset(able)


def _unlike(names: list[str], where: str) -> None:
    for name in names:
        if names.count(name) > 1:
            raise ImpossibleValue(f"{name} comes twice", where=where, remedy="Name each one once")


def _by_ratio(task: Task) -> list[int]:
    """Holes by weight to work, the heaviest first."""
    weight, work = dict.fromkeys(task.hole, 0.0), dict.fromkeys(task.hole, task.hole_change_min)
    for piece, hole in enumerate(task.hole):
        weight[hole] += task.weight[piece]
        work[hole] += task.minutes[piece] + task.wash_min
    return sorted(weight, key=lambda hole: (-weight[hole] / work[hole], hole))


def _queue_end(task: Task, saw: int, queue: list[int]) -> float:
    return play(task, saw, queue)[-1].end_min if queue else task.ready_min[saw]


def _finish(task: Task, queues: list[list[int]]) -> float:
    return max(_queue_end(task, saw, queue) for saw, queue in enumerate(queues) if queue)


def _lines(
    task: Task, queues: list[list[int]], pieces: list[Piece], saws: list[Saw]
) -> tuple[tuple[PlanLine, ...], PlanFigures]:
    lines, wait, between, falling = [], [], 0.0, 0
    for number, queue in enumerate(queues):
        for step in play(task, number, queue):
            piece = pieces[step.piece]
            late = max(0.0, step.end_min - task.due_min[step.piece])
            wait.append(task.weight[step.piece] * step.end_min)
            between += step.wash_min + step.hole_change_min + step.blade_change_min
            falling += step.falling
            lines.append(
                PlanLine(
                    piece=piece.name, hole=piece.hole, saw=saws[number].name, metres=piece.metres,
                    wash_min=step.wash_min, hole_change_min=step.hole_change_min,
                    blade_change_min=step.blade_change_min, start_min=step.start_min, end_min=step.end_min,
                    late_min=late,
                )
            )  # fmt: skip
    figures = PlanFigures(
        cost_min=plan_cost(task, queues),
        finish_min=max(line.end_min for line in lines),
        mean_wait_min=math.fsum(wait),
        between_min=between,
        hole_changes=sum(line.hole_change_min > 0.0 for line in lines),
        falling_grades=falling,
        blade_changes=sum(line.blade_change_min > 0.0 for line in lines),
        late_m=math.fsum(line.metres for line in lines if line.late_min > 1e-9),
    )
    return tuple(lines), figures


def _in_words(plan: PlanFigures, turn: PlanFigures, gap: float) -> str:
    saved = turn.finish_min - plan.finish_min
    sooner = (
        f"{saved:.0f} min sooner than" if saved >= 0.5 else f"{-saved:.0f} min later than" if saved <= -0.5 else "as"
    )
    wait = turn.mean_wait_min - plan.mean_wait_min
    words = [
        f"Last saw done at minute {plan.finish_min:.0f}, {sooner} first come, first served",
        f"a metre waits {plan.mean_wait_min:.0f} min on average, {abs(wait):.0f} min {'less' if wait >= 0 else 'more'}",
        f"between pieces {plan.between_min:.0f} min against {turn.between_min:.0f}",
        f"late for the lorry {plan.late_m:.1f} m against {turn.late_m:.1f} m",
        "how far from the best is not known"
        if math.isinf(gap)
        else "no plan is cheaper"
        if gap == 0.0
        else f"no plan can be more than {100.0 * gap / (1.0 + gap):.1f} % cheaper",
    ]
    return "; ".join(words) + "."


def _saw_after(saw: Saw, lines: list[PlanLine], pieces: dict[str, Piece], free_min: float) -> Saw:
    """The saw as it stands after these lines."""
    left = saw.blade_left_m2
    for line in lines:
        if left is not None:
            left = (saw.blade_new_m2 if line.blade_change_min > 0.0 else left) - pieces[line.piece].area_m2
    if not lines:
        return replace(saw, ready_min=free_min)
    last = max(lines, key=lambda line: line.end_min)
    # A sum of areas may end a hair below nothing.
    return replace(
        saw,
        ready_min=max(free_min, last.end_min),
        hole=last.hole,
        grade=pieces[last.piece].grade,
        blade_left_m2=None if left is None else max(0.0, left),
    )


def _with_changes(
    done: tuple[PlanLine, ...],
    new: ShiftPlan | None,
    old: list[PlanLine],
    under: str | None,
    stuck: tuple[str, ...],
    stopped: str,
    now: float,
) -> Replan:
    before = {line.piece: line for line in old}
    moved = tuple(
        Moved(line.piece, before[line.piece].saw, line.saw, before[line.piece].start_min, line.start_min)
        for line in (new.lines if new else ())
        if line.saw != before[line.piece].saw or abs(line.start_min - before[line.piece].start_min) > 1e-6
    )
    elsewhere = sum(one.from_saw != one.to_saw for one in moved)
    says = f"{stopped} stopped at minute {now:.0f}: {len(done)} pieces done or being finished, {len(old)} planned again"
    says += f", {elsewhere} of them to another saw"
    if under:
        says += f"; {under} lay under its blade and is planned with its full minutes"
    if stuck:
        says += f"; no saw for {', '.join(stuck)}"
    if new:
        says += f"; last saw done at minute {new.figures.finish_min:.0f}"
    return Replan(done, new, moved, under, stuck, says + ".")
