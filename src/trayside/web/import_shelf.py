"""Certificates that were sent and are looked at: kept in memory until they are brought in, given up or pushed out.

Nothing of them is on disk before the import is committed, so a file that is given up leaves no residue.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from dataclasses import dataclass, field

from trayside.app.certificate_reading import OpenedCertificate
from trayside.app.import_certificate import BroughtIn, Look, bring_in, look
from trayside.app.office_acts import Desk
from trayside.app.ports import StartWork
from trayside.errors import NotFound, TraysideError

from .words import say

MOST_FILES = 6
MOST_BYTES = 200 * 2**20
SOON_S = 1.5
"""An import that ends within this is answered with its end; a longer one with its progress."""


@dataclass(eq=False)
class Upload:
    """One file on its way. `settled` grows with every answer; `error` is what stopped the last import."""

    upload_id: str
    opened: OpenedCertificate
    size: int
    settled: dict[str, str] = field(default_factory=dict)
    seen: Look | None = None
    seen_settled: dict[str, str] = field(default_factory=dict)
    thread: threading.Thread | None = None
    stop: threading.Event = field(default_factory=threading.Event)
    done: int = 0
    total: int = 0
    doing: str = ""
    brought: BroughtIn | None = None
    error: TraysideError | None = None
    guard: threading.Lock = field(default_factory=threading.Lock)

    @property
    def running(self) -> bool:
        return self.thread is not None and self.thread.is_alive()

    def look(self, start_work: StartWork) -> Look:
        """What it would bring under the settlements of now; looked at again only when they changed."""
        with self.guard:
            if self.seen is None or self.seen_settled != self.settled:
                self.seen = look(self.opened, self.settled, start_work=start_work)
                self.seen_settled = dict(self.settled)
            return self.seen

    def start(self, *, desk: Desk, start_work: StartWork) -> None:
        """Bring it in on a thread of its own; waits a moment, because most are done by then."""
        with self.guard:
            if self.running or self.brought is not None:
                return
            self.error = None
            self.stop.clear()
            settled = dict(self.settled)

            def run() -> None:
                try:
                    self.brought = bring_in(
                        self.opened,
                        settled,
                        confirmed=True,
                        desk=desk,
                        start_work=start_work,
                        progress=self._progress,
                        cancelled=self.stop.is_set,
                    )
                except TraysideError as error:
                    self.error = error
                except Exception:
                    unforeseen = TraysideError(say("fault.unknown"), where=self.opened.source, remedy=say("fault.unknown.do"))
                    self.error = unforeseen
                    raise
                finally:
                    self.seen = None

            self.thread = threading.Thread(target=run, name=f"import {self.upload_id}", daemon=True)
            self.thread.start()
        self.thread.join(SOON_S)

    def _progress(self, done: int, total: int, what: str) -> None:
        self.done, self.total, self.doing = done, total, what


class ImportShelf:
    """The files that wait, the newest few of them."""

    def __init__(self) -> None:
        self._held: OrderedDict[str, Upload] = OrderedDict()
        self._guard = threading.Lock()

    def put(self, upload: Upload) -> None:
        with self._guard:
            self._held[upload.upload_id] = upload
            idle = [one for one in self._held.values() if not one.running and one is not upload]
            while idle and (
                len(self._held) > MOST_FILES or sum(one.size for one in self._held.values()) > MOST_BYTES
            ):
                del self._held[idle.pop(0).upload_id]

    def get(self, upload_id: str) -> Upload:
        with self._guard:
            upload = self._held.get(upload_id)
        if upload is None:
            raise NotFound(say("import.forgotten"), where=say("import.title"), remedy=say("import.forgotten.do"))
        return upload

    def drop(self, upload_id: str) -> None:
        with self._guard:
            self._held.pop(upload_id, None)
