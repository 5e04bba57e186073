"""Files of 200 MB, good and spoilt: read or refused in bounded time and memory, with a list a person can read."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from pathlib import Path

import pytest
from small_yard import TABLES, write_yard

SIZE = 200 * 10**6
MOST_MB = 1500
READ = """
import json, resource, sys
from pathlib import Path
from trayside.errors import LoadRefused
from trayside.files.yard_folder import read_yard_folder
try:
    rows, faults = read_yard_folder(Path(sys.argv[1])).tables["rock"].height, []
except LoadRefused as refused:
    rows, faults = 0, [(fault.table, fault.row, fault.column, fault.problem) for fault in refused.faults]
peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
print(json.dumps({"rows": rows, "faults": faults, "peak_mb": peak_mb}))
"""


def read_apart(folder: Path) -> dict:
    """Read the folder in a process of its own, so that its memory is its own."""
    start = time.monotonic()
    done = subprocess.run(
        [sys.executable, "-c", READ, str(folder)], capture_output=True, text=True, check=True, timeout=60
    )
    outcome = json.loads(done.stdout)
    print("peak memory", round(outcome["peak_mb"]), "MB, seconds", round(time.monotonic() - start, 1))
    assert outcome["peak_mb"] < MOST_MB
    assert time.monotonic() - start < 45
    return outcome


def write_rock(folder: Path, row: str, *, head: str = "", tail: str = "", block: int = 1000) -> int:
    """A rock table of about 200 MB in which `row` is repeated with growing depths; the number of its rows."""
    header = TABLES["rock"].splitlines()[0]
    numbered = "".join(
        row.format(top=f"{number / 10:.1f}", bottom=f"{(number + 1) / 10:.1f}") for number in range(block)
    )
    holes = TABLES["holes"].splitlines()[:1]
    blocks = int(SIZE / len(numbered.replace("HOLE", "BIG-000001").encode()))
    with (folder / "rock.csv").open("w", encoding="utf-8", newline="") as out:
        out.write(f"{header}\n{head}")
        for hole in range(blocks):
            name = f"BIG-{hole:06d}"
            out.write(numbered.replace("HOLE", name))
            holes.append(f"{name},,0,0,0,0,-90,200,")
        out.write(tail)
    with (folder / "holes.csv").open("a", encoding="utf-8") as out:
        out.write("\n".join(holes[1:]) + "\n")
    return blocks * block


@pytest.mark.slow
def test_a_good_table_of_200_mb_is_read(tmp_path):
    folder = write_yard(tmp_path / "yard")
    rows = write_rock(folder, "HOLE,{top},{bottom},QV,R4,intact,high,hard,no,rules,sulphide in the seams\n")
    outcome = read_apart(folder)
    assert (outcome["rows"], outcome["faults"]) == (rows, [])


@pytest.mark.slow
def test_a_table_of_200_mb_with_every_cell_spoilt_gives_a_short_list(tmp_path):
    folder = write_yard(tmp_path / "yard")
    rows = write_rock(folder, "HOLE,{top}x,NaN,=QV,R9,whole,-,none,2,?,@now and then again\n")
    outcome = read_apart(folder)
    assert len(outcome["faults"]) < 600
    shown = [fault for fault in outcome["faults"] if fault[2] == "to_m"]
    assert [fault[1] for fault in shown] == [*range(2, 22), None]
    assert f"and {rows - 20:,} more" in shown[-1][3]


@pytest.mark.slow
def test_200_mb_cut_off_inside_a_quoted_cell(tmp_path):
    folder = write_yard(tmp_path / "yard")
    rows = write_rock(
        folder, 'HOLE,{top},{bottom},QV,R4,intact,high,hard,no,rules,"sulphide, seams"\n', tail='BIG-000000,1,2,"QV'
    )
    outcome = read_apart(folder)
    assert [fault[:3] for fault in outcome["faults"]] == [["rock", rows + 2, None]]
    assert "never closes" in outcome["faults"][0][3]


@pytest.mark.slow
def test_200_mb_without_a_line_end(tmp_path):
    folder = write_yard(tmp_path / "yard")
    (folder / "rock.csv").write_bytes(b"x," * (SIZE // 2))
    outcome = read_apart(folder)
    assert [fault[:3] for fault in outcome["faults"]] == [["rock", 1, None]]


@pytest.mark.slow
def test_200_mb_of_separators(tmp_path):
    folder = write_yard(tmp_path / "yard")
    (folder / "rock.csv").write_bytes(TABLES["rock"].splitlines()[0].encode() + b"\n" + b",,,,,,,,,,\n" * (SIZE // 11))
    outcome = read_apart(folder)
    assert [fault[:3] for fault in outcome["faults"]] == [["rock", None, None]]
    assert "more than 3,636,363 rows of 11 columns" in outcome["faults"][0][3]


@pytest.mark.slow
def test_200_mb_of_the_smallest_rows_that_are_still_read(tmp_path):
    folder = write_yard(tmp_path / "yard")
    row = b"A" * 45 + b",,,,,,,,,,\n"
    (folder / "rock.csv").write_bytes(TABLES["rock"].splitlines()[0].encode() + b"\n" + row * (SIZE // len(row)))
    outcome = read_apart(folder)
    rows = SIZE // len(row)
    assert [fault[1] for fault in outcome["faults"] if fault[2] == "to_m"] == [*range(2, 22), None]
    assert any(f"and {rows - 20:,} more" in fault[3] for fault in outcome["faults"])
