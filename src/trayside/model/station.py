"""Where a hole stands on its way from the trays to the saw: the one rule behind the yard screen."""

from __future__ import annotations

from typing import Literal

Station = Literal["to settle", "to plan", "to issue", "to cut"]
STATIONS: tuple[Station, ...] = ("to settle", "to plan", "to issue", "to cut")


def station(*, stops: int, version: int | None, issued_version: int | None) -> Station:
    """The station of one hole.

    `stops` counts its findings that forbid issuing. `version` is the saved version of its sheet, None without a sheet.
    `issued_version` is the version whose rows the newest revision holds, None before the first issue.
    """
    if stops:
        return "to settle"
    if version is None:
        return "to plan"
    if issued_version != version:
        return "to issue"
    return "to cut"
