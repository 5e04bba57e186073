"""What a tablet gets over plain http: the yard's certificate, its fingerprint, how to trust it. Nothing else."""

from __future__ import annotations

from pathlib import Path

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, Response
from starlette.routing import Route

from .guards import Guards
from .page import ENVIRONMENT, time_text
from .services import Lan
from .words import say

CERTIFICATE = "/trayside-authority.crt"
STYLES = ("trayside.css", "access.css")


def build_trust_site(lan: Lan, *, certificate: Path, ends_at, hosts: tuple[str, ...]) -> Starlette:
    """Two addresses: the page and the certificate. It has no store, so it cannot show anything of the yard."""
    static = Path(__file__).parent / "static"

    def page(_request: Request) -> Response:
        template = ENVIRONMENT.get_template("trust.html")
        return HTMLResponse(template.render(lan=lan, certificate=CERTIFICATE, ends=time_text(ends_at), styles=STYLES))

    def file(_request: Request) -> Response:
        headers = {"Content-Disposition": 'attachment; filename="trayside-authority.crt"'}
        return Response(certificate.read_bytes(), media_type="application/x-x509-ca-cert", headers=headers)

    def style(request: Request) -> Response:
        name = request.path_params["name"]
        if name not in STYLES:
            raise HTTPException(404)
        return Response((static / name).read_bytes(), media_type="text/css")

    async def nothing_else(_request: Request, error: Exception) -> Response:
        return PlainTextResponse(say("fault.no_page") + ".\n", status_code=getattr(error, "status_code", 500))

    return Starlette(
        routes=[Route("/", page), Route(CERTIFICATE, file), Route("/static/{name}", style)],
        middleware=[Middleware(Guards, hosts=hosts)],
        exception_handlers={HTTPException: nothing_else},
    )
