"""Which right every address needs. An address that is not listed needs the gravest: a test keeps the table whole."""

from __future__ import annotations

from starlette.routing import BaseRoute, Match, Mount, Route
from starlette.types import Scope

ANYONE = "anyone"
"""Also a stranger on the network: pairing, and what its page is drawn with."""
DEVICE = "device"
"""A paired tablet or the yard's own machine, nobody signed in: signing in, scripts and styles."""
MACHINE = "machine"
"""Only the yard's own machine."""
GRAVEST = "manage"

NEEDS: dict[str, str] = {
    "GET /": "look",
    "GET /find": "look",
    "POST /plan": "plan",
    "GET /hole/{hole_id}": "look",
    "GET /hole/{hole_id}/trays": "look",
    "GET /hole/{hole_id}/sheet": "look",
    "POST /hole/{hole_id}/sheet/plan": "plan",
    "POST /hole/{hole_id}/sheet/preview": "look",
    "POST /hole/{hole_id}/sheet/try": "look",
    "POST /hole/{hole_id}/sheet/save": "edit",
    "POST /hole/{hole_id}/sheet/issue": "issue",
    "GET /hole/{hole_id}/sheet/{revision}": "look",
    "GET /hole/{hole_id}/paper/cut-sheet.pdf": "look",
    "GET /hole/{hole_id}/paper/tray-sheet.pdf": "look",
    "GET /hole/{hole_id}/paper/tickets.pdf": "look",
    "GET /bench": "look",
    "GET /bench/worker.js": DEVICE,
    "GET /bench/shell": DEVICE,
    "GET /bench/who.json": DEVICE,
    "GET /bench/sheets.json": "look",
    "GET /bench/events": "look",
    "POST /bench/events": "record",
    "GET /bench/{hole_id}/{tray:int}.json": "look",
    "GET /bench/{hole_id}/{tray:int}": "look",
    "POST /photos": "record",
    "GET /photos/{sha256}": "look",
    "GET /scale": "look",
    "GET /loads": "look",
    "POST /loads": "dispatch",
    "POST /loads/pack": "dispatch",
    "GET /sacks/{sack_id}": "look",
    "POST /sacks/{sack_id}/seal": "record",
    "POST /sacks/{sack_id}/another-seal": "dispatch",
    "POST /sacks/{sack_id}/undo": "dispatch",
    "GET /loads/{load_id}": "look",
    "POST /loads/{load_id}": "dispatch",
    "POST /loads/{load_id}/send": "dispatch",
    "POST /loads/{load_id}/hand-over": "dispatch",
    "GET /loads/{load_id}/dispatch-note.pdf": "look",
    "GET /loads/{load_id}/sample-list.pdf": "look",
    "GET /loads/{load_id}/sample-list.csv": "look",
    "POST /loads/{load_id}/received": "dispatch",
    "GET /loads/{load_id}/received/{receipt_id}": "look",
    "POST /loads/{load_id}/received/{receipt_id}": "dispatch",
    "GET /hole/{hole_id}/cut": "look",
    "POST /hole/{hole_id}/cut/advised": "issue",
    "POST /hole/{hole_id}/cut/set": "issue",
    "POST /hole/{hole_id}/cut/read": "record",
    "GET /hole/{hole_id}/oriented": "look",
    "GET /hole/{hole_id}/kept": "look",
    "POST /hole/{hole_id}/kept/take": "issue",
    "POST /hole/{hole_id}/kept/place": "record",
    "GET /hole/{hole_id}/masses": "look",
    "GET /bench/masses.json": "look",
    "GET /to-settle": "look",
    "POST /to-settle": "resolve",
    "GET /ledger/find": "look",
    "GET /ledger/{object_type}/{object_id}": "look",
    "POST /ledger/{object_type}/{object_id}": "resolve",
    "POST /void/{number}": "resolve",
    "POST /people/role": "manage",
    "GET /safety": "look",
    "GET /safety/open": "look",
    "GET /safety/{day}/{person}": "look",
    "GET /safety/{day}/{person}/edit": "record",
    "POST /safety/{day}/{person}/edit": "record",
    "GET /safety/{day}/{person}/paper.pdf": "look",
    "GET /results": "look",
    "GET /results/{certificate_id}": "look",
    "GET /results/{certificate_id}/request.pdf": "look",
    "GET /results/{certificate_id}/request-{name}.csv": "look",
    "POST /results/{certificate_id}/sign": "resolve",
    "GET /results/design": "look",
    "GET /results/element/{element}": "look",
    "GET /results/element/{element}/figure/{figure}.json": "look",
    "GET /results/element/{element}/table/{figure}": "look",
    "GET /charts/{version}/charts.js": DEVICE,
    "GET /hole/{hole_id}/assays": "look",
    "GET /hole/{hole_id}/assays/{name}.csv": "look",
    "GET /sample/{number:path}": "look",
    "GET /saws": "look",
    "GET /saws/{saw}": "look",
    "GET /saws/{saw}/card": "look",
    "POST /saws/{saw}/card": "record",
    "GET /saws/{saw}/card.pdf": "look",
    "POST /saws/{saw}/{act}": "record",
    "GET /blades": "look",
    "GET /blades.pdf": "look",
    "GET /shift": "look",
    "POST /shift": "plan",
    "GET /shift/{plan_id}": "look",
    "POST /shift/{plan_id}/stop": "plan",
    "GET /shift/{plan_id}/plan.pdf": "look",
    "GET /results/import": "dispatch",
    "POST /results/import": "dispatch",
    "GET /results/import/{upload_id}": "dispatch",
    "POST /results/import/{upload_id}": "dispatch",
    "GET /report": "look",
    "GET /report/report.pdf": "look",
    "GET /report/report.html": "look",
    "GET /sign-in": DEVICE,
    "POST /sign-in": DEVICE,
    "POST /sign-out": DEVICE,
    "GET /pair": ANYONE,
    "POST /pair": ANYONE,
    "GET /people": "manage",
    "POST /people": "manage",
    "POST /people/disable": "manage",
    "POST /people/pin": "manage",
    "GET /people/first": MACHINE,
    "POST /people/first": MACHINE,
    "GET /tablets": "manage",
    "POST /tablets/code": "manage",
    "POST /tablets/revoke": "manage",
    "GET /static": DEVICE,
}
OPEN_STATIC = frozenset({"/static/trayside.css", "/static/access.css", "/static/tray.svg", "/static/pin-pad.js"})


def needed_right(scope: Scope, routes: list[BaseRoute]) -> str | None:
    """The right this request needs; None when no page has this address."""
    method = "GET" if scope["method"] == "HEAD" else scope["method"]
    for route in routes:
        if route.matches(scope)[0] is Match.FULL and isinstance(route, Route | Mount):
            if isinstance(route, Mount) and scope["path"] in OPEN_STATIC:
                return ANYONE
            return NEEDS.get(f"{method} {route.path}", GRAVEST)
    return None


def addresses(routes: list[BaseRoute] | tuple[BaseRoute, ...]) -> list[str]:
    """Every address of the site as the table names it."""
    found = []
    for route in routes:
        methods = {"GET"} if isinstance(route, Mount) else route.methods - {"HEAD"}
        found += [f"{method} {route.path}" for method in sorted(methods)]
    return found
