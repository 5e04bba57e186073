"""A finished control plan held against its own rules: what could not be kept, with numbers."""

import numpy as np

from trayside.core.qc_rules import BlankStock, ControlRow, ControlRules, Shortfall, StandardStock, longest_gap, one_in


def rack_contents(rows: tuple[ControlRow, ...], phase: int, open_rack_has: tuple[bool, bool]) -> list[dict]:
    """Per rack: its samples, whether it has a standard and a blank, and the samples with a blank straight behind."""
    racks: list[dict] = []
    for row in rows:
        if row.rack == len(racks):
            had = open_rack_has if row.rack == 0 and phase else (False, False)
            racks.append(
                {"samples": [], "standard": had[0], "blank": had[1], "had_blank": had[1], "blanked": set(), "rows": 0}
            )
        rack = racks[row.rack]
        rack["rows"] += 1
        if row.kind == "sample":
            rack["samples"].append(row.sample_index)
        elif row.kind == "standard":
            rack["standard"] = True
        elif row.kind == "blank":
            rack["blank"] = True
            rack["blanked"].add(row.after_sample)
    return racks


def shortfalls(
    rows: tuple[ControlRow, ...],
    racks: list[dict],
    rank: np.ndarray,
    behind_high: np.ndarray,
    rules: ControlRules,
    standards: tuple[StandardStock, ...],
    blanks: tuple[BlankStock, ...],
    lost_duplicates: int,
) -> tuple[Shortfall, ...]:
    """Every rule held against the finished plan."""
    found: list[Shortfall] = []
    stock_out = {
        "standard": sum(stock.sachets for stock in standards) == sum(row.kind == "standard" for row in rows),
        "blank": sum(stock.bags for stock in blanks) == sum(row.kind == "blank" for row in rows),
    }
    for number, rack in enumerate(racks):
        for kind, asked in (("standard", rules.standard_in_every_rack), ("blank", rules.blank_in_every_rack)):
            if asked and not rack[kind]:
                why = (
                    f"no {kind} left on the shelf"
                    if stock_out[kind]
                    else f"no room left beside its {len(rack['samples'])} sample(s) of this hole; tell the next hole"
                )
                words = f"Rack {number + 1} has no {kind}: {why}."
                found.append(Shortfall(f"{kind} in every rack", 1, 0, words, number))
        enough = len(rack["samples"]) >= rules.min_rack_for_controls
        if rules.blank_in_every_rack and rack["blank"] and not rack["had_blank"] and enough:
            top = max(rack["samples"], key=lambda j: rank[j])
            if top not in rack["blanked"]:
                words = f"Rack {number + 1} has no blank straight behind sample {top + 1}, its highest expected grade."
                found.append(Shortfall("blank behind the highest grade of the rack", 1, 0, words, number))
    followed = {row.after_sample for row in rows if row.kind == "blank"}
    wanted = np.flatnonzero(behind_high).tolist()
    missing = [j + 1 for j in wanted if j not in followed]
    if missing:
        words = f"No blank straight behind high sample {_listed(missing)}" + (
            ": no blank left on the shelf." if stock_out["blank"] else "."
        )
        found.append(Shortfall("blank behind high samples", len(wanted), len(wanted) - len(missing), words))
    for kind, rate in (("standard", rules.standard_rate), ("blank", rules.blank_rate)):
        found += _rate_shortfall(rows, kind, rate, stock_out[kind])
    if lost_duplicates:
        placed = sum(row.kind == "duplicate" for row in rows)
        words = f"{lost_duplicates} drawn duplicates found no free ticket before the end of the hole."
        found.append(Shortfall("duplicates drawn", placed + lost_duplicates, placed, words))
    rack_of = {row.sample_index: row.rack for row in rows if row.kind == "sample"}
    apart = [row.sample_index + 1 for row in rows if row.kind == "duplicate" and rack_of[row.sample_index] != row.rack]
    if apart:
        placed = sum(row.kind == "duplicate" for row in rows)
        words = f"The duplicate of sample {_listed(apart)} stands in the next rack."
        found.append(Shortfall("duplicate in the rack of its sample", placed, placed - len(apart), words))
    return tuple(found)


def _rate_shortfall(rows: tuple[ControlRow, ...], kind: str, rate: float, stock_out: bool) -> list[Shortfall]:
    """Whether any stretch of tickets is longer than the rate allows without one of this kind."""
    limit = longest_gap(rate)
    if not limit:
        return []
    places = np.array([-1] + [t for t, row in enumerate(rows) if row.kind == kind] + [len(rows)])
    gaps = np.diff(places)
    worst = int(gaps.max())
    if worst <= limit:
        return []
    words = f"{worst - 1} tickets pass without a {kind}; one in {one_in(rate)} allows {limit - 1} at most"
    words += f": no {kind} left on the shelf." if stock_out else "."
    return [Shortfall(f"{kind} rate", len(rows) // one_in(rate), len(places) - 2, words)]


def _listed(numbers: list[int]) -> str:
    shown = ", ".join(str(number) for number in numbers[:8])
    return shown + (f" and {len(numbers) - 8} more" if len(numbers) > 8 else "")
