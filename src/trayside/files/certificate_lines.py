"""The lines of a certificate: sample numbers as the yard writes them, and which lines are the laboratory's own."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import polars

from trayside.files.certificate_words import KIND_MARKS, NAME_STARTS, SUFFIX_WORDS
from trayside.model.assay import LINE_KINDS

STARTS = re.compile(rf"({'|'.join(sorted(map(re.escape, NAME_STARTS), key=len, reverse=True))})(?=[\s_\-/.:#0-9]|$)")
NOT_TOLD = "unknown mark"
PLAIN = r"^[A-Za-z]{0,6}[0-9]+$"
READ = dict.fromkeys(("written", "mark", "number", "line_kind", "why"), polars.String)


@dataclass(frozen=True)
class LineRules:
    """How lines are told apart: marks of a column, words beside a number, beginnings of names. Settlements add to them.

    A settlement `mark:DUP` = "pulp duplicate" reads a mark, `suffix:A` a word beside the number, `start:XY` a beginning.
    """

    marks: Mapping[str, str]
    suffixes: Mapping[str, str]
    starts: Mapping[str, str]
    by_suffix: bool = True
    by_start: bool = True

    @cached_property
    def behind(self) -> re.Pattern[str]:
        return re.compile(rf"(.*?[0-9A-Z])[\s_\-/.(*:#]+({self._words})[\s_\-/.]*[0-9]?\)?")

    @cached_property
    def before(self) -> re.Pattern[str]:
        return re.compile(rf"({self._words})[\s_\-/.:#]+(\S.*)")

    @property
    def _words(self) -> str:
        return "|".join(re.escape(word) for word in sorted(self.suffixes, key=len, reverse=True)) or "(?!)"

    def of_mark(self, mark: str) -> str | None:
        """The kind a mark stands for; None when it is none or nobody knows it."""
        return self.marks.get(" ".join(mark.upper().replace("_", " ").split())) if mark else None


@dataclass(frozen=True, slots=True)
class LineRead:
    """A number and what its line is; `why` when its mark is not known."""

    number: str
    line_kind: str
    why: str = ""


def line_rules(settled: Mapping[str, str]) -> LineRules:
    """The rules with the settlements of this laboratory put in."""
    marks, suffixes, starts = dict(KIND_MARKS), dict(SUFFIX_WORDS), {}
    for key, text in settled.items():
        head, _, word = key.partition(":")
        table = {"mark": marks, "suffix": suffixes, "start": starts}.get(head)
        if table is not None and word.strip():
            table.pop(word.strip().upper(), None)
            if text.strip() in LINE_KINDS:
                table[word.strip().upper()] = text.strip()
    return LineRules(
        marks,
        suffixes,
        starts,
        by_suffix=settled.get("own_by_suffix", "yes") != "no",
        by_start=settled.get("own_by_start", "yes") != "no",
    )


def read_line(written: str, mark: str, rules: LineRules) -> LineRead:
    """The number of a line without what the laboratory put beside it, and the kind of line."""
    tidy = " ".join(written.split())
    kind = rules.of_mark(mark)
    if kind == "sample":  # the mark settles it: what looks like a suffix is part of the number
        return LineRead(tidy, "sample")
    number, beside = _parted(tidy, rules) if rules.by_suffix else (tidy, None)
    if kind is not None:
        return LineRead(number if kind.endswith("duplicate") else tidy, kind)
    why = f"{NOT_TOLD} {mark[:40]!r}" if mark else ""
    if beside is not None:
        return LineRead(number, beside, why)
    upper = tidy.upper()
    own = next((kind for start, kind in rules.starts.items() if upper.startswith(start)), None)
    if own is None and rules.by_start:
        found = STARTS.match(upper)
        own = NAME_STARTS[found[1]] if found else None
    return LineRead(tidy, own or "sample", why)


def _parted(tidy: str, rules: LineRules) -> tuple[str, str | None]:
    """The number alone and what the word beside it says; the whole text when there is no such word."""
    upper = tidy.upper()
    found = rules.behind.fullmatch(upper)
    if found and re.search("[0-9]", found[1]):
        return tidy[: found.end(1)], rules.suffixes[found[2]]
    found = rules.before.fullmatch(upper)
    if found and re.search("[0-9]", found[2]):
        return tidy[found.start(2) :], rules.suffixes[found[1]]
    return tidy, None


def read_lines(lines: polars.DataFrame, rules: LineRules) -> polars.DataFrame:
    """Number, kind and doubt (READ) of each distinct pair of `written` and `mark`.

    A number of letters and digits alone has nothing beside it: its mark says all, and is read once for all of them.
    """
    pairs = lines.select("written", "mark").unique(maintain_order=True)
    marks = polars.DataFrame(
        [
            (mark, rules.of_mark(mark) or "sample", f"{NOT_TOLD} {mark[:40]!r}" if mark and not rules.of_mark(mark) else "")
            for mark in pairs["mark"].unique()
        ],
        schema=dict.fromkeys(("mark", "line_kind", "why"), polars.String),
        orient="row",
    )
    upper = polars.col("written").str.to_uppercase()
    starts = [*rules.starts, *(NAME_STARTS if rules.by_start else ())]
    own = polars.any_horizontal([polars.lit(False), *(upper.str.starts_with(start) for start in starts)])
    plain = polars.col("written").str.contains(PLAIN) & ~own
    quick = pairs.filter(plain).join(marks, on="mark", how="left", maintain_order="left")
    quick = quick.select("written", "mark", polars.col("written").alias("number"), "line_kind", "why")
    slow = []
    for written, mark in pairs.filter(~plain).iter_rows():
        one = read_line(written, mark, rules)
        slow.append((written, mark, one.number, one.line_kind, one.why))
    return polars.concat([quick, polars.DataFrame(slow, schema=READ, orient="row")])
