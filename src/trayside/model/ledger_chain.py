"""Is this ledger whole? Reads a chain from its first record to its last and names the first thing that is wrong.

Needs nothing but the standard library and `rfc8785`, so that anybody can check an export on a machine of their own.
"""

from __future__ import annotations

import json
from collections.abc import Generator, Iterable, Iterator
from dataclasses import dataclass
from hashlib import sha256
from typing import Literal, NamedTuple

import rfc8785

GENESIS = "0" * 64
FaultKind = Literal["changed row", "missing row", "reordered", "doubled row", "broken link", "unreadable line"]
OPENING = '{"hash":"'
MIDDLE = '","prev_hash":"'
LAST = '","record":'
STAMP = '"stored_at":"'
HASH_FROM = len(OPENING)
PREV_FROM = HASH_FROM + 64 + len(MIDDLE)
RECORD_FROM = PREV_FROM + 64 + len(LAST)


class Link(NamedTuple):
    """One record with its hashes. `fits` is False when columns beside the record say other than the record.

    `line` is its line in an export, counted from 1.
    """

    seq: int
    prev_hash: str
    hash: str
    record: str
    fits: bool = True
    line: int | None = None


@dataclass(frozen=True, slots=True)
class ChainFault:
    """The first thing that is wrong: where, and in words. `line` counts from 1 in an export."""

    kind: FaultKind
    seq: int
    what: str
    line: int | None = None

    def __str__(self) -> str:
        place = f"line {self.line}, event {self.seq}" if self.line is not None else f"event {self.seq}"
        return f"{self.kind} at {place}: {self.what}"


@dataclass(frozen=True, slots=True)
class ChainReport:
    """What was read. `newest_hash` is the hash of the last sound record.

    `clock_back` lists where the server's clock ran backwards (the first few): odd, but the chain is whole.
    """

    records: int
    newest_hash: str
    fault: ChainFault | None = None
    clock_back: tuple[int, ...] = ()

    @property
    def whole(self) -> bool:
        return self.fault is None


class UnreadableLineError(Exception):
    """A line of an export that holds no record."""

    def __init__(self, what: str, line: int) -> None:
        self.what, self.line = what, line
        super().__init__(what, line)


def check_chain(links: Iterable[Link], *, witness: str | None = None) -> ChainReport:
    """Read a chain to its end or to the first fault.

    `witness` is a hash somebody kept elsewhere (on a dispatch note): it must be in the chain, else records after it
    were cut off, or the whole chain was written anew. A chain alone cannot show that.
    """
    prev, seq, stamp, clock_back = GENESIS, 0, STAMP + "0", []
    missing_witness = witness is not None and witness != GENESIS
    rest = iter(links)
    try:
        for at, prev_hash, own_hash, record, fits, line in rest:
            seq += 1
            if (
                at != seq
                or prev_hash != prev
                or not fits
                or sha256((prev_hash + record).encode()).hexdigest() != own_hash
            ):
                fault = _named(Link(at, prev_hash, own_hash, record, fits, line), seq, prev, rest)
                return ChainReport(seq - 1, prev, fault, tuple(clock_back))
            prev = own_hash
            if own_hash == witness:
                missing_witness = False
            if stamp not in record:
                now = record[record.find(STAMP) :][: len(STAMP) + 24]
                if now < stamp and len(clock_back) < 10:
                    clock_back.append(seq)
                stamp = now
    except UnreadableLineError as error:
        return ChainReport(seq, prev, ChainFault("unreadable line", seq + 1, error.what, error.line), tuple(clock_back))
    finally:
        if isinstance(rest, Generator):
            rest.close()  # a database may still be sending
    fault = None
    if missing_witness:
        what = f"the hash {witness} that was kept elsewhere is not in the ledger: records were cut off or replaced"
        fault = ChainFault("missing row", seq + 1, what)
    return ChainReport(seq, prev, fault, tuple(clock_back))


def export_links(lines: Iterable[bytes]) -> Iterator[Link]:
    """The links in the lines of an export. A line some tool has re-spaced or re-ordered is put right first."""
    for number, line in enumerate(lines, 1):
        try:
            text = line.decode()
        except UnicodeDecodeError as error:
            raise UnreadableLineError(f"this is not UTF-8 text ({error.reason})", number) from error
        if text[-2:] == "}\n" and text[:HASH_FROM] == OPENING and text[PREV_FROM + 64 : RECORD_FROM] == LAST:
            record = text[RECORD_FROM:-2]
            # A quotation mark inside a text is escaped, so this can only be the key itself.
            seq_from = record.find(',"seq":') + 7
            seq = record[seq_from : record.find(",", seq_from)]
            if seq_from > 6 and seq.isdecimal() and text[HASH_FROM + 64 : PREV_FROM] == MIDDLE:
                # A Link, without the cost of making one.
                yield int(seq), text[PREV_FROM : PREV_FROM + 64], text[HASH_FROM : HASH_FROM + 64], record, True, number
                continue
        if text.strip():
            yield _respelled(text.strip("\r\n"), number)


def _respelled(text: str, number: int) -> Link:
    try:
        line = json.loads(text)
        record = rfc8785.dumps(line["record"]).decode()
        seq, prev_hash, own_hash = line["record"]["seq"], line["prev_hash"], line["hash"]
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        said = type(error).__name__ if isinstance(error, RecursionError) else error
        raise UnreadableLineError(f"this is not a record of a ledger ({said})", number) from error
    if type(seq) is not int or not isinstance(prev_hash, str) or not isinstance(own_hash, str):
        raise UnreadableLineError("its number or a hash is of another kind", number)
    return Link(seq, prev_hash, own_hash, record, True, number)


def _named(link: Link, expected: int, prev: str, rest: Iterator[Link]) -> ChainFault:
    """Which kind of fault this is. `expected` and `prev` are what a sound record would carry here."""
    own = sha256((link.prev_hash + link.record).encode()).hexdigest() == link.hash

    def fault(kind: FaultKind, what: str, seq: int = link.seq) -> ChainFault:
        return ChainFault(kind, seq, what, link.line)

    if own and (own_seq := _own_seq(link.record)) not in (None, link.seq):
        return fault("reordered", f"event {own_seq} stands in the place of {link.seq}")
    if own and not link.fits:
        return fault("changed row", "a column says other than the record that was hashed")
    if not own:
        return fault("changed row", "record, hash and hash before do not belong together")
    if link.seq < expected:
        return fault("doubled row", f"it was read before; event {expected} was due")
    if link.seq > expected and _comes_later(expected, rest):
        return fault("reordered", f"event {expected} was due and comes later")
    if link.seq > expected:
        gone = f"event {expected} is" if link.seq == expected + 1 else f"events {expected} to {link.seq - 1} are"
        return fault("missing row", f"{gone} gone; the next there is {link.seq}", expected)
    said = f"it follows {link.prev_hash[:12]}…, the record before it is {prev[:12]}…: one of the two was replaced"
    return fault("broken link", said)


def _comes_later(seq: int, rest: Iterator[Link]) -> bool:
    try:
        return any(link[0] == seq for link in rest)
    except UnreadableLineError:
        return False


def _own_seq(record: str) -> int | None:
    try:
        seq = json.loads(record)["seq"]
    except (ValueError, KeyError, TypeError):
        return None
    return seq if type(seq) is int else None
