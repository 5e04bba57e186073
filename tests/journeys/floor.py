"""The yard of the journeys: a store with the demo yard, and the crew of the demo to work in it."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from trayside.app.bag_views import Bag, hole_bags
from trayside.app.issue_cut_sheet import issue_cut_sheet
from trayside.app.load_yard import load_yard
from trayside.app.plan_samples import plan_yard
from trayside.cli.demo_crew import Floor
from trayside.files.yard_folder import read_yard_folder
from trayside.model.bag_states import Fact
from trayside.model.cut_sheet import SheetRow
from trayside.store.connection import open_store
from trayside.store.work import SqlWork

FOLDER = Path(__file__).resolve().parents[2] / "demo" / "vellin_ridge"
BEGUN = datetime(2031, 5, 4, 6, 0, tzinfo=UTC)


@dataclass
class Yard(Floor):
    """A floor with a store of its own."""

    path: Path = field(kw_only=True)

    def __init__(self, path: Path) -> None:
        self.path = path
        self.engine = open_store(path)
        super().__init__(lambda *, writing=True: SqlWork(self.engine, writing=writing), BEGUN)

    def issue(self, hole_id: str, *, folder: Path = FOLDER) -> tuple[SheetRow, ...]:
        load_yard(folder, read_folder=read_yard_folder, start_work=self.start_work)
        planned = plan_yard(start_work=self.start_work, make_id=self.make_id, hole_ids=(hole_id,))
        version = planned[hole_id].sheet.version
        revision = issue_cut_sheet(
            hole_id, version=version, issued_by="Demo geologist", start_work=self.start_work, clock=self.clock
        )
        return revision.rows

    def bags(self, hole_id: str) -> tuple[Bag, ...]:
        with self.start_work(writing=False) as work:
            return hole_bags(work, hole_id).bags


def said(facts: tuple[Fact, ...], kind: str) -> list[dict]:
    return [fact.values for fact in facts if fact.event.kind == kind]
