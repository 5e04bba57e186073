"""Bench: what the operator at the saw sees. The server hands out a shell, sheets as JSON, and takes acts in."""

from __future__ import annotations

import hashlib
import json
from functools import cache
from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from trayside import __version__
from trayside.app.bench_saws import bench_saws
from trayside.app.bench_sheet import bench_sheet
from trayside.app.hole_view import view_hole
from trayside.app.record_bench import MOST_AT_ONCE, record_bench, tray_news
from trayside.app.scale_port import ScaleNow
from trayside.app.yard_rules import rules_of
from trayside.errors import ImpossibleValue, NotFound

from .asking import body_of, hole_in, services_of
from .bench_json import answer_json, moment_json, news_json, saws_json, sheet_json
from .page import page
from .services import Services
from .visitor import VISITOR
from .words import WORDS, say
from .words_bench import BENCH_WORDS

STATIC = Path(__file__).parent / "static"
SOFTWARE = f"trayside {__version__}"
MODULES = tuple(sorted(path.name for path in (STATIC / "bench").glob("*.js") if path.name != "worker.js"))
KEPT = ("/static/bench/bench.css", "/static/posting.js", "/static/tray.svg", *(f"/static/bench/{name}" for name in MODULES))
"""What the shell is drawn with, kept on the tablet beside it."""


def shell(_request: Request) -> Response:
    """The same for every tray and every person: it holds nothing of the yard."""
    return page("bench.html", words={name: WORDS[name] for name in BENCH_WORDS}, modules=MODULES)


def worker(_request: Request) -> Response:
    """The service worker, for /bench only. Its text changes when anything it keeps does, so that browsers fetch it anew."""
    return Response(
        _worker_text(), media_type="text/javascript", headers={"Service-Worker-Allowed": "/bench", "Cache-Control": "no-cache"}
    )


@cache
def _worker_text() -> str:
    words = json.dumps(BENCH_WORDS, sort_keys=True)
    template = page("bench.html", words={}, modules=MODULES).body
    parts = [words.encode(), template, *((STATIC / path.removeprefix("/static/")).read_bytes() for path in KEPT)]
    version = hashlib.sha256(b"\0".join(parts)).hexdigest()[:16]
    head = f"const VERSION = {json.dumps(version)};\nconst KEPT = {json.dumps(KEPT)};\n"
    return head + (STATIC / "bench" / "worker.js").read_text(encoding="utf-8")


def who(request: Request) -> Response:
    """Who acts are signed by, and on which device; also told to a tablet where nobody is signed in."""
    services, visitor = services_of(request), VISITOR.get()
    return JSONResponse(
        {
            "any_people": visitor.any_people,
            "person": visitor.name,
            "may_record": visitor.may("record"),
            "device": visitor.tablet.name if visitor.tablet else "",
            "now": moment_json(services.clock()),
            "software": SOFTWARE,
        }
    )


def sheets(request: Request) -> Response:
    """Issued sheets to choose from, with their ranges of numbers: a tag of another hole is then told from an unknown one."""
    with services_of(request).start_work(writing=False) as work:
        rules = rules_of(work)
        issued = work.issued_sheets()
    holes = [
        {"hole_id": one.hole_id, "revision": one.revision, "trays": one.trays, "ranges": one.ranges} for one in issued
    ]
    return JSONResponse({"yard": rules.yard, "holes": holes})


def sheet(request: Request) -> Response:
    """One tray of the newest revision, with everything that happened to it so far."""
    services, hole_id = services_of(request), hole_in(request)
    with services.start_work(writing=False) as work:
        view = view_hole(work, hole_id)
        if not view.revisions:
            raise NotFound("no sheet was issued", where=hole_id, remedy="Issue it on the Sheet screen first")
        *before, newest = (work.revision(hole_id, head.revision) for head in view.revisions)
        tray = request.path_params["tray"]
        told = bench_sheet(view, newest, tray, earlier=tuple(before))
        news = tray_news(work, hole_id=hole_id, tray=tray)
        now = services.clock()
        saws = saws_json(bench_saws(work, now=now))
    answer = sheet_json(told, news, rules=view.rules, software=SOFTWARE)
    return JSONResponse(answer | {"saws": saws, "now": moment_json(now)})


def news(request: Request) -> Response:
    """What happened at one tray since an event: `hole`, `tray`, `since`."""
    services, asked = services_of(request), request.query_params
    tray, since = asked.get("tray", ""), asked.get("since", "0")
    if not (tray.isdecimal() and since.isdecimal() and len(tray) < 8 and len(since) < 16):
        raise ImpossibleValue("tray and since must be whole numbers", where="bench", remedy=say("fault.broken.do"))
    hole_id = asked.get("hole", "")
    with services.start_work(writing=False) as work:
        if not work.revisions(hole_id):
            raise NotFound("no sheet was issued", where=hole_id[:40], remedy="Choose a hole on the bench's list")
        told = tray_news(work, hole_id=hole_id, tray=int(tray), since=int(since))
        now = services.clock()
        saws = saws_json(bench_saws(work, now=now))
    return JSONResponse(news_json(told) | {"saws": saws, "now": moment_json(now)})


async def take_events(request: Request) -> Response:
    """Acts of a tablet, in the order it did them: {"events": [...]}; answered one by one, by id."""
    try:
        sent = json.loads(await body_of(request))
    except (ValueError, RecursionError) as error:
        raise ImpossibleValue("this is no JSON", where="bench", remedy=say("fault.broken.do")) from error
    events = sent.get("events") if isinstance(sent, dict) else None
    if not isinstance(events, list) or len(events) > MOST_AT_ONCE:
        raise ImpossibleValue(
            f"there must be a list of up to {MOST_AT_ONCE} events", where="bench", remedy=say("fault.broken.do")
        )
    return await run_in_threadpool(_record, services_of(request), events)


def _record(services: Services, events: list) -> Response:
    answers = record_bench(events, start_work=services.start_work, clock=services.clock)
    return JSONResponse(
        {"answers": [answer_json(answer) for answer in answers], "now": moment_json(services.clock())}
    )


def scale(request: Request) -> Response:
    """What the scale shows now. A mass comes only when it may be taken: it stands still, on a scale that was empty."""
    held = services_of(request).scale
    now = held.now() if held else ScaleNow("", "silent", why=say("bench.scale.none"))
    words = say(f"bench.scale.{now.state.replace(' ', '_')}")
    return JSONResponse(
        {"name": now.name, "state": now.state, "mass_g": now.mass_g, "load": now.load, "words": words, "why": now.why}
    )
