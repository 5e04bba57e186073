"""The saws of a shift: which may run and why not, what lies at each now, what its blade still lasts."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime

from trayside.app.blade_state import blade_life
from trayside.app.ports import Work
from trayside.app.saw_cuts import rows_of
from trayside.app.saw_state import SawNow, saws_now
from trayside.app.saw_views import SawView, view_saws
from trayside.app.yard_rules import rules_of
from trayside.model.rules import Rules
from trayside.model.saw import SawKind

BEFORE_THE_SHIFT = frozenset(
    {"no_card", "card_old", "card_before_blade", "card_before_release", "clean_out"}
)
"""Stops that are settled every morning before the first cut: they do not keep a saw out of the plan."""


@dataclass(frozen=True, slots=True)
class SawToday:
    """A saw as the plan sees it. `why_not` keeps it out; `first` is what is to be done before it cuts."""

    saw: str
    kind: SawKind | None
    why_not: str = ""
    first: tuple[str, ...] = ()
    hole_id: str | None = None
    grade_class: str = ""
    blade: str = ""
    blade_left_m2: float | None = None
    blade_new_m2: float | None = None

    @property
    def may_run(self) -> bool:
        return not self.why_not


def saws_today(work: Work, *, now: datetime, with_blades: bool = False) -> tuple[SawToday, ...]:
    """Every saw of the register; without one, the saws that the rules and the ledger name.

    `with_blades` works out what their blades still last, which takes a while.
    """
    rules = rules_of(work)
    register = saws_now(work, now=now)
    if not register:
        names = dict.fromkeys((*rules.shift.saws, *work.saws.saws_named()))
        return tuple(_as_left(work, SawToday(name, None)) for name in names)
    lives = {view.name: _blade_left(view, rules) for view in view_saws(work, now=now).saws} if with_blades else {}
    return tuple(_as_left(work, _of_register(one, lives.get(one.saw.saw))) for one in register)


def _of_register(now: SawNow, left: tuple[float, float] | None) -> SawToday:
    stops = [stop for stop in now.stops if stop.code not in BEFORE_THE_SHIFT]
    return SawToday(
        now.saw.saw,
        now.saw.kind,
        why_not=". ".join(stop.what for stop in stops),
        first=tuple(stop.what for stop in now.stops if stop.code in BEFORE_THE_SHIFT),
        blade=now.blade.blade if now.blade else "",
        blade_left_m2=left[0] if left else None,
        blade_new_m2=left[1] if left else None,
    )


def _as_left(work: Work, saw: SawToday) -> SawToday:
    """With the hole and grade that were cut on it last."""
    newest = work.saws.cut_numbers(saw.saw, newest=1)
    if not newest:
        return saw
    number = newest[0][0]
    ticket = work.tickets([number]).get(number)
    row = rows_of(work, [number]).get(number)
    if ticket is None or row is None:
        return saw
    return replace(saw, hole_id=ticket.hole_id, grade_class=row.grade_class or "")


def _blade_left(view: SawView, rules: Rules) -> tuple[float, float] | None:
    """Square metres that the blade on the saw still cuts of the coming rock, and that a new one of its kind does."""
    life = view.life
    if life is None or life.left is None:
        return None
    new = blade_life(
        life.blade, cuts=(), heights=(), rules=rules, mix=dict(life.mix), core_diameter_mm=life.core_diameter_mm
    )
    if new.left is None or new.left.area_m2 <= 0.0:
        return None
    return max(0.0, life.left.area_m2), new.left.area_m2
