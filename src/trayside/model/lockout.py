"""How often a PIN or a code may be tried: a few tries are free, then each wrong one costs a longer wait.

Counted for the name and for the address it comes from. The clock is handed in.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from trayside.errors import SignInRefused


@dataclass(frozen=True, slots=True)
class Limits:
    """`free` wrong tries cost nothing; the next wait is `first_wait_s` and doubles up to `longest_wait_s`.

    After `most` wrong ones in a row the name is shut until a lead gives it a new PIN; None: never.
    After `forgotten_after_s` without a wrong one the count starts anew; None: only success clears it.
    """

    free: int
    first_wait_s: int
    longest_wait_s: int
    most: int | None = None
    forgotten_after_s: int | None = None


@dataclass(frozen=True, slots=True)
class Tries:
    """Wrong tries in a row, and when the last one was."""

    failures: int = 0
    last_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Lock:
    """`wait_s` seconds are left to wait; `shut`: waiting does not help."""

    wait_s: int
    shut: bool = False

    @property
    def holds(self) -> bool:
        return self.shut or self.wait_s > 0


OPEN = Lock(0)


def lock_after(tries: Tries, limits: Limits, *, now: datetime) -> Lock:
    """Whether the next try is let through, or how long it has to wait."""
    tries = remembered(tries, limits, now=now)
    if limits.most is not None and tries.failures >= limits.most:
        return Lock(0, shut=True)
    over = tries.failures - limits.free
    if over < 0 or tries.last_at is None:
        return OPEN
    wait_s = min(limits.longest_wait_s, limits.first_wait_s * 2 ** min(over, 40))
    left = tries.last_at + timedelta(seconds=wait_s) - now
    # A clock set back makes the last try lie ahead: nobody then waits longer than the wait itself.
    return Lock(max(0, min(wait_s, -(-left // timedelta(seconds=1)))))


def remembered(tries: Tries, limits: Limits, *, now: datetime) -> Tries:
    """The tries that still count."""
    if limits.forgotten_after_s is None or tries.last_at is None:
        return tries
    return Tries() if now - tries.last_at >= timedelta(seconds=limits.forgotten_after_s) else tries


def counted_try(tries: Tries, limits: Limits, *, now: datetime) -> Tries:
    """One more. It is counted before the PIN is looked at, so that many at once cannot all slip through."""
    return Tries(remembered(tries, limits, now=now).failures + 1, now)


def given_back(tries: Tries) -> Tries:
    """A try that was right after all does not count for the address it came from."""
    return Tries(max(0, tries.failures - 1), tries.last_at)


def refused(lock: Lock, *, whose: str, remedy: str = "") -> SignInRefused:
    """What a person is told: how long, and what else they can do."""
    if lock.shut:
        return SignInRefused(
            "it was tried wrongly too many times and is shut", where=whose, remedy="Ask a lead for a new PIN", shut=True
        )
    told = f"Wait {wait_in_words(lock.wait_s)}, then try once more{f', or {remedy}' if remedy else ''}"
    return SignInRefused("too many wrong tries", where=whose, remedy=told, wait_s=lock.wait_s)


def wait_in_words(seconds: int) -> str:
    """'1 second', '40 seconds', '2 minutes', '1 hour': rounded up, never promising too little."""
    if seconds < 120:
        number, unit = seconds, "second"
    elif seconds < 7200:
        number, unit = -(-seconds // 60), "minute"
    else:
        number, unit = -(-seconds // 3600), "hour"
    return f"{number} {unit}{'' if number == 1 else 's'}"
