"""A small invented yard on any database, planned and issued, with a crew: for the tests that break the road."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from web_yard import write_folder

from trayside.app.issue_cut_sheet import issue_cut_sheet
from trayside.app.load_yard import load_yard
from trayside.app.plan_samples import plan_samples
from trayside.cli.demo_crew import Crew, Floor
from trayside.files.yard_folder import read_yard_folder
from trayside.store.work import SqlWork

HOLE = "SM-01"
BEGUN = datetime(2031, 5, 4, 7, 30, tzinfo=UTC)


@dataclass
class RoadYard(Floor):
    """SM-01 of the small yard on an issued sheet."""

    engine: object = field(kw_only=True)

    def __init__(self, engine) -> None:
        self.engine = engine
        super().__init__(lambda *, writing=True: SqlWork(self.engine, writing=writing), BEGUN)

    def issue(self, folder: Path) -> Crew:
        load_yard(write_folder(folder), read_folder=read_yard_folder, start_work=self.start_work)
        plan_samples(HOLE, start_work=self.start_work, make_id=self.make_id)
        with self.start_work(writing=False) as work:
            version = work.sheet(HOLE).version
        issue_cut_sheet(HOLE, version=version, issued_by="Demo geologist", start_work=self.start_work, clock=self.clock)
        return Crew(self, HOLE)
