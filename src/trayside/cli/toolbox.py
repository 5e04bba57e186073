"""What the commands are given: everything outside the use cases, wired once in bootstrap."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from trayside.app.papers import Papers
from trayside.app.ports import Clock, MakeId, ReadFolder, StartWork


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
