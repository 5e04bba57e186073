"""Take a yard folder in: all of it or nothing, and a second time changes nothing."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from trayside.app.check_yard import check_yard
from trayside.app.ports import Progress, ReadFolder, StartWork, YardFolder
from trayside.app.shared_tables import store_shared, stored_yard
from trayside.model import tables
from trayside.model.finding import Finding
from trayside.model.finding_kinds import found

UNCHECKED = "This hole was loaded and its checks have not run"
PER_HOLE = tuple(table.name for table in tables.TABLES if table.of_hole)


@dataclass(frozen=True, slots=True)
class LoadReport:
    """What a load changed. What stood in the yard but not in the folder is left as it is.

    `shared_words` says of each of `tables_changed` what became of its rows.
    """

    holes_new: tuple[str, ...]
    holes_changed: tuple[str, ...]
    holes_unchanged: int
    tables_changed: tuple[str, ...]
    shared_words: tuple[str, ...]
    rows: dict[str, int]
    findings: tuple[Finding, ...]

    @property
    def changed_anything(self) -> bool:
        return bool(self.holes_new or self.holes_changed or self.tables_changed)


def load_yard(
    folder: Path, *, read_folder: ReadFolder, start_work: StartWork, progress: Progress = lambda done, of, what: None
) -> LoadReport:
    """Read and validate the folder, store what is new in one transaction, then check what changed in a second.

    Until it is checked a hole carries a finding that says so and keeps it from being planned.
    """
    progress(0, 4, "reading and validating the folder")
    with start_work(writing=False) as work:
        stored = stored_yard(work)
    read = read_folder(folder, stored=stored)
    progress(1, 4, "comparing with what is stored")
    digests = hole_digests(read)
    with start_work() as work:
        known = work.hole_digests()
        fresh = {hole_id: digest for hole_id, digest in digests.items() if known.get(hole_id) != digest}
        progress(2, 4, f"storing {len(fresh)} holes")
        shared = store_shared(read, work)
        if fresh:
            work.replace_holes(_only(read, fresh, everything=len(fresh) == len(digests)), fresh)
        to_check = work.hole_ids() if shared else tuple(fresh)
        work.file_with_hole(found("hole.unchecked", UNCHECKED, hole_id=hole_id) for hole_id in to_check)
        work.commit()
    progress(3, 4, "checking")
    findings: tuple[Finding, ...] = ()
    if to_check:
        with start_work() as work:
            findings = check_yard(work, hole_ids=to_check, unplanned=fresh.keys() - known.keys())
            work.commit()
    progress(4, 4, "done")
    return LoadReport(
        holes_new=tuple(hole_id for hole_id in fresh if hole_id not in known),
        holes_changed=tuple(hole_id for hole_id in fresh if hole_id in known),
        holes_unchanged=len(digests) - len(fresh),
        tables_changed=tuple(change.table for change in shared),
        shared_words=tuple(change.words for change in shared),
        rows={name: frame.height for name, frame in read.tables.items()},
        findings=findings,
    )


def hole_digests(read: YardFolder) -> dict[str, str]:
    """SHA-256 per hole over all its rows in all tables, so that an unchanged hole is seen as such."""
    holes = read.tables["holes"]["hole_id"].to_list()
    texts: dict[str, list[str]] = {hole_id: [] for hole_id in holes}
    for name in PER_HOLE:
        frame = read.tables.get(name)
        if frame is None or frame.height == 0:
            continue
        row_text = pl.concat_str(pl.all().cast(pl.String).fill_null("\x00"), separator="\x1f")
        joined = (
            frame.select("hole_id", row=row_text)
            .group_by("hole_id", maintain_order=True)
            .agg(pl.col("row").str.join("\x1e"))
        )
        for hole_id, rows in joined.iter_rows():
            texts[hole_id].append(f"{name}\x1d{rows}")
    return {hole_id: hashlib.sha256("\x1c".join(parts).encode()).hexdigest() for hole_id, parts in texts.items()}


def _only(read: YardFolder, fresh: dict[str, str], *, everything: bool) -> dict[str, pl.DataFrame]:
    frames = {name: read.tables[name] for name in PER_HOLE if name in read.tables}
    if everything:
        return frames
    wanted = list(fresh)
    return {name: frame.filter(pl.col("hole_id").is_in(wanted)) for name, frame in frames.items()}
