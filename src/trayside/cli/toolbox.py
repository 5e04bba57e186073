"""What the commands are given: everything outside the use cases, wired once in bootstrap."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from trayside.app.certificate_reading import OpenCertificate
from trayside.app.papers import Papers
from trayside.app.people_ports import Secrets
from trayside.app.ports import Clock, MakeId, ReadFolder, StartWork
from trayside.app.receive import ReadReceived


class ServeLan(Protocol):
    def __call__(self, start_work: StartWork, *, addresses: tuple[str, ...], port: int, keys: Path) -> None: ...


@dataclass(frozen=True, slots=True)
class Toolbox:
    open_store: Callable[[str], StartWork]
    read_folder: ReadFolder
    describe_folder: Callable[[Path], Path]
    papers: Papers
    serve: Callable[[StartWork, str, int], None]
    clock: Clock
    make_id: MakeId
    demo_folder: Path
    write_docs: Callable[[Path], list[Path]]
    secrets: Secrets | None = None
    serve_lan: ServeLan | None = None
    read_received: ReadReceived | None = None
    open_certificate: OpenCertificate | None = None
