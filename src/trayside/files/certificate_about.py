"""What a certificate says of itself above its table: laboratory, job, date of the report."""

from __future__ import annotations

import re
from datetime import UTC, datetime

from trayside.files.certificate_words import ABOUT_WORDS
from trayside.files.certificate_workbook import Grid

ENGLISH = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
MONTHS = {name: place for place, name in enumerate(ENGLISH, start=1)}
MONTHS |= {"ene": 1, "abr": 4, "ago": 8, "dic": 12, "fev": 2, "avr": 4, "mai": 5, "aou": 8, "set": 9, "out": 10, "dez": 12}
NUMBERS = re.compile(r"(\d{1,4})[-/.](\d{1,2})[-/.](\d{2,4})(?:[ T]+(\d{1,2}):(\d{2})(?::\d{2}(?:\.\d+)?)?)?")
NAMED = re.compile(r"(\d{1,2})[-/. ]+([A-Za-zéûç]{3,9})\.?[-/., ]+(\d{4}|\d{2})(?:[ T]+(\d{1,2}):(\d{2})(?::\d{2})?)?")
NAMED_US = re.compile(r"([A-Za-z]{3,9})\.? +(\d{1,2}),? +(\d{4})")


def said_about(grid: Grid, until_row: int) -> dict[str, tuple[str, int]]:
    """Text and line of what is said of laboratory, job and report in the lines above the table."""
    found: dict[str, tuple[str, int]] = {}
    for row in range(min(until_row, 60)):
        texts = [grid.text(row, place) for place in range(1, min(grid.width, 40) + 1)]
        for place, text in enumerate(texts):
            label, mark, value = text.partition(":")
            role = next((one for one, words in ABOUT_WORDS.items() if words.fullmatch(" ".join(label.split()))), None)
            if role is None or role in found:
                continue
            value = value.strip() if mark else ""
            value = value or next((one for one in texts[place + 1 :] if one), "")
            if value and len(value) <= 120:
                found[role] = (" ".join(value.split()), grid.line(row))
    return found


def first_words(grid: Grid, until_row: int) -> str:
    """The first text above the table that names nothing else: often the name of the laboratory."""
    for row in range(min(until_row, 12)):
        text = next((text for place in range(1, min(grid.width, 40) + 1) if (text := grid.text(row, place))), "")
        named = any(words.fullmatch(" ".join(text.partition(":")[0].split())) for words in ABOUT_WORDS.values())
        if text and not named and ":" not in text and 3 <= len(text) <= 60:
            return " ".join(text.split())
    return ""


def read_date(text: str, *, order: str = "") -> datetime | None:
    """The moment a date names, in UTC; None when it is none or may be two days (`order`, "dmy" or "mdy", settles it)."""
    text = " ".join(text.strip().split())
    named = NAMED.fullmatch(text)
    if named:
        month = MONTHS.get(_plain(named[2]))
        return None if month is None else _moment(_year(named[3]), month, int(named[1]), named[4], named[5])
    american = NAMED_US.fullmatch(text)
    if american:
        month = MONTHS.get(_plain(american[1]))
        return None if month is None else _moment(int(american[3]), month, int(american[2]), None, None)
    numbers = NUMBERS.fullmatch(text)
    if not numbers:
        return None
    first, second, third = numbers[1], numbers[2], numbers[3]
    if len(first) == 4:
        return _moment(int(first), int(second), int(third), numbers[4], numbers[5]) if len(third) <= 2 else None
    if len(first) > 2:
        return None
    day, month = int(first), int(second)
    if order == "mdy" or (not order and month > 12):
        day, month = month, day
    elif not order and day <= 12 and day != month:
        return None
    return _moment(_year(third), month, day, numbers[4], numbers[5])


def _plain(month: str) -> str:
    return month.casefold().replace("é", "e").replace("û", "u").replace("ç", "c")[:3]


def _year(text: str) -> int:
    return int(text) if len(text) == 4 else 2000 + int(text)


def _moment(year: int, month: int, day: int, hour: str | None, minute: str | None) -> datetime | None:
    try:
        return datetime(year, month, day, int(hour or 0), int(minute or 0), tzinfo=UTC)
    except ValueError:
        return None
