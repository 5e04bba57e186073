"""Whether the blade was cleaned after every sample of a high class, by what was recorded at the saw."""

from __future__ import annotations

from collections.abc import Collection

from trayside.app.bag_masses import BY_MASS
from trayside.app.bag_views import Bag, HoleBags
from trayside.model.event import Event
from trayside.model.finding import Finding
from trayside.model.finding_kinds import found
from trayside.model.rules import Rules


def flushes_missing(hole: HoleBags, *, rules: Rules, trays: Collection[int | None] | None = None) -> tuple[Finding, ...]:
    """A finding for every sample of a high class after which the next sample was cut without a flush between them.

    A flush counts when it names the sample before or after it, or when it was done on the same saw between the two
    cuts, and in every case only when it was done before the next cut. Duplicates of the same core need none, nor does core
    that was not sawn.
    """
    if not rules.bench.flush_after_high:
        return ()
    high = {one.name for one in rules.grade_classes if one.high}
    cuts = sorted(
        (
            (fact.event.captured_at, place, bag, fact.event, fact.values.get("saw"))
            for place, bag in enumerate(hole.bags)
            if bag.row.is_core and (fact := bag.stands.latest("cut")) is not None
        ),
        key=lambda cut: cut[:2],
    )
    flushes = [one.event for one in hole.saw_acts if one.event.kind == "flush_cut"]
    findings = []
    for at, (cut_at, _, bag, _, saw) in enumerate(cuts):
        if bag.row.grade_class not in high or bag.row.method == BY_MASS or (trays is not None and bag.tray not in trays):
            continue
        following = next((other for other in cuts[at + 1 :] if other[4] == saw), None)
        if following is None or _same_core(bag, following[2]):  # told, if at all, of the last cut in this core
            continue
        if any(_cleans(flush, bag, following[2], saw, cut_at, following[0]) for flush in flushes):
            continue
        after = following[2]
        late = [flush for flush in flushes if flush.values.get("after") == bag.number]
        came_late = "; a flush was recorded, but after the next cut" if late else ""
        findings.append(
            found(
                "saw.flush_missing",
                f"{after.number} was cut after {bag.number} ({bag.row.grade_class}) without a flush{came_late}",
                hole_id=bag.hole_id,
                tray=bag.tray,
                number=after.number,
                from_mm=after.row.from_mm,
                to_mm=after.row.to_mm,
                evidence={
                    "after": bag.number,
                    "grade_class": bag.row.grade_class,
                    "saw": saw,
                    "cut_by": following[3].person,
                    "flush_late": len(late),
                },
            )
        )
    return tuple(findings)


def _same_core(one: Bag, other: Bag) -> bool:
    return (one.row.from_mm, one.row.to_mm) == (other.row.from_mm, other.row.to_mm)


def _cleans(flush: Event, bag: Bag, after: Bag, saw: object, cut_at: str, next_cut_at: str) -> bool:
    if flush.captured_at > next_cut_at:
        return False
    if flush.values.get("after") == bag.number or flush.values.get("before") == after.number:
        return True
    return cut_at <= flush.captured_at and (saw is None or flush.object_id == saw)
