"""A finished control plan held against its own rules: what could not be kept, with numbers."""

from itertools import pairwise

import numpy as np

from trayside.core.qc_rules import BlankStock, ControlRow, ControlRules, Shortfall, StandardStock, longest_gap, one_in
from trayside.core.qc_sequence import behind_high_samples, blank_places


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
    is_high: np.ndarray,
    rules: ControlRules,
    standards: tuple[StandardStock, ...],
    blanks: tuple[BlankStock, ...],
    lost_duplicates: int,
) -> tuple[Shortfall, ...]:
    """Every rule held against the finished plan."""
    found: list[Shortfall] = []
    behind_high = behind_high_samples(is_high=is_high, rules=rules)
    blank_place = blank_places(is_high=is_high, rules=rules).tolist()
    stock_out = {
        "standard": sum(stock.sachets for stock in standards) == sum(row.kind == "standard" for row in rows),
        "blank": sum(stock.bags for stock in blanks) == sum(row.kind == "blank" for row in rows),
    }
    for number, rack in enumerate(racks):
        for kind, asked in (("standard", rules.standard_in_every_rack), ("blank", rules.blank_in_every_rack)):
            if asked and not rack[kind]:
                words = f"Rack {number + 1} has no {kind}: none left on the shelf."
                if not stock_out[kind]:
                    words = (
                        f"Rack {number + 1} has no {kind} among its {_counted(len(rack['samples']), 'sample')}. "
                        f"Send it together with another hole's bags and insert a {kind} by hand."
                    )
                found.append(Shortfall(f"{kind} in every rack", 1, 0, words, number))
        enough = len(rack["samples"]) >= rules.min_rack_for_controls
        if rules.blank_in_every_rack and rack["blank"] and not rack["had_blank"] and enough:
            top = max(rack["samples"], key=lambda j: rank[j])
            behind = blank_place[top] if blank_place[top] in rack["samples"] else top
            if behind not in rack["blanked"]:
                run = f"the high run of sample {top + 1}" if behind != top else f"sample {top + 1}"
                words = f"Rack {number + 1} has no blank straight behind {run}, its highest expected grade."
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
    found += _place_shortfalls(rows, rules)
    found += _duplicate_rate_shortfall(rows, rules, lost_duplicates)
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


def _duplicate_rate_shortfall(rows: tuple[ControlRow, ...], rules: ControlRules, lost: int) -> list[Shortfall]:
    """Whether the hole has fewer duplicates than one in each whole block of tickets; those lost are told apart."""
    step = one_in(rules.duplicate_rate)
    wanted = len(rows) // step if step else 0
    placed = sum(row.kind == "duplicate" for row in rows)
    if placed + lost >= wanted:
        return []
    words = f"{_counted(placed, 'duplicate')} in {len(rows)} tickets; one in {step} asks for {wanted}."
    return [Shortfall("duplicate rate", wanted, placed, words)]


def _place_shortfalls(rows: tuple[ControlRow, ...], rules: ControlRules) -> list[Shortfall]:
    """Controls where the rules want none: beside another control, or on the first ticket of a rack."""
    controls = sum(row.kind != "sample" for row in rows)
    found = []
    if not rules.allow_adjacent:
        beside = [below.after_sample + 1 for above, below in pairwise(rows) if "sample" not in (above.kind, below.kind)]
        if beside:
            where = f"behind sample {_listed(beside)}" if beside[0] else "before the first sample"
            words = f"Controls stand side by side {where}."
            found.append(Shortfall("no two controls side by side", controls, controls - len(beside), words))
    if not rules.allow_first_of_rack:
        opened = [row.rack + 1 for row in rows if row.rack_place == 0 and row.kind != "sample"]
        if opened:
            words = f"Rack {_listed(opened)} begins with a control."
            found.append(Shortfall("no control first in a rack", controls, controls - len(opened), words))
    return found


def _counted(count: int, thing: str) -> str:
    return f"{count} {thing}" + ("" if count == 1 else "s")


def _listed(numbers: list[int]) -> str:
    shown = ", ".join(str(number) for number in numbers[:8])
    return shown + (f" and {len(numbers) - 8} more" if len(numbers) > 8 else "")
