"""Everything about one hole, read in one transaction: what was loaded, where every metre lies, its sheet and findings."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

from trayside.app.ports import Work
from trayside.app.register_depth import HoleDepth, register_hole
from trayside.app.yard_rules import rules_of
from trayside.model.cut_sheet import Revision, Sheet
from trayside.model.finding import Finding
from trayside.model.hole import HoleCore
from trayside.model.rules import BenchSettings, Rules
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
    )


def plan_digest(core: HoleCore, stock: Stock, rules: Rules) -> str:
    """Fingerprint of what a plan is computed from: the hole, the rules, its core sizes and its rock codes.

    What is left on the shelf is not part of it, nor what the bench screen asks for: every delivery and every other
    scale would make every plan look old.
    """
    rules = rules.model_copy(update={"bench": BenchSettings()})
    sizes = [stock.core_sizes.get(size) for size in sorted({run.core_size for run in core.runs})]
    codes = [stock.rock_codes.get(rock) for rock in sorted({rock.rock for rock in core.rock})]
    return hashlib.sha256(f"{core!r}\n{rules!r}\n{sizes!r}\n{codes!r}".encode()).hexdigest()
