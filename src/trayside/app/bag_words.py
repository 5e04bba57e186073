"""What goes into a bag and how, in short orders: the same words on the paper and on the screen at the saw."""

from __future__ import annotations

from trayside.model.cut_sheet import SheetRow

OTHER_SIDE = {"right": "left", "left": "right"}
PORTION_WORDS = {"half": "half", "quarter": "one quarter", "whole": "whole core"}


def twins(rows: tuple[SheetRow, ...]) -> dict[str, SheetRow]:
    """The duplicate of each number that has one."""
    return {row.duplicate_of: row for row in rows if row.kind == "duplicate" and row.duplicate_of}


def takes_near_half(row: SheetRow) -> bool:
    """Whether the blade is shifted toward what this bag holds: only the second bag of a cut half is on the far side."""
    return not (row.kind == "duplicate" and row.duplicate_type in ("half/half", "half/quarter"))


def blade_words(row: SheetRow, *, offset_mm: float, line: str = "drawn line") -> str:
    """Where the blade goes against the drawn line, and on which half the line stays.

    `line` names it where the cut line was set off the orientation line: two lines are then on the core.
    """
    if row.side not in OTHER_SIDE or row.portion == "whole" or row.kind == "duplicate":
        return ""
    kept, away = OTHER_SIDE[row.side], abs(offset_mm)
    if offset_mm == 0:
        return f"Cut along the {line}."
    if offset_mm > 0:
        return f"Cut {away:g} mm {row.side} of the {line}; the line stays on the {kept} half."
    return f"Cut {away:g} mm {kept} of the {line}; the line goes into the bag."


def bag_words(row: SheetRow) -> tuple[str, str]:
    """What goes into the bag (large) and what stays in the tray (small)."""
    portion = PORTION_WORDS.get(row.portion, row.portion)
    if row.portion == "whole":
        return portion, "nothing stays in the tray"
    if row.side not in OTHER_SIDE:
        return f"{portion} by mass", "all sizes and the fines; the rest stays in the tray"
    if row.portion == "quarter":
        return "one quarter", f"of the {row.side} half; either of the two, never chosen by look"
    if row.kind == "duplicate":
        return f"{row.side} half", "nothing stays in the tray"
    return f"{row.side} half", f"the {OTHER_SIDE[row.side]} half stays in the tray"


def duplicate_words(row: SheetRow, *, twin: SheetRow | None) -> str:
    """What to do for a duplicate, said on both of its rows."""
    if row.kind == "duplicate":
        return _second_bag(row, first=row.duplicate_of or "?")
    return "" if twin is None else _first_bag(row, twin=twin)


def _second_bag(row: SheetRow, *, first: str) -> str:
    if row.portion == "whole":
        return f"{first} takes the core whole: ask the geologist how to take this second part."
    if row.side == "":
        return f"Second part of {first}: split again by mass, all sizes and the fines."
    if row.duplicate_type == "half/half":
        return f"Second half of {first}: bag the half that would stay."
    if row.duplicate_type == "half/quarter":
        return f"Quarter of the core of {first}: cut the kept half again, one quarter goes in here."
    return f"Quarter of {first}: cut the bagged half again, the other quarter goes in here."


def _first_bag(row: SheetRow, *, twin: SheetRow) -> str:
    if row.portion == "whole" or row.side == "":
        return f"A second part of this core goes into {twin.number}."
    if twin.duplicate_type == "half/half":
        return f"The other half goes into {twin.number}."
    if twin.duplicate_type == "half/quarter":
        return f"Keep the other half at hand: a quarter of it goes into {twin.number}."
    return f"Cut the bagged half again: one quarter here, the other into {twin.number}."


def control_words(row: SheetRow) -> tuple[str, str]:
    """What to insert (large) and how (small)."""
    material = row.material or "?"
    if row.kind == "standard":
        how = "One sealed portion. Its own name goes on the stub, never on or in the bag."
    else:
        how = "One portion, bagged like any sample. Clean scoop, clean hands, nothing from the saw."
    return f"Insert {row.kind} {material}", how
