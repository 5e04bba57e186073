"""A laboratory's file from its bytes to results: opened once, proposed as often as settlements change, read once."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

import polars

from trayside.app.certificate_reading import CertificateRead, PreviewLine, Proposal, Question, ResultColumn
from trayside.app.ports import Fault
from trayside.core.assay_value import CENSORS, WORDS, ReadingRules
from trayside.errors import LoadRefused
from trayside.files.certificate_about import first_words, read_date, said_about
from trayside.files.certificate_cells import Cells, cells_of
from trayside.files.certificate_columns import ppm_per_unit, settle_columns, stated_columns
from trayside.files.certificate_faults import faults_of
from trayside.files.certificate_layout import Layout, find_layout
from trayside.files.certificate_lines import line_rules, read_line
from trayside.files.certificate_sheet import NAME, CertificateFile, open_certificate, refused
from trayside.files.certificate_table import MASS_UNITS_ASKED, lines_frame, own_marks
from trayside.files.certificate_values import beyond_all, preferred, read_results
from trayside.files.certificate_workbook import Grid
from trayside.files.certificate_writing import decimal_mark, negatives, unread_words
from trayside.model.assay import Analyte, ColumnMapping

PREVIEW_LINES, PREVIEW_COLUMNS = 8, 12
OF_ROWS = ("header_row", "first_row", "unit_row", "method_row", "lower_row", "upper_row")


def open_file(raw: bytes, *, source: str) -> OpenedFile:
    """`app.certificate_reading.OpenCertificate` for CSV and XLSX."""
    return OpenedFile(raw, open_certificate(raw, source=source))


@dataclass(frozen=True, slots=True, eq=False)
class _Looked:
    """A sheet looked at under some settlements."""

    grid: Grid
    layout: Layout
    cells: Cells


@dataclass(slots=True, eq=False)
class OpenedFile:
    """`app.certificate_reading.OpenedCertificate`. What was laid out once is kept, as long as its settlements stand."""

    _raw: bytes
    _file: CertificateFile
    _kept: dict[str, object] = field(default_factory=dict)

    @property
    def source(self) -> str:
        return self._file.source

    @property
    def sha256(self) -> str:
        return self._file.sha256

    def propose(self, settled: Mapping[str, str], *, remembered: Sequence[ColumnMapping] = ()) -> Proposal:
        settled = {key: text.strip() for key, text in settled.items() if text.strip()}
        fits, changed = self._remembered(settled, remembered)
        if fits is not None:
            settled = _kept_settlements(fits) | settled
            settled.setdefault("laboratory", fits.laboratory)
        elif changed:
            laboratory = settled.get("laboratory") or self._laboratory(settled)
            closest = next(one for one in remembered if one.laboratory == laboratory)
            old = {k: v for k, v in _kept_settlements(closest).items() if ":" not in k or k.split(":")[0] in OF_LINES}
            settled = {k: v for k, v in old.items() if not k.endswith(("_column", "_row"))} | settled
        return self._propose(settled, remembered=fits is not None, changed=changed)

    def read(self, proposal: Proposal) -> CertificateRead:
        looked = self._looked(proposal.settled)
        faults = faults_of(looked.grid, looked.layout, looked.cells, form=self._file.form)
        rules = reading_rules(proposal.settled)
        lines, line_notes, more = lines_frame(looked.grid, looked.cells, proposal.settled, rules)
        faults += more
        if faults:
            raise refused(self.source, faults)
        analytes = tuple(
            Analyte(
                column=number,
                element=one.element,
                unit=one.unit,
                method=one.method,
                lower_limit=one.lower_limit,
                upper_limit=one.upper_limit,
                ppm_per_unit=ppm_per_unit(one.unit),
                as_written=one.as_written,
            )
            for number, one in enumerate(proposal.used, start=1)
        )
        numbers = {one.key: number for number, one in enumerate(proposal.used, start=1)}
        # An empty cell is nothing: no result was reported, and none is stored.
        results = looked.cells.results.filter(
            polars.col("key").is_in(list(numbers)) & polars.col("raw_text").str.contains(r"\S")
        )
        results = results.with_columns(
            polars.col("key").replace_strict(numbers, return_dtype=polars.Int64).alias("column")
        ).drop("key")
        values, notes = read_results(results, analytes=analytes, rules=rules)
        notes = polars.concat([notes, beyond_all(values, analytes)])
        chosen = [numbers[key] for key in numbers if proposal.settled.get(f"preferred:{key}") == "yes"]
        values = preferred(values, analytes=analytes, chosen=chosen)
        return CertificateRead(analytes, lines, values, notes, line_notes)

    # what a proposal rests on

    def _looked(self, settled: Mapping[str, str]) -> _Looked:
        structure = {key: text for key, text in settled.items() if _of_structure(key)}
        token = json.dumps(structure, sort_keys=True)
        held = self._kept.get("token")
        if held != token:
            self._kept = {"token": token, "looked": self._look(structure)}
        return self._kept["looked"]

    def _look(self, settled: Mapping[str, str]) -> _Looked:
        file = self._file
        delimiter = {"comma": ",", "semicolon": ";", "tab": "\t", "bar": "|"}.get(settled.get("delimiter", ""), "")
        if delimiter and file.form == "csv" and delimiter != file.delimiter:
            file = open_certificate(self._raw, source=self.source, delimiter=delimiter)
        found = []
        for grid in file.grids:
            if settled.get("sheet") and file.form == "xlsx" and grid.title != settled["sheet"]:
                continue
            layout = find_layout(grid, settled)
            if layout is not None:
                found.append((layout.score, grid, layout))
        if not found:
            problem = "no line names elements and no column names samples: this does not look like a table of results"
            remedy = "Look at the file; a settlement header_row=LINE names the header, delimiter=semicolon what parts the cells"
            raise refused(self.source, [Fault(NAME, None, None, None, problem, remedy)])
        _, grid, layout = max(found, key=lambda one: one[0])
        return _Looked(grid, layout, cells_of(grid, layout))

    def _signature(self, settled: Mapping[str, str]) -> tuple[str, ...]:
        """The header in words: by it a remembered mapping is recognised."""
        looked = self._looked(settled)
        grid, layout = looked.grid, looked.layout
        said = []
        for place in range(1, grid.width + 1):
            parts = [grid.text(layout.header_row, place)]
            if layout.kind == "wide":
                parts += [grid.text(row, place) for key in ("unit_row", "method_row") if (row := layout.rows[key]) is not None]
            if any(parts):
                said.append(f"{place}: " + " | ".join(" ".join(part.split()) for part in parts))
        return (layout.kind, *said)

    def _remembered(
        self, settled: Mapping[str, str], remembered: Sequence[ColumnMapping]
    ) -> tuple[ColumnMapping | None, tuple[str, ...]]:
        """The mapping that still fits; or, when there is one of this laboratory that does not, what changed."""
        laboratory = settled.get("laboratory") or self._laboratory(settled)
        own = [one for one in remembered if not laboratory or one.laboratory == laboratory]
        for one in own:
            others = {other.laboratory for other in own if other.header_digest == one.header_digest}
            if self._fits(one, settled) and (laboratory or len(others) == 1):
                return one, ()
        if not laboratory or not own:
            return None, ()
        return None, _differences(own, self._signature(settled))

    def _fits(self, mapping: ColumnMapping, settled: Mapping[str, str]) -> bool:
        """Whether the file has the header of this mapping, where it is found anew or where the mapping looked for it."""
        kept = {key: text for key, text in _kept_settlements(mapping).items() if _of_structure(key)}
        found_anew = {key: text for key, text in kept.items() if key not in OF_ROWS}
        for tried in [found_anew, kept] if found_anew != kept else [kept]:
            try:
                if digest_of(self._signature(tried | dict(settled))) == mapping.header_digest:
                    return True
            except LoadRefused:
                continue
        return False

    def _laboratory(self, settled: Mapping[str, str]) -> str:
        looked = self._looked(settled)
        return said_about(looked.grid, looked.layout.header_row).get("laboratory", ("", 0))[0]

    def _propose(self, settled: dict[str, str], *, remembered: bool, changed: tuple[str, ...]) -> Proposal:
        looked = self._looked(settled)
        grid, layout, cells = looked.grid, looked.layout, looked.cells
        reasons = [*self._file.noticed, *layout.reasons]
        if len(self._file.grids) > 1:
            reasons.insert(0, f"sheet {grid.title!r} of {len(self._file.grids)}")
        if self._file.form == "csv":
            reasons.insert(0, f"cells parted by {'tab' if self._file.delimiter == chr(9) else self._file.delimiter!r}")
        if cells.left_out:
            reasons.append(f"{cells.left_out} lines hold neither a number nor a result and are left out")
        questions = []
        if "number" not in layout.columns:
            places = [(str(p), f"{p}: {grid.text(layout.header_row, p)}") for p in range(1, min(grid.width, 40) + 1)]
            questions.append(Question("number_column", "Which column holds the sample numbers?", tuple(places)))
        if layout.kind == "long" and not {"element", "value"} <= layout.columns.keys():
            questions.append(Question("element_column", "Which column holds the element, which the result (value_column)?"))
        about, asked = self._about(settled, looked)
        questions += asked
        mark, asked, why = decimal_mark(cells, settled)
        settled["decimal_mark"] = mark
        questions += asked
        reasons += why
        rules = reading_rules(settled)
        columns, asked = settle_columns(stated_columns(grid, layout, cells), settled, rules=rules)
        questions += asked
        if not any(column.used for column in columns):
            questions.append(Question("layout", "No column of results is known: name one, like element:3=Au"))
        if cells.lines["mass"].str.contains("[0-9]").any() and cells.mass_unit not in MASS_UNITS_ASKED:
            choices = tuple((unit, unit) for unit in MASS_UNITS_ASKED)
            questions.append(Question("mass_unit", "In which unit are the received masses?", choices))
        questions += negatives(cells, columns, settled, rules)
        reasons += unread_words(cells, columns, rules)
        reasons += own_marks(cells, line_rules(settled))
        header = self._signature(settled)
        proposal = Proposal(
            source=self.source,
            sha256=self.sha256,
            form=self._file.form,
            layout=layout.kind,
            laboratory=about["laboratory"],
            job=about["job"],
            reported_at=about["reported"],
            settled=settled,
            columns=columns,
            header=header,
            header_digest=digest_of(header),
            reasons=tuple(reasons),
            questions=tuple(dict((one.key, one) for one in questions).values()),
            places=_places(grid, layout),
            lines=cells.lines.height,
            values=cells.results.height,
            remembered=remembered,
            changed=changed,
        )
        return replace(proposal, preview=_preview(looked, proposal, rules))

    def _about(
        self, settled: dict[str, str], looked: _Looked
    ) -> tuple[dict[str, str | datetime | None], list[Question]]:
        said = said_about(looked.grid, looked.layout.header_row)
        questions = []
        found: dict[str, str | datetime | None] = {}
        for role, asks in (("laboratory", "Which laboratory reported it?"), ("job", "Which job of the laboratory is it?")):
            text = settled.get(role) or said.get(role, ("", 0))[0]
            found[role] = " ".join(text.split())[:80]
            if not found[role]:
                proposed = first_words(looked.grid, looked.layout.header_row) if role == "laboratory" else ""
                questions.append(Question(role, asks, proposed=proposed))
        text = settled.get("reported") or said.get("reported", ("", 0))[0]
        found["reported"] = read_date(text, order=settled.get("date_order", "")) if text else None
        if found["reported"] is None:
            why = f"{text[:30]!r} is no certain day" if text else "it is not written"
            questions.append(Question("reported", f"When was it reported ({why})? Type it like 2031-05-04"))
        return found, questions


OF_LINES = ("mark", "suffix", "start", "word")


def _of_structure(key: str) -> bool:
    """Whether a settlement changes where things stand, and not only how they are read."""
    return key in ("sheet", "delimiter", "layout", "mass_unit", *OF_ROWS) or key.endswith("_column") or key.startswith("element:")


def _kept_settlements(mapping: ColumnMapping) -> dict[str, str]:
    return {str(key): str(text) for key, text in dict(mapping.more.get("settled", {})).items()}


def reading_rules(settled: Mapping[str, str]) -> ReadingRules:
    """How texts are read under these settlements. A settlement `word:XYZ` = "not_analysed" adds a word."""
    words = dict(WORDS)
    for key, text in settled.items():
        if key.startswith("word:") and text in CENSORS:
            words[key.removeprefix("word:").strip().upper()] = text
            words[key.removeprefix("word:").strip()] = text
    mark, negative = settled.get("decimal_mark", "."), settled.get("negative", "ask")
    return ReadingRules(
        decimal_mark=mark if mark in (".", ",") else "ask",
        negative=negative if negative in ("limit", "number") else "ask",
        words=words,
    )


def digest_of(header: Sequence[str]) -> str:
    return hashlib.sha256(json.dumps(list(header), ensure_ascii=False).encode()).hexdigest()


def _differences(own: Sequence[ColumnMapping], header: tuple[str, ...]) -> tuple[str, ...]:
    """What differs from the mapping of this laboratory that is most like it."""
    closest = max(own, key=lambda one: len(set(one.more.get("header", [])) & set(header)))
    before = [str(line) for line in closest.more.get("header", [])]
    old = dict(line.split(": ", 1) for line in before if ": " in line)
    new = dict(line.split(": ", 1) for line in header if ": " in line)
    said = [] if before[:1] == list(header[:1]) else [f"each line was read as {before[:1]}, now {header[0]}"]
    for place, text in new.items():
        if place not in old:
            said.append(f"column {place} is new: {text}")
        elif old[place] != text:
            said.append(f"column {place} was {old[place]!r}, is {text!r}")
    said += [f"column {place} is gone: {text}" for place, text in old.items() if place not in new]
    return tuple(said) or ("the header is written otherwise",)


def _places(grid: Grid, layout: Layout) -> dict[str, int | str]:
    places: dict[str, int | str] = {"sheet": grid.title} if grid.title else {}
    places["header_row"] = grid.line(layout.header_row)
    places |= {key: grid.line(row) for key, row in layout.rows.items() if row is not None}
    if layout.first_row < grid.height:
        places["first_row"] = grid.line(layout.first_row)
    return places | {f"{role}_column": place for role, place in layout.columns.items()}


def _preview(looked: _Looked, proposal: Proposal, rules: ReadingRules) -> tuple[PreviewLine, ...]:
    """The first lines as they stand, each cell beside how it would be read."""
    columns: list[ResultColumn] = list(proposal.used)[:PREVIEW_COLUMNS]
    analytes = [Analyte(n, c.element, c.unit, c.method, c.lower_limit, c.upper_limit) for n, c in enumerate(columns, 1)]
    lines = looked.cells.lines.head(PREVIEW_LINES)
    numbers = {column.key: n for n, column in enumerate(columns, 1)}
    results = looked.cells.results.filter(
        polars.col("place").is_in(lines["place"].implode()) & polars.col("key").is_in(list(numbers))
    ).with_columns(polars.col("key").replace_strict(numbers, return_dtype=polars.Int64, default=0).alias("column"))
    if rules.decimal_mark == "ask" or any(q.key.startswith(("upper:", "lower:")) for q in proposal.questions):
        read = {}
    else:
        values, _ = read_results(results.drop("key"), analytes=analytes, rules=rules)
        read = {(row["place"], row["column"]): row for row in values.iter_rows(named=True)}
    raw = {(row["place"], row["column"]): row["raw_text"] for row in results.iter_rows(named=True)}
    told = line_rules(proposal.settled)
    found = []
    for line in lines.iter_rows(named=True):
        kind = read_line(line["written"], line["mark"], told)
        cells = tuple(
            (raw.get((line["place"], n), ""), said_of(read.get((line["place"], n)), columns[n - 1].unit))
            for n in range(1, len(columns) + 1)
        )
        found.append(PreviewLine(looked.grid.line(line["row"]), kind.number, kind.line_kind, cells))
    return tuple(found)


CENSOR_SAID = {
    "not_detected": "not detected", "not_analysed": "no result", "insufficient": "too little sample",
    "listed_not_received": "not received", "review": "cannot be read",
}  # fmt: skip


def said_of(row: Mapping | None, unit: str) -> str:
    """A result as it would be read, in words."""
    if row is None:
        return ""
    unit = unit.strip("[]{}")
    sign = {"none": "", "lt": "below ", "gt": "above "}.get(row["censor"])
    return CENSOR_SAID[row["censor"]] if sign is None or row["value"] is None else f"{sign}{row['value']:.10g} {unit}".strip()
