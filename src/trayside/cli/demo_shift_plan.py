"""The demo's shift plan: the coming shift on the saws of the invented yard."""

from __future__ import annotations

from dataclasses import replace

from trayside.app.maintain_saw import fit_blade
from trayside.app.office_acts import Desk as Office
from trayside.app.office_acts import Signer
from trayside.app.ports import Clock, MakeId, StartWork
from trayside.app.shift import Desk, make_plan
from trayside.app.shift_form import propose
from trayside.app.shift_saws import saws_today
from trayside.app.shift_words import beats_text
from trayside.errors import RefusedByRule
from trayside.model.shift import SawWish

PLANNER, OPERATOR = "Demo lead", "Demo operator"
LORRY_AT = "15:00"
SECOND_SAW, ITS_BLADE, STAMP_RPM = "SAW-2", "D-21", 3800


def plan_demo_shift(*, start_work: StartWork, clock: Clock, make_id: MakeId) -> str | None:
    """Plan the coming shift from its start, the first hole on the lorry; None when nothing waits that a saw may cut."""
    _second_saw(start_work=start_work, clock=clock, make_id=make_id)
    with start_work(writing=False) as work:
        proposed = propose(work, now=clock())
    asked = proposed.request
    if not asked.saws or not asked.holes:
        return None
    first, *others = asked.holes
    request = replace(
        asked,
        saws=tuple(SawWish(one.saw, f"{OPERATOR} {at}" if at > 1 else OPERATOR) for at, one in enumerate(asked.saws, 1)),
        holes=(replace(first, lorry=True), *others),
        from_at="",
        lorry_at=LORRY_AT,
    )
    try:
        plan = make_plan(request, desk=Desk(PLANNER, start_work, clock, make_id))
    except RefusedByRule:
        return None
    return f"{plan.day}, {len(plan.lines)} trays: {beats_text(plan)}"


def _second_saw(*, start_work: StartWork, clock: Clock, make_id: MakeId) -> None:
    """The second saw of the demo yard gets its blade; nothing is done in a yard whose register has neither."""
    with start_work(writing=False) as work:
        saws = {one.saw: one.blade for one in saws_today(work, now=clock())}
        known = any(one.blade == ITS_BLADE for one in work.saws.blades())
    if known and saws.get(SECOND_SAW) == "":
        office = Office(Signer(OPERATOR, "office"), clock, make_id)
        fit_blade(SECOND_SAW, ITS_BLADE, stamp_rpm=STAMP_RPM, desk=office, start_work=start_work)
