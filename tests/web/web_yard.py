"""A small invented yard for the screens, written as a yard folder and loaded the way a person would load it.

SM-01 can be planned: 30 m, six trays of five rows, one loss, two mineralised stretches. SM-02 has a block out of place.
SM/03 is barren. Names that people type freely hold markup, which no page may take for its own.
"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from trayside.app.load_yard import load_yard
from trayside.app.ports import Work
from trayside.errors import RefusedByRule
from trayside.files.yard_folder import read_yard_folder
from trayside.store.connection import engine_for, open_store
from trayside.store.work import SqlWork

MARKUP = "<script>alert('yard')</script>"
NOW = datetime(2031, 5, 4, 7, 30, tzinfo=UTC)
RULES = """
yard = "Yard <script>"
[sampling]
sample_classes = ["low", "high"]
shoulder_m = 1.0
[mass]
minimum_kg = 0.1
tier_kg = 20.0
[controls]
standard_every = 8
blank_every = 8
duplicate_every = 10
rack_size = 20
"""
HOLES = "hole_id,area,east_m,north_m,elevation_m,azimuth_deg,dip_deg,total_depth_m,remark\n"
RUNS = "hole_id,run,from_m,to_m,recovered_m,rqd_m,fractures,core_size\n"
TRAYS = "hole_id,tray,from_m,to_m,rows,row_length_m\n"
ROCK = "hole_id,from_m,to_m,rock,condition,grade_class,contact,vein,caution\n"
SHARED = {
    "rock_codes": "rock,name,density_t_m3,density_sd_t_m3\nSLT,siltstone,2.70,0.05\nQZV,quartz vein,2.66,0.04\n",
    "materials": (
        "material,kind,in_stock,mass_g,grade_g_t\n"
        "STD-L,standard,60,100,0.5\nSTD-H,standard,60,100,7.5\nBLK,coarse blank,60,1500,\n"
    ),
    "tickets": "book,prefix,first,last,digits\nA,T,1000,1999,4\n",
    "losses": "hole_id,from_m,lost_m,position\nSM-01,13.20,0.50,seen\n",
    "orientation_marks": "hole_id,depth_m,angle_deg,line\nSM-01,3.0,0,solid\nSM-01,9.0,5,dashed\n",
}


def write_folder(folder: Path, *, more_holes: int = 0) -> Path:
    """The yard folder; `more_holes` adds holes of which only the collar is known,
    and of the first one a tray."""
    folder.mkdir()
    holes = [
        f"SM-01,{MARKUP},10,20,30,90,-60,30.0,",
        "SM-02,east,11,20,30,90,-60,9.0,",
        "SM/03,east,12,20,30,90,-60,6.0,",
    ]
    holes += [f"ZZ-{number:03d},far,13,20,30,90,-60,50.0," for number in range(more_holes)]
    runs = [f"SM-01,{at + 1},{at * 3},{at * 3 + 3},{2.5 if at == 4 else 3.0},2.4,9,NQ" for at in range(10)]
    runs += [
        "SM-02,1,0,3,3,2,5,NQ",
        "SM-02,2,2.5,6,3.4,2,5,NQ",
        "SM-02,3,6,5.8,0.1,,,NQ",
        "SM/03,1,0,3,3,2,5,NQ",
        "SM/03,2,3,6,3,2,5,NQ",
    ]
    trays = [f"SM-01,{at + 1},{at * 5},{at * 5 + 5},5,1.05" for at in range(6)]
    trays += ["ZZ-000,1,0,5,5,1.05"] if more_holes else []
    trays += ["SM-02,1,0,6,6,1.05", "SM/03,1,0,6,6,1.05"]
    rock = [
        "SM-01,0,5.0,SLT,intact,barren,hard,,",
        "SM-01,5.0,8.4,SLT,intact,low,soft,,",
        "SM-01,8.4,9.0,QZV,blocky,high,hard,yes,visible metal <b>",
        "SM-01,9.0,16.0,SLT,intact,low,hard,,",
        "SM-01,16.0,30.0,SLT,intact,barren,soft,,",
        "SM-02,0,6,SLT,intact,low,hard,,",
        "SM/03,0,6,SLT,intact,barren,hard,,",
    ]
    tables = {"holes": HOLES + "\n".join(holes), "runs": RUNS + "\n".join(runs), "trays": TRAYS + "\n".join(trays),
              "rock": ROCK + "\n".join(rock), **SHARED}  # fmt: skip
    for name, text in tables.items():
        (folder / f"{name}.csv").write_text(text + "\n", encoding="utf-8")
    (folder / "rules.toml").write_text(RULES, encoding="utf-8")
    return folder


def load_into(database: Path, folder: Path) -> None:
    engine = open_store(database)
    load_yard(folder, read_folder=read_yard_folder, start_work=lambda *, writing=True: SqlWork(engine, writing=writing))
    engine.dispose()


class Yard:
    """A store on disk with what the screens need around it."""

    def __init__(self, database: Path) -> None:
        self.engine = engine_for(database)
        self.ids = iter(range(1, 10**6))
        self.papers = RecordedPapers()

    def start_work(self, *, writing: bool = True) -> Work:
        return SqlWork(self.engine, writing=writing)

    def clock(self) -> datetime:
        return NOW

    def make_id(self) -> str:
        return f"id-{next(self.ids)}"

    def sheet(self, hole_id: str = "SM-01"):
        with self.start_work(writing=False) as work:
            return work.sheet(hole_id)

    def set_rules(self, text: str) -> None:
        with self.start_work() as work:
            work.set_rules(text)
            work.commit()


class RecordedPapers:
    """Stands in for the printer: remembers what was asked for."""

    def __init__(self) -> None:
        self.asked: list[tuple] = []

    def cut_sheet(self, view, revision) -> bytes:
        self.asked.append(("cut sheet", view.hole_id, revision.revision if revision else None))
        return b"%PDF-1.7 cut sheet"

    def tray_sheet(self, view) -> bytes:
        self.asked.append(("tray sheet", view.hole_id))
        return b"%PDF-1.7 trays"

    def tickets(self, view, revision, stock: str) -> bytes:
        if revision is not None and not revision.rows:
            raise RefusedByRule("a revision without rows was handed to the printer")
        self.asked.append(("tickets", view.hole_id, revision.revision if revision else None, stock))
        return b"%PDF-1.7 tickets"

    def shift_plan(self, plan, rules) -> bytes:
        self.asked.append(("shift plan", plan.plan_id))
        return b"%PDF-1.7 shift plan"
