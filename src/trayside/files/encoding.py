"""Bytes that are no UTF-8 text: named by what they are, with the place of the first that is wrong."""

from __future__ import annotations

import codecs

from trayside.app.ports import Fault

SAVE_UTF8 = "Save the table again as CSV in UTF-8"
# Longest first: the mark of UTF-32 begins with that of UTF-16.
MARKS = (
    (codecs.BOM_UTF32_LE, "UTF-32"),
    (codecs.BOM_UTF32_BE, "UTF-32"),
    (codecs.BOM_UTF16_LE, "UTF-16"),
    (codecs.BOM_UTF16_BE, "UTF-16"),
)
ZIP_MARK = b"PK\x03\x04"
OLE_MARK = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
PIECE = 4 * 2**20


def encoding_fault(table: str, raw: bytes) -> Fault | None:
    """Why these bytes cannot be a UTF-8 table; None when they can."""
    if not raw:
        return Fault(
            table, None, None, None, "the file is empty", "Save the table again, with its header in the first row"
        )
    for mark, name in MARKS:
        if raw.startswith(mark):
            return Fault(table, None, None, None, f"the file is written in {name}", SAVE_UTF8)
    if raw.startswith((ZIP_MARK, OLE_MARK)):
        problem = "the file is a workbook or an archive with the name of a CSV file"
        return Fault(
            table, None, None, None, problem, "Save the sheet as CSV, or put the workbook itself in the folder"
        )
    if b"\0" in raw:
        return _nul_fault(table, raw)
    if raw.isascii():
        return None
    return _utf8_fault(table, raw)


def _nul_fault(table: str, raw: bytes) -> Fault:
    sample = raw[:4096]
    for first, name in ((1, "UTF-16 (little-endian)"), (0, "UTF-16 (big-endian)")):
        high, low = sample[first::2], sample[1 - first :: 2]
        if high.count(0) > 0.8 * len(high) and low.count(0) < 0.1 * len(low) + 1:
            return Fault(table, None, None, None, f"the file seems to be written in {name} without a mark", SAVE_UTF8)
    place = raw.index(b"\0")
    row, column, around = _where(raw, place)
    return Fault(
        table, row, column, around, "a NUL byte stands in the text: the file is damaged", "Export the table again"
    )


def _utf8_fault(table: str, raw: bytes) -> Fault | None:
    decoder = codecs.getincrementaldecoder("utf-8")()
    for base in range(0, len(raw), PIECE):
        held = len(decoder.getstate()[0])
        try:
            decoder.decode(raw[base : base + PIECE], final=base + PIECE >= len(raw))
        except UnicodeDecodeError as error:
            place = base - held + error.start
            row, column, around = _where(raw, place)
            if error.reason == "unexpected end of data" and place > len(raw) - 4:
                problem = "the file ends in the middle of a character: it was cut off"
                return Fault(table, row, column, around, problem, "Copy or export the table again")
            problem = (
                f"byte {place:,} (0x{raw[place]:02X}) is not UTF-8; the file is probably in an older Windows encoding"
            )
            return Fault(table, row, column, around, problem, SAVE_UTF8)
    return None


def _where(raw: bytes, place: int) -> tuple[int, str | None, str]:
    """Line of a byte, the column it probably stands in, and the text around it."""
    row = raw.count(b"\n", 0, place) + 1
    line_start = raw.rfind(b"\n", 0, place) + 1
    names = raw[: raw.find(b"\n") if b"\n" in raw else len(raw)][:65_536].decode("utf-8", "replace").split(",")
    before = raw.count(b",", line_start, place)
    column = names[before].strip().strip('"\ufeff\r') if row > 1 and before < len(names) else None
    line_end = raw.find(b"\n", place)
    around = raw[max(line_start, place - 15) : min(place + 15, line_end if line_end >= 0 else len(raw))]
    return row, column or None, around.decode("cp1252", "replace").replace("\0", "␀")
