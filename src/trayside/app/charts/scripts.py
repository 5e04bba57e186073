"""What a page needs in the browser to draw charts: asked of the outside, for it is not ours."""

from __future__ import annotations

from typing import Protocol


class ChartScripts(Protocol):
    """The drawing program as one script. `version` changes whenever the script does."""

    @property
    def version(self) -> str: ...

    def script(self) -> bytes:
        """A module that sets `globalThis.drawChart(element, description, options)`."""
