"""Which half went into the bags, by who filled them: counts and an exact test of each person against all the others."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from trayside.app.bag_views import hole_bags
from trayside.app.ports import Work
from trayside.core.side_counts import side_test


@dataclass(frozen=True, slots=True)
class SideLine:
    """One person. `asked` and `other` count bags with the half the sheet asked for, and with the other one."""

    person: str
    right: int
    left: int
    asked: int
    other: int
    other_share: float
    chance: float
    differs: bool


@dataclass(frozen=True, slots=True)
class SideTable:
    """Everybody who bagged halves, by name; `unsaid` bags were filled without a word on their half."""

    lines: tuple[SideLine, ...]
    unsaid: int

    @property
    def tested(self) -> bool:
        """One person alone cannot be held against others."""
        return len(self.lines) > 1


def side_table(work: Work, hole_ids: Iterable[str]) -> SideTable:
    """Counted from the ledger: what was said when the core went into the bag, corrections in."""
    counts: dict[str, list[int]] = {}
    unsaid = 0
    for hole_id in hole_ids:
        bags = hole_bags(work, hole_id)
        for bag in bags.bags if bags else ():
            if not bag.operator or bag.row.side not in ("right", "left"):
                continue
            if not bag.side_recorded:
                unsaid += 1
                continue
            held = counts.setdefault(bag.operator, [0, 0, 0, 0])
            held[0 if bag.side_recorded == "right" else 1] += 1
            held[2 if bag.side_recorded == bag.row.side else 3] += 1
    if not counts:
        return SideTable((), unsaid)
    people = sorted(counts)
    test = side_test(asked_count=[counts[name][2] for name in people], other_count=[counts[name][3] for name in people])
    return SideTable(
        tuple(
            SideLine(
                name, *counts[name], float(test.other_share[at]), float(test.adjusted_p[at]), bool(test.differs[at])
            )
            for at, name in enumerate(people)
        ),
        unsaid,
    )
