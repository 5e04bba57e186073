"""Photographs: taken in from a tablet, and shown."""

from __future__ import annotations

from dataclasses import asdict

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from trayside.app.keep_photo import keep_photo
from trayside.errors import NotFound, TraysideError

from .asking import body_of, read_rules, services_of
from .services import Services


async def take_photo(request: Request) -> Response:
    """The bytes of one photograph as the body; its fingerprint back."""
    return await run_in_threadpool(_keep, services_of(request), await body_of(request))


def _keep(services: Services, content: bytes) -> Response:
    if services.photos is None or services.check_photo is None:
        raise TraysideError("this yard keeps no photographs", where="photo", remedy="Start the screens with trayside serve")
    kept = keep_photo(
        content, photos=services.photos, check_photo=services.check_photo, rules=read_rules(services)
    )
    return JSONResponse({"sha256": kept.sha256, "bytes": kept.size_bytes, **asdict(kept.photo)})


def photo(request: Request) -> Response:
    services, sha256 = services_of(request), request.path_params["sha256"]
    content = services.photos.read(sha256) if services.photos else None
    if content is None:
        raise NotFound("there is no such photograph", where=sha256[:16], remedy="It may still wait on a tablet")
    media_type = services.check_photo(content).media_type
    # The address is the fingerprint of the bytes: they never change.
    return Response(content, media_type=media_type, headers={"Cache-Control": "private, max-age=31536000, immutable"})
