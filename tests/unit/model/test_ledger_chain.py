"""An export that was touched is found out, with the first bad line and what is wrong with it."""

from __future__ import annotations

import hashlib
import json
import subprocess
import sys

import pytest

from trayside.ledger_verify import NOT_READ, NOT_WHOLE, WHOLE, WRONG_ARGUMENTS, main
from trayside.model.event import Event
from trayside.model.ledger_chain import GENESIS, Link, check_chain, export_links
from trayside.model.ledger_record import export_line, link

MOMENT = "2031-05-04T07:30:15.123Z"
TRICKY = 'said ","seq":3,"sheet_id":" and \\ €, 2,"standing":"conflict"'


def chain(count: int = 6, *, prev_hash: str = GENESIS, person: str = TRICKY) -> list[bytes]:
    lines = []
    for seq in range(1, count + 1):
        event = Event(
            f"id {seq}", "cut", "bag", f"A{seq}", person, "tablet", MOMENT, -240, "0.1", values={"side": "left"}
        )
        stored, record = link(event, seq=seq, stored_at=MOMENT, prev_hash=prev_hash)
        lines.append(export_line(record, prev_hash=prev_hash, own_hash=stored.hash).encode() + b"\n")
        prev_hash = stored.hash
    return lines


def check(lines, **more):
    return check_chain(export_links(lines), **more)


def hash_of(line: bytes) -> str:
    return json.loads(line)["hash"]


def test_a_whole_chain_is_whole_and_tells_its_newest_hash():
    lines = chain()
    report = check(lines)
    assert (report.whole, report.records, report.newest_hash) == (True, 6, hash_of(lines[-1]))
    assert check([]).newest_hash == GENESIS
    assert check([]).records == 0


def test_the_hash_can_be_made_without_trayside():
    """The rule of docs/ledger.md by hand: SHA-256 of the hash before as text, then the record as it stands in the line."""
    before = GENESIS
    for line in chain():
        read = json.loads(line)
        record = line.decode().rstrip("\n").split('"record":', 1)[1][:-1]
        assert read["prev_hash"] == before
        assert hashlib.sha256((before + record).encode()).hexdigest() == read["hash"]
        before = read["hash"]


def test_a_line_some_tool_wrote_anew_is_still_sound():
    lines = chain()
    lines[1] = json.dumps(json.loads(lines[1]), indent=None, ensure_ascii=True).encode() + b"\r\n"
    lines[3] = json.dumps(dict(reversed(json.loads(lines[3]).items()))).encode() + b"\n"
    assert check([*lines[:2], b"\n", b"  \r\n", *lines[2:]]).whole


def changed(line: bytes, was: str, now: str) -> bytes:
    assert was.encode() in line
    return line.replace(was.encode(), now.encode())


def rehashed(line: bytes, **values) -> bytes:
    """A record changed by somebody who knows how to hash."""
    read = json.loads(line)
    record = json.dumps(read["record"] | values, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    own = hashlib.sha256((read["prev_hash"] + record).encode()).hexdigest()
    return export_line(record, prev_hash=read["prev_hash"], own_hash=own).encode() + b"\n"


def test_a_changed_record_is_found():
    for was, now in (('"A3"', '"A4"'), ('"cut"', '"bagged"'), (MOMENT, MOMENT.replace("15", "16")), ("left", "right")):
        lines = chain()
        lines[2] = changed(lines[2], was, now)
        fault = check(lines).fault
        assert (fault.kind, fault.seq, fault.line) == ("changed row", 3, 3)


def test_a_changed_hash_is_found():
    for name in ("hash", "prev_hash"):
        lines = chain()
        lines[2] = changed(lines[2], json.loads(lines[2])[name], "0" * 63 + "1")
        assert (check(lines).fault.kind, check(lines).fault.line) == ("changed row", 3)


def test_a_record_changed_with_its_hash_breaks_the_link_after_it():
    lines = chain()
    lines[2] = rehashed(lines[2], person="Eve")
    report = check(lines)
    assert (report.fault.kind, report.fault.seq, report.fault.line, report.records) == ("broken link", 4, 4, 3)


@pytest.mark.parametrize(("gone", "said"), [([2], "event 3 is"), ([1, 2, 3], "events 2 to 4 are"), ([0], "event 1 is")])
def test_a_missing_record_is_found(gone, said):
    lines = [line for place, line in enumerate(chain()) if place not in gone]
    fault = check(lines).fault
    assert (fault.kind, fault.seq, fault.line) == ("missing row", gone[0] + 1, gone[0] + 1)
    assert said in str(fault)


def test_reordered_records_are_found():
    lines = chain()
    lines[1], lines[3] = lines[3], lines[1]
    fault = check(lines).fault
    assert (fault.kind, fault.seq, fault.line) == ("reordered", 4, 2)


def test_a_doubled_record_is_found():
    lines = chain()
    fault = check([*lines[:3], lines[1], *lines[3:]]).fault
    assert (fault.kind, fault.seq, fault.line) == ("doubled row", 2, 4)


def test_a_record_put_in_between_is_found():
    lines = chain()
    stranger = chain(1, prev_hash=hash_of(lines[2]), person="Eve")[0]
    assert check([*lines[:3], rehashed(stranger, seq=4), *lines[3:]]).fault.kind == "doubled row"
    assert check([*lines[:3], rehashed(stranger, seq=4), *lines[4:]]).fault.kind == "broken link"


def test_records_cut_off_at_the_end_need_a_witness():
    lines = chain()
    kept = hash_of(lines[4])
    assert check(lines[:3]).whole, "the chain alone cannot show it"
    assert check(lines, witness=kept).whole
    fault = check(lines[:3], witness=kept).fault
    assert (fault.kind, fault.seq) == ("missing row", 4)
    assert check(chain(person="Eve"), witness=kept).fault.kind == "missing row", "a chain written anew"


def test_a_record_under_another_number_is_reordered():
    one, two = chain(2)
    links = [Link(*link) for link in export_links([one, two])]
    swapped = [links[1]._replace(seq=1, fits=False), links[0]._replace(seq=2, fits=False)]
    assert check_chain(swapped).fault.kind == "reordered"
    assert check_chain([links[0]._replace(fits=False)]).fault.kind == "changed row"


@pytest.mark.parametrize(
    "line",
    [
        b"{",
        b"[]\n",
        b"5",
        b"{}",
        b'{"hash":1,"prev_hash":2,"record":{"seq":1}}',
        b'{"hash":"a","prev_hash":"b","record":{"seq":"1"}}',
        b'{"hash":"a","prev_hash":"b","record":5}',
        b"\xff\xfe\x00",
        b"[" * 100_000,
        b'{"hash":"a","prev_hash":"b","record":{"seq":1,"x":' + b"9" * 5000 + b"}}",
    ],
)
def test_a_line_that_is_no_record_is_named(line):
    report = check([*chain(2), line])
    assert (report.fault.kind, report.fault.line, report.records) == ("unreadable line", 3, 2)


@pytest.mark.parametrize("cut", range(1, 400, 37))
def test_a_line_cut_short_is_never_taken_for_whole(cut):
    lines = chain(3)
    lines[-1] = lines[-1][:-cut] if cut > 1 else lines[-1][:-2]
    report = check(lines)
    assert report.records == 2
    assert report.fault.kind in ("unreadable line", "changed row")
    assert report.fault.line == 3


def test_every_single_changed_byte_is_found():
    lines = chain(2)
    for place in range(len(lines[0]) - 1):
        touched = bytearray(lines[0])
        touched[place] ^= 1
        report = check([bytes(touched), lines[1]])
        same = report.whole and json.loads(touched) == json.loads(lines[0])
        assert report.fault is not None or same, f"byte {place}"


def test_a_clock_that_ran_backwards_is_told_and_breaks_nothing():
    prev_hash, lines = GENESIS, []
    for seq, second in enumerate((10, 12, 12, 11, 11, 13), 1):
        event = Event(f"id {seq}", "cut", "bag", "A1", "Ada", "tablet", MOMENT, 0, "0.1")
        stored, record = link(event, seq=seq, stored_at=f"2031-05-04T07:30:{second}.000Z", prev_hash=prev_hash)
        lines.append(export_line(record, prev_hash=prev_hash, own_hash=stored.hash).encode())
        prev_hash = stored.hash
    report = check(lines)
    assert (report.whole, report.clock_back) == (True, (4,))


def test_the_small_command_says_what_it_found(tmp_path, capsys):
    export = tmp_path / "export.jsonl"
    lines = chain()
    export.write_bytes(b"".join(lines))
    assert main([str(export)]) == main([str(export), hash_of(lines[2])]) == WHOLE
    assert f"6 records, newest hash {hash_of(lines[-1])}" in capsys.readouterr().out
    export.write_bytes(b"".join([*lines[:2], *lines[3:]]))
    assert main([str(export)]) == NOT_WHOLE
    assert "missing row at line 3, event 3" in capsys.readouterr().out
    assert main([str(tmp_path / "nothing")]) == NOT_READ
    assert main([]) == main([str(export), "short"]) == WRONG_ARGUMENTS


def test_the_small_command_runs_where_nothing_else_is_installed(tmp_path):
    """Neither a database nor arithmetic nor Trayside's other parts are imported."""
    export = tmp_path / "export.jsonl"
    export.write_bytes(b"".join(chain()))
    program = (
        "import sys\n"
        "begun = set(sys.modules)\n"  # what this machine's Python loads before any program
        "from trayside.ledger_verify import main\n"
        "code = main(sys.argv[1:])\n"
        "foreign = {name.split('.')[0] for name in set(sys.modules) - begun} - set(sys.stdlib_module_names)\n"
        "ours = sorted(name for name in sys.modules if name.startswith('trayside.'))\n"
        "print(sorted(name for name in foreign if not name.startswith('_')), ours, code)\n"
    )
    ended = subprocess.run([sys.executable, "-c", program, str(export)], capture_output=True, text=True, check=True)
    told = ended.stdout.splitlines()[-1]
    assert told == (
        "['rfc8785', 'trayside'] ['trayside.ledger_verify', 'trayside.model', 'trayside.model.ledger_chain'] 0"
    ), ended.stdout
