"""Which tray each bag of a sheet belongs to, also those that hold no core."""

from __future__ import annotations

from collections.abc import Sequence

from trayside.model.cut_sheet import SheetRow


def trays_of_rows(rows: Sequence[SheetRow]) -> dict[str, int | None]:
    """Tray by number: a sample belongs where it starts, its duplicate with it, a control with the core before it.

    Controls before the first core belong to the tray of that core. None where nobody knows the place.
    """
    trays: dict[str, int | None] = {}
    here: int | None = None
    ahead: list[str] = []
    seen_core = False
    for row in rows:
        if row.is_core:
            mother = trays.get(row.duplicate_of) if row.kind == "duplicate" and row.duplicate_of else None
            here = mother if mother is not None else (row.from_place.tray if row.from_place else None)
            if not seen_core:
                seen_core = True
                trays |= dict.fromkeys(ahead, here)
            trays[row.number] = here
        elif seen_core:
            trays[row.number] = here
        else:
            ahead.append(row.number)
            trays[row.number] = None
    return trays
