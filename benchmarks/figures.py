"""What a measure answers with, and how it is timed: the best of a few rounds, each measure in a process of its own."""

from __future__ import annotations

import multiprocessing
import os
import platform
import resource
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Figure:
    """One number of one measure. `goal` is the most it should be; None when it only explains another."""

    measure: str
    what: str
    value: float | None
    unit: str
    goal: float | None = None
    note: str = ""

    @property
    def holds(self) -> bool | None:
        return None if self.goal is None or self.value is None else self.value <= self.goal


def in_child(function: Callable[..., Any], *arguments: Any) -> tuple[Any, float]:
    """The answer of a function run in a fresh process, and the most memory that process held, in MB."""
    with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn")) as child:
        return child.submit(_with_memory, function, arguments).result()


def _with_memory(function: Callable[..., Any], arguments: tuple) -> tuple[Any, float]:
    answer = function(*arguments)
    # Linux counts in KiB, macOS in bytes.
    held = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return answer, held / (2**20 if platform.system() == "Darwin" else 2**10)


def machine() -> dict[str, str | int]:
    """What the figures were measured on. Other work on the same machine shows in seconds, less in ratios."""
    usable = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    load = os.getloadavg()[0]
    return {
        "cores": usable or 1,
        "python": platform.python_version(),
        "system": f"{platform.system()} {platform.machine()}",
        "busy_before": f"{load:.1f} processes on average in the minute before",
    }
