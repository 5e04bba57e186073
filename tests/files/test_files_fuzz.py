"""Whatever lies in a yard folder: it is read, or refused with at least one fault. Nothing else ever comes out."""

from __future__ import annotations

import random
import shutil
import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from small_yard import RULES, TABLES, write_yard

from trayside.app.ports import YardFolder
from trayside.errors import LoadRefused
from trayside.files.csv_shape import CHUNK, shape_of
from trayside.files.csv_table import read_csv_table
from trayside.files.yard_folder import read_yard_folder
from trayside.model.tables import BY_NAME

NAMES = tuple(TABLES)
SPOILERS = [b",", b";", b"\t", b'"', b'""', b"\n", b"\r", b"\r\n", b"\0", b"\xff", b"\xc3", b"\xef\xbb\xbf", b"=1", b"NaN", b"-",
            b"1e309", b" ", "\u202e".encode(), "ñ".encode(), b"9" * 30, b"1,5", b"\x1a", b"#REF!", b"."]  # fmt: skip


def read_or_refused(folder: Path) -> bool:
    """Whether the folder was read; anything but a reading or a proper refusal fails."""
    try:
        yard = read_yard_folder(folder)
    except LoadRefused as refused:
        faults = refused.faults
    else:
        assert isinstance(yard, YardFolder)
        return True
    assert faults
    for fault in faults:
        assert fault.table
        assert fault.problem
        assert fault.remedy
        assert fault.row is None or fault.row >= 1
        assert str(fault)
    return False


@pytest.fixture(scope="module")
def folder():
    """One folder in which a test replaces a single file."""
    path = Path(tempfile.mkdtemp())
    yield write_yard(path / "yard")
    shutil.rmtree(path)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(name=st.sampled_from(NAMES), raw=st.binary(max_size=300))
def test_random_bytes_in_the_place_of_a_table(folder, name, raw):
    path = folder / f"{name}.csv"
    path.write_bytes(raw)
    try:
        read_or_refused(folder)
    finally:
        path.write_text(TABLES[name])


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(name=st.sampled_from(NAMES), rows=st.lists(st.text(max_size=40), max_size=5))
def test_random_text_under_a_good_header(folder, name, rows):
    path = folder / f"{name}.csv"
    header = TABLES[name].splitlines()[0]
    path.write_bytes("\n".join([header, *rows]).encode("utf-8", "surrogatepass"))
    try:
        read_or_refused(folder)
    finally:
        path.write_text(TABLES[name])


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(raw=st.one_of(st.binary(max_size=200), st.text(alphabet="[]{}=.,\"'\n#ab1 -_", max_size=80).map(str.encode)))
def test_random_rules(folder, raw):
    path = folder / "rules.toml"
    path.write_bytes(raw)
    try:
        read_or_refused(folder)
    finally:
        path.write_text(RULES)


@pytest.mark.parametrize("name", NAMES)
def test_a_table_cut_at_any_byte(folder, name):
    path, raw = folder / f"{name}.csv", TABLES[name].encode()
    try:
        for end in range(0, len(raw), 5):
            path.write_bytes(raw[:end])
            read_or_refused(folder)
        path.write_bytes(raw)
        assert read_or_refused(folder)
    finally:
        path.write_bytes(raw)


@pytest.mark.parametrize("seed", range(150))
def test_a_table_spoilt_here_and_there(folder, seed):
    chance = random.Random(seed)
    name = chance.choice(NAMES)
    path, raw = folder / f"{name}.csv", TABLES[name].encode()
    try:
        for _ in range(chance.randrange(1, 4)):
            place, width = chance.randrange(len(raw) + 1), chance.choice([0, 0, 1, 5])
            raw = raw[:place] + chance.choice(SPOILERS) + raw[place + width :]
        path.write_bytes(raw)
        read_or_refused(folder)
    finally:
        path.write_text(TABLES[name])


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize(
    "encoding", ["utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "cp1252", "cp037", "utf-7"]
)
def test_a_table_in_any_encoding(folder, name, encoding):
    path = folder / f"{name}.csv"
    try:
        path.write_bytes((TABLES[name]).encode(encoding))
        read = read_or_refused(folder)
        assert read == (encoding in ("utf-8-sig", "cp1252") or (encoding == "utf-7" and read))
    finally:
        path.write_text(TABLES[name])


def slow_shape(raw: bytes) -> tuple[list[int], list[int]] | None:
    """Cells and starting line of each record by walking byte by byte; None when a quote mark is misplaced."""
    cells, lines = [], []
    line, start, count, quoted, fresh, closed = 1, 1, 1, False, True, False
    length = 0
    for byte in raw:
        letter = bytes([byte])
        length += 1
        if quoted:
            if letter == b'"':
                quoted, closed = False, True
            line += letter == b"\n"
            continue
        if letter == b'"':
            if not fresh and not closed:
                return None
            quoted, fresh, closed = True, False, False
        elif letter in (b",", b"\n"):
            fresh, closed = True, False
            if letter == b",":
                count += 1
            else:
                cells.append(count)
                lines.append(start)
                line += 1
                start, count, length = line, 1, 0
        else:
            if closed:
                return None
            fresh = False
    if quoted:
        return None
    if length:
        cells.append(count)
        lines.append(start)
    return cells, lines


@settings(max_examples=500, deadline=None)
@given(st.lists(st.sampled_from([b"a", b",", b"\n", b'"', b'""', b'"x"']), max_size=25).map(b"".join))
def test_the_quick_shape_agrees_with_a_walk_byte_by_byte(raw):
    import trayside.files.csv_shape as csv_shape

    wanted = slow_shape(raw)
    for chunk in (1, 3, 7, CHUNK):
        csv_shape.CHUNK = chunk
        try:
            shape = shape_of(raw)
        finally:
            csv_shape.CHUNK = CHUNK
        if wanted is None:
            assert shape.quote_line is not None
        else:
            assert shape.quote_line is None
            assert (shape.cells.tolist(), shape.lines.tolist()) == wanted


def test_a_table_whose_cells_are_all_spoilt_stays_readable():
    rows = "".join(f"H{number},{number}x,=A{number},NaN,\n" for number in range(50_000))
    text, faults = read_csv_table(
        BY_NAME["surveys"], ("hole_id,depth_m,azimuth_deg,dip_deg,instrument\n" + rows).encode()
    )
    assert (text.frame.height, faults) == (50_000, [])
