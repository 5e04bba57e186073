"""Everything about one hole, read in one transaction: what was loaded, where every metre lies, its sheet and findings."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass, fields
from functools import cache

from trayside.app.cut_register import CutRegister, cut_register, register_of
from trayside.app.ports import Work
from trayside.app.register_depth import HoleDepth, register_hole
from trayside.app.yard_rules import rules_of
from trayside.model.cut_sheet import Revision, Sheet
from trayside.model.finding import Finding
from trayside.model.hole import HoleCore
from trayside.model.rules import Rules
from trayside.model.stock import Stock


@dataclass(frozen=True, slots=True)
class HoleView:
    """One hole as the screens, the papers and the use cases see it."""

    core: HoleCore
    stock: Stock
    rules: Rules
    depth: HoleDepth
    sheet: Sheet | None
    revisions: tuple[Revision, ...]
    findings: tuple[Finding, ...]
    cut_lines: CutRegister | None = None
    """Where the cut line was set; None stands for the yard's rule all along."""

    @property
    def cut_register(self) -> CutRegister:
        return self.cut_lines or register_of((), self.rules)

    @property
    def hole_id(self) -> str:
        return self.core.hole.hole_id

    @property
    def stale(self) -> bool:
        """Whether the hole, the rules, its core sizes or its rock codes changed after the plan was made."""
        return self.sheet is not None and self.sheet.hole_digest != plan_digest(self.core, self.stock, self.rules)


def view_hole(work: Work, hole_id: str) -> HoleView:
    """Read and register one hole; NotFound when the yard does not hold it."""
    core, rules = work.hole_core(hole_id), rules_of(work)
    return HoleView(
        core=core,
        stock=work.stock(),
        rules=rules,
        depth=register_hole(core, rules),
        sheet=work.sheet(hole_id),
        revisions=work.revisions(hole_id),
        findings=work.findings(hole_id),
        cut_lines=cut_register(work, core, rules),
    )


def plan_digest(core: HoleCore, stock: Stock, rules: Rules) -> str:
    """Fingerprint of what a plan is computed from: runs, losses, trays, log, densities, sizes, rock codes and rules.

    Texts as they were entered and remarks are not part of it: a table saved again by a spreadsheet holds the same metres.
    Nor is what is left on the shelf: every delivery would make every plan look old.
    """
    facts = [
        _planned_on((core.hole,)),
        *(_planned_on(part) for part in (core.runs, core.losses, core.trays, core.rock, core.densities)),
        _planned_on(stock.core_sizes.get(size) for size in sorted({run.core_size for run in core.runs})),
        _planned_on(stock.rock_codes.get(rock) for rock in sorted({rock.rock for rock in core.rock})),
        [(name, getattr(rules, name)) for name in type(rules).model_fields if name not in NOT_PLANNED_BY],
    ]
    return hashlib.sha256(repr(facts).encode()).hexdigest()


NOT_PLANNED_ON = frozenset(
    (
        "area",
        "east_m",
        "north_m",
        "elevation_m",
        "azimuth_deg",
        "dip_deg",
        "total_depth_entered",
        "remark",
        "from_entered",
        "to_entered",
        "rqd_mm",
        "solid_mm",
        "fractures",
        "hardness",
        "hole_diameter_mm",
        "name",
    )
)
"""Columns that no plan is computed from. Surveys, orientation marks and fabric are left out as a whole."""
NOT_PLANNED_BY = frozenset(
    (
        "yard",
        "orientation",
        "cut_plane",
        "density",
        "sampling_error",
        "dispatch",
        "paper",
        "bench",
        "saws",
        "shift",
        "safety",
        "results",
        "report",
    )
)
"""Sections of the rules that no plan is computed from."""


def _planned_on(records: Iterable[object]) -> list[tuple | None]:
    """The values of each record that take part in planning."""
    return [record and tuple(getattr(record, name) for name in _columns(type(record))) for record in records]


@cache
def _columns(record: type) -> tuple[str, ...]:
    return tuple(field.name for field in fields(record) if field.name not in NOT_PLANNED_ON)
