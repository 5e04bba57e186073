"""Sample: everything that is known of one number, from the tray to the last certificate."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response

from trayside.app.sample_story import SampleStory, tell_sample
from trayside.app.tray_picture import tray_pictures
from trayside.model.event import moment

from .asking import services_of
from .page import Amounts, amounts_of, page
from .trays_screen import drawn_trays

MASSES = ("planned", "expected", "weighed", "received", "certificate")


def sample_screen(request: Request) -> Response:
    with services_of(request).start_work(writing=False) as work:
        story = tell_sample(work, request.path_params["number"])
    amounts = amounts_of(story.rules)
    return page(
        "sample.html",
        yard=story.rules.yard,
        story=story,
        amounts=amounts,
        pictures=_pictures(story, amounts),
        masses=_masses(story),
        moment=moment,
    )


def _pictures(story: SampleStory, amounts: Amounts) -> list:
    """The tray it starts in, with the place marked."""
    row = story.row
    if story.hole is None or row is None or row.from_place is None:
        return []
    pictures = tray_pictures(
        hole_id=story.hole.hole_id,
        depth=story.hole.depth,
        rows=story.rows,
        rock=story.hole.core.rock,
        trays=(row.from_place.tray,),
    )
    return drawn_trays(pictures, amounts, row.from_place)


def _masses(story: SampleStory) -> list[tuple[str, float, float | None]]:
    """What is known of its mass, with its share of what was expected."""
    expected = story.masses.expected_kg or story.masses.planned_kg
    found = []
    for name in MASSES:
        mass = getattr(story.masses, f"{name}_kg")
        if mass is not None:
            share = mass / expected if expected and name not in ("planned", "expected") else None
            found.append((name, mass, share))
    return found
