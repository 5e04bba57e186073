"""Bad cells told one by one up to a limit, then counted: a spoiled column of a million rows stays readable."""

from __future__ import annotations

from dataclasses import dataclass

import polars

from trayside.app.ports import Fault
from trayside.files.text_table import DATE_MARK, TextTable

SHOWN = 20
LONGEST_READ = 80


@dataclass(frozen=True, slots=True)
class Flaw:
    """One way a cell can be wrong: the pattern that shows it, what is wrong and what to do."""

    pattern: str
    problem: str
    remedy: str


def flaws_found(
    text: TextTable, header: str, records: polars.Series, cells: polars.Series, flaws: tuple[Flaw, ...]
) -> list[Fault]:
    """Faults of the bad `cells` standing in `records`; the first pattern that fits names the flaw, the last fits all."""
    which = polars.lit(len(flaws) - 1, polars.UInt8)
    for number in range(len(flaws) - 2, -1, -1):
        fits = polars.col("cell").str.contains(flaws[number].pattern)
        which = polars.when(fits).then(polars.lit(number, polars.UInt8)).otherwise(which)
    bad = polars.DataFrame({"record": records, "cell": cells}).with_columns(which.alias("flaw"))
    faults = []
    for number in bad["flaw"].unique().sort():
        alike = bad.filter(polars.col("flaw") == number)
        faults += same_flaw(text, header, alike["record"], alike["cell"], flaws[number].problem, flaws[number].remedy)
    return faults


def same_flaw(
    text: TextTable, header: str, records: polars.Series, cells: polars.Series | None, problem: str, remedy: str
) -> list[Fault]:
    """One fault for each of the first records, and one that counts the rest."""
    faults = []
    for place, record in enumerate(records.head(SHOWN)):
        read = shortened(cells[place]) if cells is not None else None
        faults.append(Fault(text.name, text.line(record), header, read, problem, remedy))
    return faults + the_rest(text.name, header, len(records), problem, remedy)


def the_rest(table: str, header: str | None, count: int, problem: str, remedy: str) -> list[Fault]:
    """The fault that stands for all beyond the first SHOWN, if there are any."""
    if count <= SHOWN:
        return []
    return [Fault(table, None, header, None, f"and {count - SHOWN:,} more like the {SHOWN} shown: {problem}", remedy)]


def shortened(read: str | None) -> str | None:
    """What was read, short enough for one line."""
    if read is None:
        return None
    read = read.removeprefix(DATE_MARK)
    return read if len(read) <= LONGEST_READ else f"{read[: LONGEST_READ - 3]}..."
