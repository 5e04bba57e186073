"""What the screens need from outside, handed in once."""

from __future__ import annotations

from dataclasses import dataclass

from trayside.app.papers import Papers
from trayside.app.ports import Clock, MakeId, StartWork

LOCAL_HOSTS = ("127.0.0.1", "localhost", "[::1]")


@dataclass(frozen=True, slots=True)
class Services:
    """The store, the clock, the maker of ids and of papers. `hosts` are the names this yard is reached by."""

    start_work: StartWork
    clock: Clock
    make_id: MakeId
    papers: Papers
    hosts: tuple[str, ...] = LOCAL_HOSTS
