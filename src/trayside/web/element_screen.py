"""Element: linked charts of standards, blanks, carry-over and pairs, each with its table."""

from __future__ import annotations

import json
import re

from starlette.requests import Request
from starlette.responses import Response

from trayside.app.charts.dense import DENSE
from trayside.app.charts.element import CloseLook
from trayside.app.element_view import ElementChoice, ElementView, view_element
from trayside.errors import ImpossibleValue, NotFound

from .addresses import element_address
from .asking import services_of, whole_number
from .page import page
from .words import say

DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
LONG_CACHE = {"Cache-Control": "public, max-age=31536000, immutable"}


def element_screen(request: Request) -> Response:
    close = _close(request)
    view = _view(request, close)
    scripts = services_of(request).chart_scripts
    query = _query(view.choice, close)
    return page(
        "element.html",
        yard=view.rules.yard,
        view=view,
        close=close,
        query=query,
        most=DENSE,
        chart_program=f"/charts/{scripts.version}/charts.js" if scripts else None,
        figure_address=lambda figure: element_address(view.choice.element, f"figure/{figure.name}.json", **query),
        table_address=lambda figure: element_address(view.choice.element, f"table/{figure.name}", **query),
        picked=request.query_params.get("pick", ""),
    )


def element_figure(request: Request) -> Response:
    """The description of one chart, for the page to draw."""
    view = _view(request, _close(request))
    figure = view.figure(request.path_params["figure"])
    return Response(json.dumps(figure.description(), allow_nan=False, separators=(",", ":")), media_type="application/json")


def element_table(request: Request) -> Response:
    """The whole table of one chart."""
    close = _close(request)
    view = _view(request, close)
    figure = view.figure(request.path_params["figure"])
    back = element_address(view.choice.element, **_query(view.choice, close))
    return page("element_table.html", yard=view.rules.yard, view=view, figure=figure, back=f"{back}#figure-{figure.name}")


def chart_program(request: Request) -> Response:
    """The program that draws charts. Its address holds its version, so a browser may keep it."""
    scripts = services_of(request).chart_scripts
    if scripts is None or request.path_params["version"] != scripts.version:
        raise NotFound(say("fault.no_page"), where=request.url.path, remedy=say("fault.no_page.do"))
    return Response(scripts.script(), media_type="text/javascript", headers=LONG_CACHE)


def _view(request: Request, close: CloseLook | None) -> ElementView:
    services, asked = services_of(request), request.query_params
    choice = ElementChoice(
        element=request.path_params["element"],
        laboratory=asked.get("laboratory") or None,
        since=day_asked(asked.get("since", ""), say("results.since")),
        until=day_asked(asked.get("until", ""), say("results.until")),
    )
    return view_element(choice, close=close, start_work=services.start_work, shelf=services.shelf)


def day_asked(text: str, what: str) -> str | None:
    """A day from an address, as YYYY-MM-DD."""
    if text and not DAY.fullmatch(text):
        raise ImpossibleValue(f"{text[:20]!r} is not a day", where=what, remedy="Write it like 2031-05-04")
    return text or None


def _close(request: Request) -> CloseLook | None:
    """The stretch of one series that is to be drawn result by result."""
    asked = request.query_params
    if not asked.get("close"):
        return None
    first, last = (whole_number(asked.get(name, ""), say("element.close")) for name in ("first", "last"))
    if not 1 <= first <= last:
        raise ImpossibleValue(
            f"{first} to {last} is no stretch", where=say("element.close"), remedy="Give the first and the last, from 1"
        )
    return CloseLook(asked["close"], first, last)


def _query(choice: ElementChoice, close: CloseLook | None) -> dict[str, object]:
    """The choice as it stands in an address."""
    query: dict[str, object] = {"laboratory": choice.laboratory, "since": choice.since, "until": choice.until}
    if close is not None:
        query |= {"close": close.group, "first": close.first, "last": close.last}
    return query
