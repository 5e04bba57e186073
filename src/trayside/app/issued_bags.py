"""Which bags of an issued sheet are still there after a change: they keep their numbers and their controls."""

from __future__ import annotations

from trayside.model.cut_sheet import SheetRow


def still_there(issued: tuple[SheetRow, ...], rows: tuple[SheetRow, ...]) -> dict[int, SheetRow]:
    """For each new row (by position) the issued row it continues: the same bag first, then the one with most of its core.

    A bag continues another of its kind when they share more than half of the new bag's length.
    """
    kept: dict[int, SheetRow] = {}
    left = list(issued)
    for index, row in enumerate(rows):
        same = next((old for old in left if _same_bag(old, row)), None)
        if same is not None:
            kept[index] = same
            left.remove(same)
    for index, row in enumerate(rows):
        if index in kept or not row.is_core:
            continue
        shared = [
            (min(row.to_mm, old.to_mm) - max(row.from_mm, old.from_mm), old) for old in left if old.kind == row.kind
        ]
        best = max(shared, key=lambda pair: pair[0], default=None)
        if best and best[0] * 2 > row.to_mm - row.from_mm:
            kept[index] = best[1]
            left.remove(best[1])
    return kept


def _same_bag(old: SheetRow, new: SheetRow) -> bool:
    return (old.kind, old.from_mm, old.to_mm, old.material) == (new.kind, new.from_mm, new.to_mm, new.material)
