"""Three days at the demo yard's saw: card, cuts, heights, a failed card, a forgotten clean-out; and what each of it does."""

from __future__ import annotations

from datetime import timedelta

import pytest
from floor import Yard

from trayside.app.bag_views import hole_bags
from trayside.app.bench_saws import bench_saws
from trayside.app.maintain_saw import fit_blade, measure_height, release
from trayside.app.prestart import sign_card, view_card
from trayside.app.saw_views import blocked_cuts, saw_view
from trayside.app.verify_ledger import verify_store
from trayside.app.yard_rules import rules_of
from trayside.cli.demo_crew import Crew
from trayside.cli.demo_saws import SawKeeper

HOLE, SAW = "VR-04", "SAW-1"


class Day:
    """The saw of a demo yard with the crew at it."""

    def __init__(self, path) -> None:
        self.yard = Yard(path)
        self.yard.issue(HOLE)
        self.crew = Crew(self.yard, HOLE)
        self.trays = iter(sorted(set(self.crew.tray.values())))

    @property
    def by(self) -> dict:
        return {"desk": self.yard.desk("Demo operator"), "start_work": self.yard.start_work}

    def cut_trays(self, count: int) -> None:
        self.crew.work_through([next(self.trays) for _ in range(count)])

    def card(self, **failed: str) -> None:
        with self.yard.start_work(writing=False) as work:
            card = view_card(work, SAW, now=self.yard.clock())
        answers = {item.key: failed.get(item.key, "ok") for item in card.items}
        sign_card(SAW, answers, remarks={}, card=card.print, **self.by)

    def next_morning(self) -> None:
        self.yard.now = (self.yard.now + timedelta(days=1)).replace(hour=6, minute=0)

    def stops(self) -> list[str]:
        with self.yard.start_work(writing=False) as work:
            (saw,) = [one for one in bench_saws(work, now=self.yard.now) if one.saw == SAW]
        return [stop.code for stop in saw.stops]

    def view(self):
        with self.yard.start_work(writing=False) as work:
            return saw_view(work, SAW, now=self.yard.now)[1]

    def blocked(self) -> list[str]:
        with self.yard.start_work(writing=False) as work:
            found = blocked_cuts(work, hole_bags(work, HOLE).bags, rules=rules_of(work))
        return [one.evidence["stops"] for one in found]


@pytest.fixture
def day(tmp_path):
    day = Day(tmp_path / "yard.sqlite")
    yield day
    day.yard.engine.dispose()


def test_three_days_at_a_saw(day):
    assert day.stops() == ["no_blade", "no_card"]
    keeper = SawKeeper(day.yard)  # fits the blade and measures it new
    assert day.stops() == ["no_card"]
    keeper.morning()
    assert day.stops() == []
    new = day.view().life.left

    day.cut_trays(3)
    assert day.blocked() == []
    worn = day.view().life
    assert worn.metres > 5
    assert worn.left.metres < new.metres
    keeper.evening()  # measured and cleaned out
    measured = day.view().life
    assert len(measured.worn) == 2
    assert measured.before.metres != pytest.approx(measured.left.metres, rel=1e-3)
    assert measured.left.high_metres - measured.left.low_metres < new.high_metres - new.low_metres

    day.next_morning()
    assert day.stops() == ["card_old"]
    day.card(blade="failed")
    assert day.stops() == ["tagged_out"]
    fit_blade(SAW, "D-22", stamp_rpm=None, because="cracked", scrapped=True, **day.by)  # stamped 1,300, spindle 1,425
    assert day.stops() == ["tagged_out", "blade_rpm", "blade_large"]
    fit_blade(SAW, "D-12", stamp_rpm=4365, because="other", **day.by)
    release(SAW, reason="new blade fitted", desk=day.yard.desk("Demo lead"), start_work=day.yard.start_work)
    assert day.stops() == ["card_failed"]
    day.card()
    assert day.stops() == []
    taught = day.view().life  # the second blade of its type begins with what the first one taught
    assert taught.metres == 0
    assert taught.lines[1].wear_mm_per_m2 == pytest.approx(measured.lines[1].wear_mm_per_m2, rel=1e-9)

    day.cut_trays(2)
    measure_height("D-12", "9.8 9.8 9.7 9.8", **day.by)
    day.next_morning()  # nobody cleaned out
    day.card()
    assert day.stops() == ["clean_out"]
    assert day.blocked() == []
    day.cut_trays(1)  # the crew went on all the same: nothing is lost, everything is found
    found = day.blocked()
    assert found
    assert set(found) == {"clean_out"}
    with day.yard.start_work(writing=False) as work:
        bags = {bag.number: bag.state for bag in hole_bags(work, HOLE).bags}
    assert sum(state != "planned" for state in bags.values()) > 10
    assert verify_store(start_work=day.yard.start_work).whole
