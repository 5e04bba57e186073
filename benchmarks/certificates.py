"""Importing certificates against plain `sqlite3` insertion of the same values, in the same run.

The baseline inserts the million values that came out of the import, with the columns of a result, into one table of an
empty database with the same settings: `executemany` of rows that are in memory already, one transaction. The import
begins with the bytes of the file: it parts cells, proposes the mapping, reads every text, keeps limits and flags apart,
holds the numbers against the yard, and stores lines and results in one transaction.
"""

from __future__ import annotations

import random
import sqlite3
import tempfile
from datetime import UTC, datetime
from pathlib import Path
from time import perf_counter

from benchmarks.figures import Figure, in_child
from trayside.app.import_certificate import bring_in
from trayside.app.office_acts import Desk, Signer
from trayside.app.ports import StartWork
from trayside.bootstrap import make_id, open_store
from trayside.files.certificate_reader import open_file

GOAL = 2.5
ROUNDS = 3
NOW = datetime(2031, 5, 4, 7, 30, tzinfo=UTC)
ELEMENTS = (
    "Au Ag Al As Ba Be Bi Ca Cd Ce Co Cr Cs Cu Fe Ga Ge Hf In K La Li Mg Mn Mo Na Nb Ni P Pb Rb Re S Sb Sc Se Sn Sr Ta Te"
)
PLAIN = """CREATE TABLE plain (place INTEGER, "column" INTEGER, raw_text TEXT, value REAL, censor TEXT,
           lower_limit REAL, upper_limit REAL, preferred INTEGER)"""


def measure(*, small: bool) -> list[Figure]:
    values = 100_000 if small else 1_000_000
    figures = []
    for layout in ("wide", "long"):
        (ours, plain, held), memory_mb = in_child(_measure, layout, values)
        figures += [
            Figure("certificates", f"{layout}: import", held / ours, "values/s", note=f"{held:,} values"),
            Figure("certificates", f"{layout}: import / plain insertion", ours / plain, "x", GOAL, f"{ours:.2f} s, {plain:.2f} s"),
            Figure("certificates", f"{layout}: most memory", memory_mb, "MB", note="with the rows of the baseline"),
        ]
    return figures


def _measure(layout: str, values: int) -> tuple[float, float, int]:
    """Best seconds of importing and of inserting, and how many values."""
    raw = _wide(values) if layout == "wide" else _long(values)
    ours, plain = [], []
    for _ in range(ROUNDS):
        with tempfile.TemporaryDirectory() as room:
            start_work = open_store(f"{room}/yard.sqlite")
            begun = perf_counter()
            brought = _import(raw, start_work)
            ours.append(perf_counter() - begun)
            with start_work(writing=False) as work:
                frame = work.assays.results(certificate_ids=[brought.certificate.certificate_id])
            wanted = ("place", "column", "raw_text", "value", "censor", "lower_limit_ppm", "upper_limit_ppm", "preferred")
            rows = frame.select(wanted).rows()
            start_work.engine.dispose()
            plain.append(_plain(rows, Path(room) / "plain.sqlite"))
    return min(ours), min(plain), brought.results


def _import(raw: bytes, start_work: StartWork):
    desk = Desk(Signer("Demo operator", "terminal"), lambda: NOW, make_id)
    brought = bring_in(open_file(raw, source="large.csv"), {}, confirmed=True, desk=desk, start_work=start_work)
    if not brought.new:
        raise RuntimeError("the measure imported a file it had imported before")
    return brought


def _plain(rows: list[tuple], path: Path) -> float:
    connection = sqlite3.connect(path, isolation_level=None)
    for setting in ("journal_mode = WAL", "synchronous = FULL", "cache_size = -65536"):
        connection.execute(f"PRAGMA {setting}")
    connection.execute(PLAIN)
    begun = perf_counter()
    connection.execute("BEGIN IMMEDIATE")
    connection.executemany("INSERT INTO plain VALUES (?, ?, ?, ?, ?, ?, ?, ?)", rows)
    connection.execute("COMMIT")
    seconds = perf_counter() - begun
    connection.close()
    return seconds


HEAD = "Laboratory: Demo laboratory A\nJob: J1\nReported: 2031-05-02\n"


def _texts(count: int, chance: random.Random) -> list[str]:
    """Invented results: mostly numbers of three or four figures, one in eight below its limit, a few above or missing."""
    found = []
    for _ in range(count):
        odd = chance.random()
        if odd < 0.12:
            found.append("<0.05")
        elif odd < 0.125:
            found.append(">10000")
        elif odd < 0.127:
            found.append("N.A.")
        else:
            found.append(f"{chance.lognormvariate(1.5, 1.6) + 0.05:.4g}")
    return found


def _wide(values: int) -> bytes:
    chance, elements = random.Random(7), ELEMENTS.split()
    texts = _texts(values, chance)
    width = len(elements)
    rows = [HEAD + "Sample,Type," + ",".join(elements), "Unit,," + ",".join(["ppm"] * width),
            "Method,," + ",".join(["ICP4A"] * width), "Lower limit,," + ",".join(["0.05"] * width),
            "Upper limit,," + ",".join(["10000"] * width)]  # fmt: skip
    rows += [f"T{place:07d},SMP," + ",".join(texts[place * width : place * width + width]) for place in range(values // width)]
    return ("\n".join(rows) + "\n").encode()


def _long(values: int) -> bytes:
    chance, elements = random.Random(8), ELEMENTS.split()
    rows = [HEAD + "Sample,Element,Method,Unit,Lower limit,Result"]
    width = len(elements)
    rows += [
        f"T{place // width:07d},{elements[place % width]},ICP4A,ppm,0.05,{text}"
        for place, text in enumerate(_texts(values, chance))
    ]
    return ("\n".join(rows) + "\n").encode()
