"""How one file writes its numbers: decimal mark, negative numbers, words nobody knows. Proposed, or asked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import polars

from trayside.app.certificate_reading import Question, ResultColumn
from trayside.core.assay_value import REVIEW, ReadingRules, propose_decimal_mark, read_assay_value
from trayside.files.certificate_cells import Cells

MOST_DISTINCT = 5_000
MARK_SAID = {".": "point", ",": "comma"}
NEGATIVE = r"^\s*[-\x{2212}]\s*[0-9.,]"


def decimal_mark(cells: Cells, settled: Mapping[str, str]) -> tuple[str, list[Question], list[str]]:
    """The mark of the file, the question when it is not certain, and why."""
    commas = cells.results.filter(polars.col("raw_text").str.contains(",", literal=True))["raw_text"]
    dots = cells.results.filter(polars.col("raw_text").str.contains(".", literal=True))["raw_text"]
    some = commas.unique(maintain_order=True).head(MOST_DISTINCT).to_list()
    some += dots.unique(maintain_order=True).head(MOST_DISTINCT).to_list()
    certain = propose_decimal_mark(some)
    asked = settled.get("decimal_mark", "")
    if asked in MARK_SAID and (certain in ("ask", asked) or not some):
        return asked, [], []
    if not commas.len():
        return ".", [], []
    if certain in MARK_SAID and asked not in MARK_SAID:
        return certain, [], [f"the decimal mark is a {MARK_SAID[certain]}: {_example(some, certain)}"]
    choices = ((".", "point: 1,234.5"), (",", "comma: 1.234,5"))
    example = next(iter(some), "")
    if asked in MARK_SAID:
        asks = f"The decimal mark was a {MARK_SAID[asked]}, but this file writes {_example(some, certain)!r}: which is it?"
        return "ask", [Question("decimal_mark", asks, choices, certain)], []
    return "ask", [Question("decimal_mark", f"Is the comma in {example!r} a decimal mark?", choices)], []


def _example(texts: Sequence[str], mark: str) -> str:
    return next((text for text in texts if mark in text and propose_decimal_mark([text]) == mark), "")


def negatives(
    cells: Cells, columns: Sequence[ResultColumn], settled: Mapping[str, str], rules: ReadingRules
) -> list[Question]:
    """Asked once a file: what a negative number means that is neither the stated limit nor a mark for no result."""
    if settled.get("negative") in ("limit", "number"):
        return []
    limits = {column.key: column.lower_limit for column in columns if column.used}
    found = (
        cells.results.filter(polars.col("raw_text").str.contains(NEGATIVE) & polars.col("key").is_in(list(limits)))
        .group_by("key", "raw_text", maintain_order=True)
        .len()
    )
    asking = replace(rules, negative="ask")
    open_ones = [
        (raw, count)
        for key, raw, count in found.iter_rows()
        if read_assay_value(raw, lower_limit=limits[key], rules=asking).censor == REVIEW
    ]
    if not open_ones:
        return []
    count = sum(count for _, count in open_ones)
    said = ", ".join(dict.fromkeys(raw for raw, _ in open_ones[:5]))
    asks = f"{count} results are negative and not the stated limit ({said}): what do they mean?"
    choices = (("limit", "below the limit of that size"), ("number", "true negative numbers"))
    return [Question("negative", asks, choices, "limit")]


def unread_words(cells: Cells, columns: Sequence[ResultColumn], rules: ReadingRules) -> list[str]:
    """Texts that hold no digit and are no known word: they stay as they are, for a person to look at."""
    used = [column.key for column in columns if column.used]
    texts = (
        cells.results.filter(
            polars.col("key").is_in(used)
            & polars.col("raw_text").str.contains(r"\S")
            & ~polars.col("raw_text").str.contains("[0-9]")
        )["raw_text"]
        .value_counts(sort=True)
        .head(MOST_DISTINCT)
    )
    found = [(text, n) for text, n in texts.iter_rows() if read_assay_value(text, rules=rules).censor == REVIEW]
    said = [f"{text[:30]!r} ({n})" for text, n in found[:8]]
    return [f"texts that say nothing known: {', '.join(said)}; a settlement word:TEXT=not_analysed settles one"] if said else []
