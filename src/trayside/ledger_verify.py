"""Check an export of a ledger on any machine: `python -m trayside.ledger_verify export.jsonl [HASH]`.

Needs Python and the package `rfc8785`, no database and nothing else of Trayside. HASH is one somebody kept elsewhere,
for instance from a dispatch note. Exit code 0: whole; 8: not whole; 1: the file cannot be read; 2: wrong arguments.
"""

from __future__ import annotations

import sys

from trayside.model.ledger_chain import check_chain, export_links

WHOLE, NOT_READ, WRONG_ARGUMENTS, NOT_WHOLE = 0, 1, 2, 8


def main(arguments: list[str]) -> int:
    if len(arguments) not in (1, 2) or (len(arguments) == 2 and len(arguments[1]) != 64):
        sys.stderr.write("Give the export, and if you have one a hash of 64 digits that was kept elsewhere.\n")
        return WRONG_ARGUMENTS
    try:
        with open(arguments[0], "rb") as lines:
            report = check_chain(export_links(lines), witness=arguments[1] if len(arguments) == 2 else None)
    except OSError as error:
        sys.stderr.write(f"{arguments[0]}: {error.strerror or error}. Check the path and the rights on it.\n")
        return NOT_READ
    for seq in report.clock_back:
        sys.stdout.write(f"The server's clock ran backwards before event {seq}.\n")
    if report.fault is not None:
        sys.stdout.write(f"NOT WHOLE: {report.fault}.\n{report.records} records before it are sound.\n")
        return NOT_WHOLE
    sys.stdout.write(f"Whole: {report.records} records, newest hash {report.newest_hash}.\n")
    return WHOLE


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
