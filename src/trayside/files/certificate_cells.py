"""The cells of a certificate laid out for reading: one row a line of samples, one row a result, by what the layout says."""

from __future__ import annotations

from dataclasses import dataclass, field

import polars

from trayside.files.certificate_layout import Layout
from trayside.files.certificate_words import mass_unit_of, role_of
from trayside.files.certificate_workbook import Grid

TICKET_LIKE = r"^[A-Za-z0-9][A-Za-z0-9._/+-]{0,29}$"
EMPTY = ""


@dataclass(frozen=True, slots=True, eq=False)
class CodeRead:
    """A kind of result in a long file: the texts that name it, and its limits where all its lines agree."""

    key: str
    element: str
    unit: str
    method: str
    lower: str
    upper: str


@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """`lines`: place, row, written, mark, rack, mass. `results`: place, key, raw_text (and own_low, own_high).

    Rows of `left_out` hold neither a number nor a result: titles, remarks, blank lines. `nameless` hold results.
    """

    lines: polars.DataFrame
    results: polars.DataFrame
    codes: tuple[CodeRead, ...] = ()
    left_out: int = 0
    nameless: tuple[int, ...] = ()
    mass_unit: str = ""
    mass_keys: tuple[str, ...] = field(default=())


def cells_of(grid: Grid, layout: Layout) -> Cells:
    """The lines and results of a table; `key` is the column's place, in a long file the name of the code."""
    if "number" not in layout.columns:
        return Cells(*_nothing())
    rows = _rows(grid, layout)
    return _long(rows, layout) if layout.kind == "long" else _wide(rows, layout)


def _nothing() -> tuple[polars.DataFrame, polars.DataFrame]:
    return (
        polars.DataFrame(schema={"place": polars.Int64, "row": polars.Int64, **_texts("written", "mark", "rack", "mass")}),
        polars.DataFrame(schema={"place": polars.Int64, **_texts("key", "raw_text")}),
    )


def _texts(*names: str) -> dict[str, type]:
    return dict.fromkeys(names, polars.String)


def _rows(grid: Grid, layout: Layout) -> polars.DataFrame:
    """Every row below the header that is no repetition of it and no line of limits, with its role columns."""
    frame = grid.cells_frame
    header = grid.text(layout.header_row, layout.columns["number"])
    taken = [row for row in layout.rows.values() if row is not None]
    own = {
        name: _cell(frame, layout.columns.get(role)).alias(name)
        for name, role in (("written", "number"), ("mark", "kind"), ("rack", "rack"), ("mass", "mass"))
    }
    rows = frame.with_columns(polars.int_range(polars.len(), dtype=polars.Int64).alias("row"), *own.values())
    rows = rows.slice(layout.first_row).filter(~polars.col("row").is_in(taken))
    return rows.filter((polars.col("written") != header) | (header == EMPTY)) if header else rows


def _cell(frame: polars.DataFrame, place: int | None) -> polars.Expr:
    """A column's texts without outer space; empty texts when there is no such column."""
    if place is None or place > frame.width:
        return polars.lit(EMPTY)
    return polars.col(f"c{place}").fill_null(EMPTY).str.strip_chars()


def _wide(rows: polars.DataFrame, layout: Layout) -> Cells:
    places = [place for place in layout.results if f"c{place}" in rows.columns]
    said = polars.any_horizontal([polars.col(f"c{place}").fill_null(EMPTY).str.contains(r"\S") for place in places] or [False])
    rows = rows.with_columns(said.alias("said"))
    number = polars.col("written")
    kept = rows.filter(polars.col("said") | (number.str.contains(TICKET_LIKE) & number.str.contains("[0-9]")))
    nameless = kept.filter(number == EMPTY)["row"].to_list()
    kept = kept.filter(number != EMPTY).with_columns(polars.int_range(1, polars.len() + 1, dtype=polars.Int64).alias("place"))
    results = (
        kept.select("place", *(polars.col(f"c{place}").alias(str(place)) for place in places))
        .unpivot(index="place", variable_name="key", value_name="raw_text")
        .with_columns(polars.col("raw_text").fill_null(EMPTY))
    )
    return Cells(
        kept.select("place", "row", "written", "mark", "rack", "mass"),
        results,
        left_out=rows.height - kept.height - len(nameless),
        nameless=tuple(nameless),
        mass_unit=layout.mass_unit,
    )


def _long(rows: polars.DataFrame, layout: Layout) -> Cells:
    """Each row is one result: rows of one number, mark and turn make a line, in the order they first stand."""
    columns = layout.columns
    rows = rows.with_columns(
        *(
            _cell(rows, columns.get(role)).alias(role)
            for role in ("element", "unit", "method", "lower", "upper", "qualifier", "value")
        )
    )
    blank = (polars.col("written") == EMPTY) & (polars.col("element") == EMPTY)
    left_out = rows.filter(blank).height
    rows = rows.filter(~blank)
    no_name = (polars.col("written") == EMPTY) | (polars.col("element") == EMPTY)
    nameless = rows.filter(no_name & (polars.col("value") != EMPTY))["row"].to_list()
    left_out += rows.filter(no_name & (polars.col("value") == EMPTY)).height
    rows = rows.filter(~no_name)
    code = polars.concat_str(["element", "unit", "method"], separator=" ").str.replace_all(r"\s+", " ").str.strip_chars()
    rows = rows.with_columns(code.alias("key"))
    # Numbers in the place of texts: a million texts are compared four times below.
    told = [polars.col(name).rank("dense").cast(polars.UInt64) for name in ("written", "mark", "rack", "key")]
    sizes = [rows[name].n_unique() + 1 for name in ("mark", "rack", "key")]
    line = (told[0] * sizes[0] + told[1]) * sizes[1] + told[2]
    rows = rows.with_columns(line.alias("line")).with_columns((polars.col("line") * sizes[2] + told[3]).alias("once"))
    again = rows["once"].n_unique() < rows.height
    turn = polars.int_range(polars.len()).over("once") if again else polars.lit(0, polars.Int64)
    rows = rows.with_columns(turn.alias("turn"))
    lines = (
        rows.group_by("line", "turn", maintain_order=True)
        .agg(polars.col("row", "written", "mark", "rack", "mass").first())
        .with_columns(polars.int_range(1, polars.len() + 1, dtype=polars.Int64).alias("place"))
    )
    rows = rows.join(lines.select("place", "line", "turn"), on=["line", "turn"], how="left", maintain_order="left")
    codes, mass_keys, mass_unit = _codes(rows)
    signed = polars.col("qualifier").is_in(["<", ">", "<=", ">="])
    raw = (
        polars.when(polars.col("qualifier") == EMPTY)
        .then("value")
        .when(signed)
        .then(polars.col("qualifier") + polars.col("value").str.strip_chars_start("<> "))
        .otherwise(polars.col("qualifier") + " " + polars.col("value"))
    )
    if mass_keys:
        weighed = rows.filter(polars.col("key").is_in(mass_keys)).select("place", polars.col("value").alias("weighed"))
        weighed = weighed.unique("place", keep="first", maintain_order=True)
        lines = lines.join(weighed, on="place", how="left", maintain_order="left").with_columns(
            polars.coalesce("weighed", "mass").alias("mass")
        )
        rows = rows.filter(~polars.col("key").is_in(mass_keys))
    results = rows.with_columns(raw.alias("raw_text"))
    own = {one.key for one in codes if one.lower == VARIES or one.upper == VARIES}
    if own:
        varies = {side: [one.key for one in codes if getattr(one, side) == VARIES] for side in ("lower", "upper")}
        results = results.with_columns(
            polars.when(polars.col("key").is_in(varies["lower"]) & (polars.col("lower") != EMPTY)).then("lower").alias("own_low"),
            polars.when(polars.col("key").is_in(varies["upper"]) & (polars.col("upper") != EMPTY)).then("upper").alias("own_high"),
        )
    wanted = ["place", "key", "raw_text", *(("own_low", "own_high") if own else ())]
    return Cells(
        lines.select("place", "row", "written", "mark", "rack", "mass"),
        results.select(wanted),
        codes,
        left_out,
        tuple(nameless),
        mass_unit or layout.mass_unit,
        mass_keys,
    )


VARIES = "\0varies"
"""Stands for a limit that is not the same on all lines of a code: it then stays with each result."""


def _codes(rows: polars.DataFrame) -> tuple[tuple[CodeRead, ...], tuple[str, ...], str]:
    """The codes in the order they first stand; those that are a received mass apart, with their unit."""
    codes, masses, mass_unit = [], [], ""
    grouped = rows.group_by("key", maintain_order=True).agg(
        polars.col("element", "unit", "method").first(),
        polars.col("lower", "upper").n_unique().name.suffix("_kinds"),
        polars.col("lower", "upper").first(),
    )
    for one in grouped.iter_rows(named=True):
        if role_of(one["element"]) == "mass":
            masses.append(one["key"])
            mass_unit = mass_unit or mass_unit_of(one["unit"]) or mass_unit_of(one["element"])
            continue
        lower = one["lower"] if one["lower_kinds"] == 1 else VARIES
        upper = one["upper"] if one["upper_kinds"] == 1 else VARIES
        codes.append(CodeRead(one["key"], one["element"], one["unit"], one["method"], lower, upper))
    return tuple(codes), tuple(masses), mass_unit
