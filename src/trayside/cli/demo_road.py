"""The demo's road to the laboratory: VR-01 and VR-04 are cut, sent and received; VR-02 is cut with faults and not sent.

The dates are fixed, so that the demo is the same on every day and fits the certificates that lie with it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from trayside.app.bag_views import hole_bags
from trayside.app.custody import hand_over
from trayside.app.dispatch import make_load, send_load
from trayside.app.load_findings import load_findings
from trayside.app.load_view import view_load
from trayside.app.pack_sacks import pack, seal_sack, trays_to_pack
from trayside.app.ports import StartWork
from trayside.app.receive import ReadReceived, confirm_list, store_list
from trayside.cli.demo_crew import BenchFaults, Crew, Floor, plant_bench_faults
from trayside.cli.demo_saws import SawKeeper
from trayside.model.finding import Finding
from trayside.model.load import Request

BEGUN = datetime(2026, 9, 7, 6, 0, tzinfo=UTC)
SENT_HOLES = ("VR-01", "VR-04")
FAULTY_HOLE = "VR-02"
LABORATORY = "Demo laboratory A"
REQUEST = Request(LABORATORY, ("fire assay 50 g", "four-acid digestion"), hazard="quartz dust")
SECOND = "Demo second operator"
DRYING = 0.03
"""Share of its mass a bag loses on the demo's road."""
FIRST_SEAL = 2201
DAY_ENDS = 15


@dataclass(frozen=True, slots=True)
class DemoRoad:
    """What happened: the load that was received, the load that waits with what is found on it, and what was planted."""

    sent: str
    waiting: str
    planted: BenchFaults
    findings: tuple[Finding, ...]


def walk_road(
    *, start_work: StartWork, read_received: ReadReceived, advance: Callable[[str], None] = lambda word: None
) -> DemoRoad:
    """Play the demo's crew from the first tray to the laboratory's door."""
    floor = Floor(start_work, BEGUN)
    crews = []
    for hole_id in SENT_HOLES:
        advance(f"{hole_id}: cut, bagged, weighed")
        crew = Crew(floor, hole_id)
        crew.without_flush |= {row.number for row in crew.rows if row.grade_class == "visible"} if not crews else set()
        work_days(crew)
        crews.append(crew)
    advance(f"{FAULTY_HOLE}: cut with the faults of the bench planted")
    faulty = Crew(floor, FAULTY_HOLE)
    planted = plant_bench_faults(faulty, second_operator=SECOND)
    work_days(faulty)
    advance(f"{' and '.join(SENT_HOLES)}: packed, sent, received by the laboratory")
    sent = _send(floor, crews, read_received)
    advance(f"{FAULTY_HOLE}: packed, one sack without a seal")
    waiting = _load(floor, (FAULTY_HOLE,), unsealed=1)
    with start_work(writing=False) as work:
        findings = load_findings(view_load(work, waiting))
    return DemoRoad(sent, waiting, planted, tuple(findings))


def work_days(crew: Crew, trays: Iterable[int] | None = None) -> None:
    """Tray after tray from six in the morning, the card before the first; in the afternoon no new tray is begun."""
    keeper = SawKeeper(crew.floor, crew.saw)
    keeper.morning()
    for tray in sorted(set(crew.tray.values())) if trays is None else sorted(trays):
        if crew.floor.now.hour >= DAY_ENDS:
            keeper.evening()
            crew.floor.now = (crew.floor.now + timedelta(days=1)).replace(hour=6, minute=0, second=0)
            keeper.morning()
        crew.work_through((tray,))
    keeper.evening()


def _load(floor: Floor, hole_ids: Iterable[str], *, unsealed: int = 0) -> str:
    """A load of everything that was cut of these holes; the last sacks may be left without a seal."""
    desk = floor.desk()
    with floor.start_work(writing=False) as work:
        trays = [(one.hole_id, one.tray) for hole_id in hole_ids for one in trays_to_pack(hole_bags(work, hole_id))]
        first = FIRST_SEAL + len(work.loads.sacks())
    sacks = pack(trays, desk=desk, start_work=floor.start_work)
    for place, sack in enumerate(sacks[: len(sacks) - unsealed]):
        seal_sack(
            sack.sack_id, seal=f"Z-{first + place}", counted=len(sack.numbers), desk=desk, start_work=floor.start_work
        )
    return make_load(REQUEST, [sack.sack_id for sack in sacks], desk=desk, start_work=floor.start_work).load_id


def _send(floor: Floor, crews: list[Crew], read_received: ReadReceived) -> str:
    """From the packed sacks to the laboratory's list, with every holder named."""
    load_id, desk, start_work = _load(floor, [crew.hole_id for crew in crews]), floor.desk(), floor.start_work
    send_load(
        load_id, version=1, statement="The flush left out was noted; the rest was looked at.", desk=desk,
        start_work=start_work,
    )  # fmt: skip
    with start_work(writing=False) as work:
        view = view_load(work, load_id)
    for giver, taker, place in (("Demo QC", "Demo driver", "gate"), ("Demo driver", "Laboratory desk", "laboratory")):
        hand_over(
            load_id, from_person=giver, to_person=taker, place=place, at=floor.clock(), seals_intact=True,
            sacks=len(view.sacks), desk=desk, start_work=start_work,
        )  # fmt: skip
        floor.now += timedelta(hours=5)
    mass_g = {number: grams for crew in crews for number, grams in crew.mass_g.items()}
    lines = ["number,mass_kg", *(f"{number},{mass_g[number] * (1 - DRYING) / 1000:.3f}" for number in view.numbers)]
    read = read_received("\n".join(lines).encode(), source="received.csv")
    receipt = store_list(
        load_id, read, received_at=floor.clock(), received_by="Laboratory desk", lab_job="A-0117", seals_intact=True,
        desk=desk, start_work=start_work,
    )  # fmt: skip
    confirm_list(receipt.receipt_id, taken_as={}, desk=desk, start_work=start_work)
    return load_id
