"""The demo yard from its folder to its plans: every planted fault is found once, and nothing else is."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pytest

from trayside.app.check_yard import check_all
from trayside.app.load_yard import load_yard
from trayside.app.plan_samples import PlannedHole, plan_yard
from trayside.errors import RefusedByRule
from trayside.files.yard_folder import read_yard_folder
from trayside.model.finding import Finding
from trayside.store.connection import open_store
from trayside.store.work import SqlWork

FOLDER = Path(__file__).resolve().parents[2] / "demo" / "vellin_ridge"
EXPECTED = json.loads((FOLDER / "expected-findings.json").read_text(encoding="utf-8"))


class Store:
    def __init__(self, path: Path) -> None:
        self.engine = open_store(path)
        self._ids = 0

    def start_work(self, *, writing: bool = True) -> SqlWork:
        return SqlWork(self.engine, writing=writing)

    def make_id(self) -> str:
        self._ids += 1
        return f"sheet-{self._ids}"

    def load(self, folder: Path = FOLDER):
        return load_yard(folder, read_folder=read_yard_folder, start_work=self.start_work)

    def plan(self) -> dict[str, PlannedHole | RefusedByRule]:
        return plan_yard(start_work=self.start_work, make_id=self.make_id)

    def contents(self) -> dict[str, tuple[int, str]]:
        """Rows and fingerprint of every table."""
        with self.engine.connect() as connection:
            names = connection.exec_driver_sql("SELECT name FROM sqlite_master WHERE type = 'table'").scalars().all()
            found = {}
            for name in names:
                rows = sorted(map(repr, connection.exec_driver_sql(f'SELECT * FROM "{name}"').all()))
                found[name] = (len(rows), hashlib.sha256("\n".join(rows).encode()).hexdigest())
        return found


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    """The demo yard loaded and planned: (store, findings of the load, plans)."""
    store = Store(tmp_path_factory.mktemp("demo") / "demo.sqlite")
    report = store.load()
    yield store, report.findings, store.plan()
    store.engine.dispose()


def is_it(finding: Finding, row: dict) -> bool:
    """Same hole, code, severity, run and tray, and depths that touch."""
    named = (finding.hole_id, finding.code, finding.severity, finding.run, finding.tray)
    if named != (row["hole_id"], row["code"], row["severity"], row["run"], row["tray"]):
        return False
    if finding.from_mm is None or row["from_mm"] is None:
        return finding.from_mm is row["from_mm"] is None
    return finding.from_mm <= row["to_mm"] and finding.to_mm >= row["from_mm"]


def differences(findings: list[Finding], expected: list[dict]) -> tuple[list, list]:
    """(expected and not found, found and not expected); each finding serves one expectation."""
    left, missed = list(findings), []
    for row in expected:
        match = next((finding for finding in left if is_it(finding, row)), None)
        if match is None:
            missed.append((row["fault"], row["hole_id"], row["code"]))
        else:
            left.remove(match)
    return missed, [f"{finding.where}: {finding.code}" for finding in left]


def at(stage: str) -> list[dict]:
    return [row for row in EXPECTED if row["stage"] == stage]


def plan_findings(plans) -> list[Finding]:
    return [one for plan in plans.values() if isinstance(plan, PlannedHole) for one in plan.findings]


def test_loading_finds_what_is_planted_and_nothing_else(demo):
    _, findings, _ = demo
    assert differences(list(findings), at("load")) == ([], [])
    assert len(at("load")) >= 20


def test_planning_finds_what_is_planted_and_nothing_else(demo):
    _, _, plans = demo
    assert differences(plan_findings(plans), at("plan")) == ([], [])
    assert len(at("plan")) >= 5


def test_the_store_holds_the_same_findings_as_were_told(demo):
    store, _, _ = demo
    with store.start_work(writing=False) as work:
        assert differences(list(work.findings()), EXPECTED) == ([], [])


def test_the_comparison_itself_sees_a_finding_too_many_or_too_few(demo):
    _, findings, _ = demo
    missed, surplus = differences(list(findings)[1:], at("load"))
    assert (len(missed), surplus) == (1, [])
    missed, surplus = differences([*findings, findings[0]], at("load"))
    assert (missed, len(surplus)) == ([], 1)


def test_the_holes_that_cannot_be_planned_are_those_with_a_stop(demo):
    _, _, plans = demo
    stopped = {row["hole_id"] for row in EXPECTED if row["severity"] == "stop"}
    assert {hole for hole, plan in plans.items() if isinstance(plan, RefusedByRule)} == stopped
    for hole in stopped:
        assert plans[hole].reasons


def test_every_finding_says_where_why_and_what_to_do(demo):
    _, findings, plans = demo
    for finding in (*findings, *plan_findings(plans)):
        assert finding.message
        assert finding.remedy
        assert finding.where
        assert json.loads(json.dumps(finding.evidence, allow_nan=False)) == finding.evidence


def test_loading_and_checking_again_changes_nothing(demo):
    store, _, _ = demo
    before = store.contents()
    report = store.load()
    assert not report.changed_anything
    assert report.holes_unchanged == 8
    assert store.contents() == before
    told = check_all(start_work=store.start_work)
    assert differences(list(told), EXPECTED) == ([], [])


def test_no_ticket_number_stands_twice_and_voids_are_never_used(demo):
    _, _, plans = demo
    numbers = [row.number for plan in plans.values() if isinstance(plan, PlannedHole) for row in plan.sheet.rows]
    assert len(numbers) == len(set(numbers))
    assert not {"K410017", "K410203", "K410760", "K411502"} & set(numbers)


def without_ids(plans) -> dict:
    return {
        hole: (plan.sheet.seed, plan.sheet.rows, plan.findings) if isinstance(plan, PlannedHole) else str(plan)
        for hole, plan in plans.items()
    }


def test_the_same_seed_gives_the_same_plan(demo, tmp_path):
    _, _, plans = demo
    again = Store(tmp_path / "again.sqlite")
    again.load()
    assert without_ids(again.plan()) == without_ids(plans)
    assert without_ids(again.plan()) == without_ids(plans)
    again.engine.dispose()


def test_another_seed_gives_other_control_places_and_the_same_samples(demo, tmp_path):
    _, _, plans = demo
    folder = tmp_path / "yard"
    folder.mkdir()
    for path in FOLDER.glob("*.csv"):
        (folder / path.name).write_bytes(path.read_bytes())
    rules = (FOLDER / "rules.toml").read_text(encoding="utf-8")
    assert "seed = 4714" in rules
    (folder / "rules.toml").write_text(rules.replace("seed = 4714", "seed = 4711"), encoding="utf-8")
    other = Store(tmp_path / "other.sqlite")
    other.load(folder)
    others = other.plan()
    other.engine.dispose()
    for hole, plan in plans.items():
        if isinstance(plan, RefusedByRule):
            continue
        mine, theirs = plan.sheet.rows, others[hole].sheet.rows
        assert [(r.from_mm, r.to_mm) for r in mine if r.kind == "sample"] == [
            (r.from_mm, r.to_mm) for r in theirs if r.kind == "sample"
        ]
        assert [row.seq for row in mine if row.kind != "sample"] != [row.seq for row in theirs if row.kind != "sample"]
