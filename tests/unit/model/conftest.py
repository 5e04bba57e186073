"""Hand-made holes for the checks: lengths in metres, everything not named is sound or absent."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from trayside.model.hole import Density, Hole, HoleCore, Loss, OrientationMark, Rock, Run, Survey, Tray
from trayside.model.stock import CoreSize, RockCode, Stock

HOLE = Hole("T-1", None, 0.0, 0.0, 0.0, 90.0, -60.0, 30_000, "30.00 m")


def mm(length_m: float) -> int:
    return round(length_m * 1000)


@pytest.fixture
def make_runs() -> Callable[..., tuple[Run, ...]]:
    """Runs from (from_m, to_m, recovered_m) in the order of their numbers."""

    def make(*runs: tuple[float, float, float], **more) -> tuple[Run, ...]:
        return tuple(
            replace(Run(number, mm(top), mm(bottom), mm(recovered), "NQ"), **more)
            for number, (top, bottom, recovered) in enumerate(runs, start=1)
        )

    return make


@pytest.fixture
def full_runs(make_runs) -> tuple[Run, ...]:
    """Ten runs of 3 m, all of their core in the trays."""
    return make_runs(*((3.0 * run, 3.0 * run + 3.0, 3.0) for run in range(10)))


@pytest.fixture
def make_core(full_runs) -> Callable[..., HoleCore]:
    """A hole of 30 m; runs are sound unless given, the rest is absent unless given."""

    def make(*, total_m: float = 30.0, runs=None, losses=(), trays=(), rock=(), marks=(), sticks=(), surveys=()):
        return HoleCore(
            replace(HOLE, total_depth_mm=mm(total_m)),
            surveys=tuple(Survey(mm(depth), 90.0, -60.0) for depth in surveys),
            runs=full_runs if runs is None else tuple(runs),
            losses=tuple(Loss(mm(at), mm(lost), "seen") for at, lost in losses),
            trays=tuple(Tray(number, mm(top), mm(bottom), 5, 1000) for number, top, bottom in trays),
            rock=tuple(
                one if isinstance(one, Rock) else Rock(mm(one[0]), mm(one[1]), "GRD", "intact", "low", "soft")
                for one in rock
            ),
            marks=tuple(OrientationMark(mm(depth), angle, "solid") for depth, angle in marks),
            densities=tuple(Density(mm(top), mm(bottom), "given", **more) for top, bottom, more in sticks),
        )

    return make


@pytest.fixture
def stock() -> Stock:
    return Stock(
        core_sizes={"NQ": CoreSize("NQ", 47.6)},
        rock_codes={"GRD": RockCode("GRD", "granodiorite", 2.70, 0.05)},
        materials=(),
        tickets=(),
    )


@pytest.fixture
def seen() -> Callable[..., list[tuple]]:
    """What findings say in short: code, run, tray, from and to in metres."""

    def short(findings) -> list[tuple]:
        return [
            (one.code, one.run or one.tray, *(None if at is None else at / 1000 for at in (one.from_mm, one.to_mm)))
            for one in findings
        ]

    return short
