"""Trays: every tray drawn to scale, a page at a time; a depth typed is found at once and marked."""

from __future__ import annotations

from xml.etree import ElementTree

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import Response

from trayside.app.find_depth import FoundDepth, find_depth
from trayside.app.hole_view import HoleView, view_hole
from trayside.app.tray_picture import TrayPicture, tray_pictures
from trayside.app.tray_svg import tray_svg
from trayside.app.typed_depth import typed_depth_mm
from trayside.errors import ImpossibleValue, NotFound
from trayside.model.cut_sheet import Place

from .asking import hole_in, services_of
from .page import Amounts, amounts_of, page
from .words import say

TRAYS_A_PAGE = 12
WIDEST_PX = 1150.0
LARGEST_SCALE = 1.05
SVG = "http://www.w3.org/2000/svg"

ElementTree.register_namespace("", SVG)


def trays_screen(request: Request) -> Response:
    with services_of(request).start_work(writing=False) as work:
        view = view_hole(work, hole_in(request))
    amounts = amounts_of(view.rules)
    typed = request.query_params.get("depth", "")
    found, complaint = None, None
    if typed.strip():
        try:
            found = find_depth(view, typed_depth_mm(typed, unit=amounts.unit))
        except ImpossibleValue as refusal:
            complaint = refusal
    pages = _pages(view)
    number = _page_wanted(request.query_params.get("page", ""), view, found, len(pages))
    shown = pages[number - 1] if pages else ()
    pictures = tray_pictures(
        hole_id=view.hole_id,
        depth=view.depth,
        rows=view.sheet.rows if view.sheet else (),
        rock=view.core.rock,
        trays=shown,
    )
    place = found.place if found else None
    return page(
        "trays.html",
        status=422 if complaint else 200,
        yard=view.rules.yard,
        view=view,
        amounts=amounts,
        typed=typed,
        found=found,
        found_words=found_words(found, view, amounts) if found else "",
        complaint=complaint,
        pages=[(at, trays[0], trays[-1]) for at, trays in enumerate(pages, start=1)],
        number=number,
        drawn=drawn_trays(pictures, amounts, place),
        found_tray=place.tray if place else None,
        broken=[tray for tray in view.core.trays if tray not in view.depth.trays],
    )


def found_words(found: FoundDepth, view: HoleView, amounts: Amounts) -> str:
    """What is at a depth, in words: '123.40 m: tray 25, row 3, 42 cm.'"""
    told = {"depth": amounts.depth_with_unit(found.depth_mm), "place": found.place, "run": found.run}
    match found.what:
        case "loss":
            told["span"] = amounts.span(found.lost_from_mm, found.lost_to_mm)
            said = say("found.loss" if found.place else "found.loss_no_tray", **told)
        case "above":
            said = say("found.above", edge=amounts.depth_with_unit(view.depth.runs[0].from_mm), **told)
        case "below":
            said = say("found.below", edge=amounts.depth_with_unit(max(run.to_mm for run in view.depth.runs)), **told)
        case "core" if found.place:
            said = say("found.core", **told)
        case "core":
            said = say("found.no_tray", **told)
        case _:
            said = say("found.nothing", **told)
    if found.sample is not None:
        span = amounts.span(found.sample.from_mm, found.sample.to_mm)
        said += " " + say("found.sample", number=found.sample.number, span=span)
    return said


def _pages(view: HoleView) -> list[tuple[int, ...]]:
    numbers = tuple(tray.tray for tray in view.depth.trays)
    return [numbers[at : at + TRAYS_A_PAGE] for at in range(0, len(numbers), TRAYS_A_PAGE)]


def _page_wanted(text: str, view: HoleView, found: FoundDepth | None, pages: int) -> int:
    """The page asked for by number, else the one with the depth that was found."""
    if text:
        if not text.isdecimal() or not 0 < int(text[:6]) <= max(1, pages):
            raise NotFound(
                f"there is no page {text[:20]} of trays", where=view.hole_id, remedy="Choose one of the pages"
            )
        return int(text)
    if found is None or not pages:
        return 1
    if found.place is not None:
        return _page_of(view, found.place.tray)
    below = [index for index, tray in enumerate(view.depth.trays) if tray.to_mm >= found.depth_mm]
    return below[0] // TRAYS_A_PAGE + 1 if below else pages


def _page_of(view: HoleView, tray: int) -> int:
    return [held.tray for held in view.depth.trays].index(tray) // TRAYS_A_PAGE + 1


def drawn_trays(
    pictures: tuple[TrayPicture, ...], amounts: Amounts, place: Place | None
) -> list[tuple[TrayPicture, Markup]]:
    longest_mm = max((picture.widest_mm for picture in pictures), default=1.0)
    scale = min(LARGEST_SCALE, WIDEST_PX / longest_mm)
    drawn, marked = [], False
    for picture in pictures:
        svg = tray_svg(picture=picture, scale_px_per_mm=scale, unit=amounts.unit, longest_mm=longest_mm)
        if place is not None and place.tray == picture.tray and not marked:
            svg, marked = _with_spot(svg, place), True
        drawn.append((picture, Markup(svg)))
    return drawn


def _with_spot(svg: str, place: Place) -> str:
    """The picture with the place marked: a ring on the core and a pointer above it."""
    root = ElementTree.fromstring(svg)
    row = root.find(f".//{{{SVG}}}g[@data-row='{place.row}']")
    channel = row.find(f"{{{SVG}}}rect[@class='tray-channel']")
    x = float(channel.get("x")) + place.left_cm * 10 * float(root.get("data-px-per-mm"))
    y, high = float(channel.get("y")), float(channel.get("height"))
    spot = ElementTree.SubElement(root, f"{{{SVG}}}g", {"class": "spot", "id": "spot"})
    ElementTree.SubElement(spot, f"{{{SVG}}}path", {"d": f"M{x:.1f},{y - 4:.1f}v{high + 8:.1f}", "class": "spot-line"})
    ElementTree.SubElement(spot, f"{{{SVG}}}path", {"d": f"M{x - 7:.1f},{y - 14:.1f}h14l-7,12z", "class": "spot-point"})
    return ElementTree.tostring(root, encoding="unicode")
