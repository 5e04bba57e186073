"""The demo's saw day by day: blade, card every morning, heights and clean-out every evening. All of it invented."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from math import sin

from trayside.app.maintain_saw import check_water_at, fit_blade, log_act, measure_height
from trayside.app.prestart import sign_card, view_card
from trayside.app.saw_cuts import saw_cuts
from trayside.app.saw_state import read_saw, saw_named
from trayside.app.yard_rules import rules_of
from trayside.cli.demo_crew import Floor
from trayside.errors import NotFound
from trayside.model.event import moment_text

OPERATOR = "Demo operator"
BLADE, SEGMENT_MM = "D-11", 10.0
WEAR_MM_PER_M2 = {"quartz and dolerite": 0.36, "greywacke and siltstone": 0.17}
"""What this blade really loses in each class of rock; any other takes 0.1."""
UNEVEN_MM = (0.05, -0.04, 0.02, -0.03)


@dataclass
class SawKeeper:
    """Looks after one saw of the demo; does nothing in a yard whose register has no such saw."""

    floor: Floor
    saw: str = "SAW-1"
    blade: str = BLADE

    def __post_init__(self) -> None:
        with self.floor.start_work(writing=False) as work:
            try:
                saw_named(work, self.saw)
                self.keeps = True
            except NotFound:
                self.keeps = False
            known = self.keeps and read_saw(work, saw_named(work, self.saw)).blade_on is not None
        if self.keeps and not known:
            fit_blade(self.saw, self.blade, stamp_rpm=4365, **self._by())
            self._measure(SEGMENT_MM)

    def _by(self) -> dict:
        return {"desk": self.floor.desk(OPERATOR), "start_work": self.floor.start_work}

    def morning(self) -> None:
        """Every item looked at, the flow measured."""
        if not self.keeps:
            return
        with self.floor.start_work(writing=False) as work:
            card = view_card(work, self.saw, now=self.floor.clock())
        sign_card(self.saw, {item.key: "ok" for item in card.items}, remarks={}, card=card.print, **self._by())
        check_water_at(self.saw, flow_l_min=4.2, **self._by())
        self.floor.now += timedelta(minutes=8)

    def evening(self) -> None:
        """The blade is measured cold, then everything is washed and drained."""
        if not self.keeps:
            return
        self.floor.now += timedelta(minutes=5)
        with self.floor.start_work(writing=False) as work:
            facts = read_saw(work, saw_named(work, self.saw))
            cuts = saw_cuts(work, facts, rules=rules_of(work), since=moment_text(self.floor.now - timedelta(days=60)))
        worn = sum(WEAR_MM_PER_M2.get(cut.rock_class, 0.1) * cut.area_m2 for cut in cuts)
        self._measure(SEGMENT_MM - worn)
        log_act(self.saw, "cleaned_out", drained=True, **self._by())

    def _measure(self, height_mm: float) -> None:
        """Four marked segments, uneven by a few hundredths of a millimetre."""
        slip = 0.06 * sin(self.floor.made)
        readings = " ".join(f"{height_mm + off + slip:.2f}" for off in UNEVEN_MM)
        measure_height(self.blade, readings, **self._by())
