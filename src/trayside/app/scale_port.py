"""A scale as the bench sees it: the newest reading, whether it stands still, and whether the scale was empty before."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, Protocol

ScaleState = Literal["stable", "moving", "empty", "over", "below zero", "silent", "unreadable"]
SILENT_AFTER_S = 3.0
"""A reading older than this is none: the line may be cut, the scale switched off."""


@dataclass(frozen=True, slots=True)
class Reading:
    """One line of the scale. `net` is None when it does not say; `over` when it is outside what the scale can weigh."""

    mass_g: float
    stable: bool
    net: bool | None = None
    over: bool = False


@dataclass(frozen=True, slots=True)
class ScaleNow:
    """What the scale shows. `mass_g` is given only when it may be taken.

    `load` counts how often something was put on the empty scale: two bags never come with the same count.
    """

    name: str
    state: ScaleState
    mass_g: int | None = None
    load: int = 0
    why: str = ""


class Scale(Protocol):
    def now(self) -> ScaleNow: ...


class ScaleWatch:
    """Takes readings as they come, from a thread of their own, and says what the scale shows now."""

    def __init__(self, *, name: str, empty_g: int, seconds: Callable[[], float]) -> None:
        self._name, self._empty_g, self._seconds = name, empty_g, seconds
        self._lock = threading.Lock()
        self._newest: Reading | None = None
        self._at_s = 0.0
        self._why = "nothing was read yet"
        self._load, self._was_empty = 0, True

    def take(self, reading: Reading) -> None:
        with self._lock:
            self._newest, self._at_s, self._why = reading, self._seconds(), ""
            if reading.over:
                return
            if abs(reading.mass_g) < self._empty_g:
                self._was_empty = True
            elif self._was_empty:
                self._was_empty = False
                self._load += 1

    def fail(self, why: str) -> None:
        """Nothing can be read, in words."""
        with self._lock:
            self._newest, self._why = None, why

    def doubt(self, line: str) -> None:
        """A line came that cannot be read."""
        self.fail(f"the scale sent {line[:60]!a}")

    def now(self) -> ScaleNow:
        with self._lock:
            newest, why, load = self._newest, self._why, self._load
            age_s = self._seconds() - self._at_s
        if newest is None:
            return ScaleNow(self._name, "unreadable" if why.startswith("the scale sent") else "silent", why=why, load=load)
        if age_s > SILENT_AFTER_S:
            return ScaleNow(self._name, "silent", why=f"nothing came for {age_s:.0f} s", load=load)
        if newest.over:
            return ScaleNow(self._name, "over", load=load)
        if not newest.stable:
            return ScaleNow(self._name, "moving", load=load)
        if abs(newest.mass_g) < self._empty_g:
            return ScaleNow(self._name, "empty", load=load)
        if newest.mass_g < 0:
            return ScaleNow(self._name, "below zero", load=load)
        return ScaleNow(self._name, "stable", round(newest.mass_g), load)
