"""A scale on a serial line, read on a thread of its own for as long as the screens are served."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator

import serial

from trayside.app.scale_port import ScaleNow, ScaleWatch
from trayside.errors import ImpossibleValue
from trayside.model.rules import ScaleSettings

from .scale_lines import LONGEST_LINE, read_line

PARITY = {"none": serial.PARITY_NONE, "even": serial.PARITY_EVEN, "odd": serial.PARITY_ODD}
WAIT_S = 0.5
AGAIN_AFTER_S = 2.0


class SerialScale:
    """`app.scale_port.Scale` over a serial port. A pulled cable is tried again until it is back."""

    def __init__(self, settings: ScaleSettings) -> None:
        self._settings = settings
        self._watch = ScaleWatch(name=settings.name, empty_g=settings.empty_g, seconds=time.monotonic)
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._read_on, name="scale", daemon=True)
        self._thread.start()

    def now(self) -> ScaleNow:
        return self._watch.now()

    def close(self) -> None:
        self._over.set()
        self._thread.join(timeout=5)

    def _read_on(self) -> None:
        while not self._over.is_set():
            try:
                with self._open() as port:
                    for line in self._lines(port):
                        self._take(line)
            except (serial.SerialException, OSError, ValueError) as error:
                self._watch.fail(f"the serial port {self._settings.port} does not answer ({_in_words(error)})")
                self._over.wait(AGAIN_AFTER_S)

    def _open(self) -> serial.Serial:
        one = self._settings
        return serial.Serial(one.port, one.baud, one.data_bits, PARITY[one.parity], one.stop_bits, timeout=WAIT_S)

    def _lines(self, port: serial.Serial) -> Iterator[str]:
        """Whole lines; what came before the first line end may have lost its beginning and is dropped."""
        held, in_step = b"", False
        while not self._over.is_set():
            held += port.read(max(1, min(port.in_waiting, 4096)))
            *lines, held = held.replace(b"\r", b"\n").split(b"\n")
            for line in lines:
                if in_step and line.strip():
                    yield line.decode("ascii", "replace").strip()
                in_step = True
            if len(held) > LONGEST_LINE:
                self._watch.doubt(held.decode("ascii", "replace"))
                held, in_step = b"", False

    def _take(self, line: str) -> None:
        try:
            self._watch.take(read_line(line, self._settings))
        except ImpossibleValue:
            self._watch.doubt(line)


def _in_words(error: Exception) -> str:
    return str(getattr(error, "strerror", None) or error)[:120]
