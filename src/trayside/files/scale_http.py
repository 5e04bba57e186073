"""A scale behind a small local address: every answer is its newest line, as text or as a little JSON.

Text has the shape of the serial lines. JSON has `mass_g` and `stable`, and may have `net` and `over`.
"""

from __future__ import annotations

import json
import threading
import time
from urllib.error import URLError
from urllib.parse import urlsplit
from urllib.request import ProxyHandler, Request, build_opener

from trayside.app.scale_port import Reading, ScaleNow, ScaleWatch
from trayside.errors import ImpossibleValue
from trayside.model.rules import ScaleSettings

from .scale_lines import LONGEST_LINE, read_line

EVERY_S = 0.25
WAIT_S = 1.5


class HttpScale:
    """`app.scale_port.Scale` asked for over http, on a thread of its own."""

    def __init__(self, settings: ScaleSettings) -> None:
        if urlsplit(settings.feed).scheme not in ("http", "https"):
            raise ImpossibleValue(f"{settings.feed!a} is no http address", where="bench.scale.feed", remedy="Like http://127.0.0.1:9100/")
        self._settings = settings
        self._opener = build_opener(ProxyHandler({}))
        self._watch = ScaleWatch(name=settings.name, empty_g=settings.empty_g, seconds=time.monotonic)
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._ask_on, name="scale", daemon=True)
        self._thread.start()

    def now(self) -> ScaleNow:
        return self._watch.now()

    def close(self) -> None:
        self._over.set()
        self._thread.join(timeout=5)

    def _ask_on(self) -> None:
        while not self._over.is_set():
            try:
                with self._opener.open(Request(self._settings.feed), timeout=WAIT_S) as answer:
                    text = answer.read(4 * LONGEST_LINE).decode("utf-8", "replace").strip()
                self._watch.take(read_answer(text, self._settings))
            except ImpossibleValue:
                self._watch.doubt(text)
            except (URLError, OSError, ValueError) as error:
                self._watch.fail(f"{self._settings.feed} does not answer ({str(error)[:120]})")
            self._over.wait(EVERY_S)


def read_answer(text: str, settings: ScaleSettings) -> Reading:
    """The reading in an answer; ImpossibleValue when it is none."""
    if not text.startswith("{"):
        return read_line(text.splitlines()[-1] if text else "", settings)
    try:
        told = json.loads(text)
    except ValueError as error:
        raise _refused("it is no JSON") from error
    mass_g, stable, net, over = (told.get(name) for name in ("mass_g", "stable", "net", "over"))
    number = isinstance(mass_g, int | float) and not isinstance(mass_g, bool) and abs(mass_g) < 1e9
    if not number or not isinstance(stable, bool):
        raise _refused("it needs mass_g, a number, and stable, true or false")
    return Reading(float(mass_g), stable, net if isinstance(net, bool) else None, over=over is True)


def _refused(what: str) -> ImpossibleValue:
    return ImpossibleValue(what, where="answer of the scale", remedy="Look at the feed named in the rules, bench.scale")
