"""The program that draws charts in a browser, put together on this machine from what is installed."""

from __future__ import annotations

from threading import Lock

import vl_convert

from trayside.pages.figures import VEGA_LITE

SNIPPET = "globalThis.drawChart = vegaEmbed;"


class InstalledChartScripts:
    """`app.charts.scripts.ChartScripts`: made when first asked for (about a second), then kept in memory."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._made: bytes | None = None

    @property
    def version(self) -> str:
        return f"{vl_convert.__version__}-{VEGA_LITE}"

    def script(self) -> bytes:
        with self._lock:
            if self._made is None:
                self._made = vl_convert.javascript_bundle(SNIPPET, vl_version=VEGA_LITE).encode()
            return self._made
