"""What must hold between rows and between tables: keys, references, from above to, and the sums that cannot be.

What is merely odd (a run out of order, a tray number used twice) loads and becomes a finding later.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import numpy
import polars

from trayside.app.ports import Fault
from trayside.files.columns import TypedTable
from trayside.files.fault_list import SHOWN, same_flaw, shortened, the_rest
from trayside.files.text_table import closest
from trayside.model.rules import Rules
from trayside.model.tables import BY_NAME

NOTHING: Mapping[str, frozenset[str]] = MappingProxyType({})


def faults_between(
    typed: dict[str, TypedTable], rules: Rules | None, *, stored: Mapping[str, frozenset[str]] = NOTHING
) -> list[Fault]:
    """Every fault that shows only when rows or tables are compared. Without readable rules theirs are left out.

    `stored` holds keys of tables that are in the yard already; tables that could not be read are not in it.
    """
    faults = []
    for held in typed.values():
        faults += _rows_needed(held)
        faults += _doubled_keys(held)
        faults += _not_increasing(held)
        faults += _missing_references(held, typed, stored)
    if "rock" in typed and rules is not None:
        faults += _unknown_grade_classes(typed["rock"], rules)
    if "trays" in typed:
        faults += _wrong_row_ends(typed["trays"])
    if "density" in typed:
        faults += _density_without_masses(typed["density"])
    if "certified_values" in typed:
        faults += _certificates_that_say_nothing(typed["certified_values"])
    if "tickets" in typed:
        faults += _wrong_ticket_ranges(typed["tickets"]) + _wrong_voids(typed["tickets"])
    if "saws" in typed:
        faults += _saws_that_cannot_be(typed["saws"])
    return faults


def _rows_needed(held: TypedTable) -> list[Fault]:
    if not held.table.required or held.frame.height or not held.text.whole:
        return []
    return [
        Fault(
            held.table.name, None, None, None, "the table has a header and no rows", f"Enter them: {held.table.meaning}"
        )
    ]


def _stored(held: TypedTable, name: str) -> str:
    return held.table.column(name).stored[0]


def _doubled_keys(held: TypedTable) -> list[Fault]:
    """Rows whose key stands in an earlier row as well."""
    key = [_stored(held, name) for name in held.table.key]
    if not key or held.frame.height < 2:
        return []
    keys = held.frame.select(key)
    if _in_order(keys) or keys.n_unique() == keys.height:
        return []
    records = polars.int_range(keys.height, dtype=polars.Int64, eager=True).alias("_record")
    numbered = keys.with_columns(records).drop_nulls()
    again = numbered.with_columns(polars.col("_record").min().over(key).alias("_first")).filter(
        polars.col("_record") > polars.col("_first")
    )
    headers = [held.header(name) for name in held.table.key]
    remedy = "Delete one of the two rows, or correct what makes them equal"
    faults = []
    for record, first in again.select("_record", "_first").head(SHOWN).iter_rows():
        read = ", ".join(held.as_read(name, record) for name in held.table.key)
        problem = f"row {held.text.line(first)} has the same {' and '.join(headers)}"
        faults.append(
            Fault(held.table.name, held.text.line(record), ", ".join(headers), shortened(read), problem, remedy)
        )
    return faults + the_rest(
        held.table.name, ", ".join(headers), again.height, "rows with the key of an earlier row", remedy
    )


def _in_order(keys: polars.DataFrame) -> bool:
    """Whether each value of the first key stands in one block of rows, in which the second key increases.

    Tables are nearly always written so, and it is several times quicker to see than that no two rows are alike.
    """
    if keys.width != 2:
        return False
    first, second = keys.to_series(0), keys.to_series(1)
    begins = (first != first.shift(1)).fill_null(True)
    return begins.sum() == first.n_unique() and bool((begins | (second > second.shift(1))).fill_null(False).all())


def _not_increasing(held: TypedTable) -> list[Fault]:
    if held.table.increasing is None:
        return []
    top, bottom = held.table.increasing
    wrong = (held.frame[_stored(held, bottom)] <= held.frame[_stored(held, top)]).fill_null(False)
    header = held.header(bottom)
    problem = f"{header} is not greater than {held.header(top)}"
    return _flagged(held, wrong, (top, bottom), header, problem, "Exchange the two, or correct the wrong one")


def _flagged(held: TypedTable, wrong: polars.Series, shown: tuple[str, ...], header: str, problem: str, remedy: str):
    """Faults for the rows in `wrong`, reading the columns in `shown`."""
    if not wrong.any():
        return []
    records = wrong.arg_true()
    read = [" and ".join(held.as_read(name, record) or "empty" for name in shown) for record in records.head(SHOWN)]
    return same_flaw(held.text, header, records, polars.Series(read, dtype=polars.String), problem, remedy)


def _missing_references(
    held: TypedTable, typed: dict[str, TypedTable], stored: Mapping[str, frozenset[str]]
) -> list[Fault]:
    """Codes that stand in no row of the table they point to; a table that was not read in full is not asked."""
    faults = []
    for name, target in held.table.refers.items():
        if target in typed and not typed[target].text.whole:
            continue
        table = BY_NAME[target]
        # The rows of a hole come with its collar; what the whole yard shares may point to what came before.
        before = stored.get(target, frozenset()) if not (held.table.of_hole and table.of_hole) else frozenset()
        if target not in typed and not before:
            continue
        there = polars.Series(sorted(before), dtype=polars.String)
        if target in typed:
            there = there.append(typed[target].frame[table.key[0]].unique().drop_nulls())
        column = held.frame[name]
        unknown = column.unique().drop_nulls()
        unknown = unknown.filter(~unknown.is_in(there.implode()))
        if not len(unknown):
            continue
        records = column.is_in(unknown.implode()).fill_null(False).arg_true()
        header, known = held.header(name), there.to_list()
        nearest: dict[str, str | None] = {}
        for record in records.head(SHOWN):
            code = column[record]
            if code not in nearest:
                nearest[code] = closest(code, known)
            advice = f"Did you mean {nearest[code]}? " if nearest[code] else ""
            problem = f"the table {target} has no such {table.key[0]}"
            remedy = f"{advice}Correct it, or add it to {target}"
            faults.append(Fault(held.table.name, held.text.line(record), header, code, problem, remedy))
        faults += the_rest(
            held.table.name,
            header,
            len(records),
            f"not in the table {target}",
            f"Correct them, or add them to {target}",
        )
    return faults


def _unknown_grade_classes(rock: TypedTable, rules: Rules) -> list[Fault]:
    known = [grade_class.name for grade_class in rules.grade_classes]
    column = rock.frame["grade_class"]
    wrong = column.is_not_null() & ~column.is_in(known)
    remedy = f"Use one of: {', '.join(known)}; or add the class to rules.toml"
    return _flagged(rock, wrong, ("grade_class",), "grade_class", "rules.toml has no such grade class", remedy)


def _wrong_row_ends(trays: TypedTable) -> list[Fault]:
    """Depths of the row ends: one less than rows, inside the tray, and going the way the tray goes."""
    header = trays.header("row_ends")
    columns = ["row_ends_mm", "from_mm", "to_mm", "rows"]
    frame = trays.frame.select(columns).with_row_index("record").drop_nulls()
    if not frame.height:
        return []
    lists = frame["row_ends_mm"].str.split(" ")
    sizes = lists.list.len().to_numpy().astype(numpy.int64)
    ends = lists.explode().cast(polars.Int64).to_numpy()
    start, end = frame["from_mm"].to_numpy(), frame["to_mm"].to_numpy()
    firsts = numpy.concatenate(([0], numpy.cumsum(sizes)[:-1]))
    lowest, highest = numpy.minimum.reduceat(ends, firsts), numpy.maximum.reduceat(ends, firsts)
    step = numpy.diff(ends, append=ends[-1:])
    step[firsts[1:] - 1] = 0  # from the last row of one tray to the first of the next
    rises, falls = numpy.logical_or.reduceat(step > 0, firsts), numpy.logical_or.reduceat(step < 0, firsts)
    wrong_rows = {
        "count": sizes != frame["rows"].to_numpy() - 1,
        "place": (lowest < numpy.minimum(start, end)) | (highest > numpy.maximum(start, end)),
        # A tray whose tag runs uphole loads and is found later: its rows may go either way.
        "order": falls & (rises | (end > start)),
    }
    faults = []
    for flaw, shown, problem, remedy in (
        ("count", ("row_ends", "rows"), "the number of row ends is not the number of rows less one",
         "Give the depth at the end of each row but the last, or leave the cell empty"),
        ("place", ("row_ends", "from", "to"), "a row ends above the start or below the end of its tray",
         "Correct the depth, or the tag of the tray"),
        ("order", ("row_ends",), "the row ends do not go deeper from row to row", "Put them in the order of the rows"),
    ):  # fmt: skip
        wrong = frame["record"].filter(polars.Series(wrong_rows[flaw]))
        if len(wrong):
            read = [" and ".join(trays.as_read(name, record) for name in shown) for record in wrong.head(SHOWN)]
            faults += same_flaw(trays.text, header, wrong, polars.Series(read, dtype=polars.String), problem, remedy)
    return faults


def _density_without_masses(density: TypedTable) -> list[Fault]:
    dry, wet, value = (density.frame[name] for name in ("mass_dry_g", "mass_in_water_g", "density_t_m3"))
    masses = ("mass_dry_g", "mass_in_water_g")
    neither = (dry.is_null() | wet.is_null()) & value.is_null()
    for unread in density.unread.values():
        neither &= ~unread  # that cell has its own fault
    faults = _flagged(
        density, neither, (*masses, "density_t_m3"), "density_t_m3",
        "the row has neither both masses nor a density", "Enter the dry mass and the mass in water, or the density",
    )  # fmt: skip
    return faults + _flagged(
        density, (wet >= dry).fill_null(False), masses, "mass_in_water_g",
        "the mass in water is not less than the dry mass: the stick would have no volume", "Weigh it again, or exchange the two",
    )  # fmt: skip


def _certificates_that_say_nothing(held: TypedTable) -> list[Fault]:
    """A standard needs a content and the scatter of results about it; a blank may have an upper limit alone."""
    value, sd, limit = (held.frame[name] for name in ("certified", "performance_sd", "upper_limit"))
    nothing = (value.is_null() | sd.is_null()) & limit.is_null()
    for unread in held.unread.values():
        nothing &= ~unread  # that cell has its own fault
    faults = _flagged(
        held, nothing, ("certified", "performance_sd", "upper_limit"), "certified",
        "the row has neither a content with its standard deviation nor an upper limit",
        "Enter certified and performance_sd of a standard, or upper_limit of a blank",
    )  # fmt: skip
    zero = ((value == 0) | (sd == 0) | (limit == 0)).fill_null(False)
    return faults + _flagged(
        held, zero, ("certified", "performance_sd", "upper_limit"), "certified",
        "a content, standard deviation or limit of zero", "Leave the cell empty when the certificate does not give it",
    )  # fmt: skip


def _wrong_ticket_ranges(tickets: TypedTable) -> list[Fault]:
    first, last, digits = (tickets.frame[name] for name in ("first", "last", "digits"))
    faults = _flagged(
        tickets, (last < first).fill_null(False), ("first", "last"), "last",
        "the last number is below the first", "Exchange the two, or correct the wrong one",
    )  # fmt: skip
    too_long = (last.cast(polars.String).str.len_chars() > digits).fill_null(False)
    return faults + _flagged(
        tickets, too_long, ("last", "digits"), "digits",
        "the last number has more digits than the tickets", "Correct the number, or the digits printed on the tickets",
    )  # fmt: skip


def _saws_that_cannot_be(saws: TypedTable) -> list[Fault]:
    low, high, flange, blade = (
        saws.frame[name] for name in ("water_low_l_min", "water_high_l_min", "flange_diameter_mm", "largest_blade_mm")
    )
    faults = _flagged(
        saws, (low >= high).fill_null(False), ("water_low_l_min", "water_high_l_min"), "water_high_l_min",
        "the most water is not above the least", "Exchange the two, or correct the wrong one",
    )  # fmt: skip
    return faults + _flagged(
        saws, (flange >= blade).fill_null(False), ("flange_diameter_mm", "largest_blade_mm"), "flange_diameter_mm",
        "the flange is as large as the largest blade", "Correct the flange, or the blade the guard takes",
    )  # fmt: skip


def _wrong_voids(tickets: TypedTable) -> list[Fault]:
    """Spoiled numbers are whole numbers of their own book. Ticket books are few: one by one is fine."""
    faults = []
    for record, voids, first, last in (
        tickets.frame.with_row_index("record")
        .select("record", "voids", "first", "last")
        .drop_nulls("voids")
        .iter_rows()
    ):
        for word in voids.split():
            if not (word.isascii() and word.isdigit()):
                problem, remedy = "a spoiled number is not a whole number", "Write whole numbers separated by spaces"
            elif first is not None and last is not None and not first <= int(word[:20]) <= last:
                problem, remedy = (
                    f"a spoiled number lies outside {first} to {last}",
                    "Correct it, or put it with its own book",
                )
            else:
                continue
            faults.append(Fault("tickets", tickets.text.line(record), "voids", shortened(word), problem, remedy))
    rest = the_rest("tickets", "voids", len(faults), "spoiled numbers that cannot be", "Correct the column voids")
    return faults[:SHOWN] + rest
