"""A time as people type it, with what their clock adds to UTC: 2031-05-04 09:30 and +02:00."""

from __future__ import annotations

import re
from datetime import datetime, timedelta, timezone

from trayside.errors import ImpossibleValue

TIME = re.compile(r"(\d{4}-\d{2}-\d{2})[ T](\d{2}:\d{2})(?::(\d{2}))?")
OFFSET = re.compile(r"(?:UTC)?([+\u2212-])(\d{1,2})(?::?(\d{2}))?")


def typed_time(text: str, *, offset: str, what: str) -> tuple[datetime, int]:
    """The moment, and the minutes its clock adds to UTC."""
    minutes = typed_offset(offset, what=what)
    found = TIME.fullmatch(" ".join(text.split()))
    if found is None:
        shown = f"{text.strip()[:40]!r} is not a time" if text.strip() else "no time was typed"
        raise ImpossibleValue(shown, where=what, remedy="Type it like 2031-05-04 09:30")
    try:
        local = datetime.fromisoformat(f"{found[1]}T{found[2]}:{found[3] or '00'}")
    except ValueError:
        raise ImpossibleValue(
            f"there is no such time: {text.strip()[:40]}", where=what, remedy="Look at the day and the hour"
        ) from None
    return local.replace(tzinfo=timezone(timedelta(minutes=minutes))), minutes


def typed_offset(text: str, *, what: str) -> int:
    """'+02:00', '-3', 'UTC' or 'Z' in minutes."""
    plain = text.strip().upper()
    if plain in ("", "Z", "UTC", "0"):
        return 0
    found = OFFSET.fullmatch(plain)
    minutes = int(found[2]) * 60 + int(found[3] or 0) if found else 10**6
    if found is None or minutes > 14 * 60 or int(found[3] or 0) > 59:
        raise ImpossibleValue(
            f"{text.strip()[:20]!r} is no offset from UTC", where=what, remedy="Type it like +02:00, or UTC"
        )
    return minutes if found[1] == "+" else -minutes


def offset_text(minutes: int) -> str:
    """'+02:00'."""
    hours, rest = divmod(abs(minutes), 60)
    return f"{'-' if minutes < 0 else '+'}{hours:02d}:{rest:02d}"
