"""Standards and blanks: how many the sheets still take from the shelf.

A bag counts against the shelf from the first draft that holds it. Once its sheet is issued the portion is set aside for
it, and the next count of the material no longer finds it on the shelf: from then on the bag counts no more.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from sqlalchemy import Connection, Select, func, select, text, update

from .bulk import BATCH_NAMES, in_batches
from .schema import MATERIAL_TOTALS, SHEET_REVISIONS, SHEET_ROWS

KNOW = text("INSERT INTO material_totals (material, on_drafts) VALUES (:material, 0) ON CONFLICT (material) DO NOTHING")
ADD = text(
    "INSERT INTO material_totals (material, on_drafts) VALUES (:material, :more)"
    " ON CONFLICT (material) DO UPDATE SET on_drafts = material_totals.on_drafts + excluded.on_drafts"
)
DRAFT, ISSUED = SHEET_ROWS.alias("draft"), SHEET_ROWS.alias("issued")


def still_to_take(connection: Connection, sheet_id: str) -> Counter[str]:
    """Portions of each material that the sheet's draft takes from what was counted last."""
    return _counted(connection, _still_to_take().where(DRAFT.c.sheet_id == sheet_id))


def change_totals(connection: Connection, *, before: Counter[str], after: Counter[str]) -> None:
    """Bring the totals from what one sheet took to what it takes now."""
    for material in sorted(before.keys() | after.keys()):
        if more := after[material] - before[material]:
            connection.execute(ADD, {"material": material, "more": more})


def materials_on_sheets(connection: Connection, *, except_sheet_id: str | None) -> dict[str, int]:
    """Portions of each material that all drafts still take from the shelf, without those of one sheet.

    Below zero where that sheet alone has portions set aside: it may use them beside what lies on the shelf.
    """
    totals = _counted(connection, select(MATERIAL_TOTALS.c.material, MATERIAL_TOTALS.c.on_drafts))
    if except_sheet_id is not None:
        every = _on_drafts().where(DRAFT.c.sheet_id == except_sheet_id)
        totals.subtract(_counted(connection, every))
    return {material: used for material, used in totals.items() if used}


def count_anew(connection: Connection, materials: Iterable[str]) -> None:
    """These materials were counted: what is on sheets issued up to now is set aside and counts no more."""
    newest = select(func.max(SHEET_REVISIONS.c.issued_at)).scalar_subquery()
    for batch in in_batches(sorted(materials), BATCH_NAMES):
        connection.execute(KNOW, [{"material": material} for material in batch])
        counted = MATERIAL_TOTALS.c.material.in_(batch)
        connection.execute(update(MATERIAL_TOTALS).where(counted).values(counted_after=newest, on_drafts=0))
        taken = _counted(connection, _still_to_take().where(DRAFT.c.material.in_(batch)))
        change_totals(connection, before=Counter(), after=taken)


def _counted(connection: Connection, wanted: Select) -> Counter[str]:
    return Counter(dict(connection.execute(wanted).all()))


def _on_drafts() -> Select:
    on_draft = select(DRAFT.c.material, func.count()).where(DRAFT.c.revision == 0, DRAFT.c.material.is_not(None))
    return on_draft.group_by(DRAFT.c.material)


def _still_to_take() -> Select:
    """Portions on drafts, without bags that a revision issued before the last count of their material carries."""
    head = SHEET_REVISIONS.c
    set_aside = (
        select(ISSUED.c.seq)
        .join(SHEET_REVISIONS, (head.sheet_id == ISSUED.c.sheet_id) & (head.revision == ISSUED.c.revision))
        .join(MATERIAL_TOTALS, MATERIAL_TOTALS.c.material == ISSUED.c.material)
        .where(
            ISSUED.c.sheet_id == DRAFT.c.sheet_id,
            ISSUED.c.revision > 0,
            ISSUED.c.number == DRAFT.c.number,
            ISSUED.c.material == DRAFT.c.material,
            head.issued_at <= MATERIAL_TOTALS.c.counted_after,
        )
    )
    return _on_drafts().where(~set_aside.correlate(DRAFT).exists())
