"""The addresses of the screens. A hole's name may hold a slash; in an address it stands as a tilde, which no name holds."""

from __future__ import annotations

from urllib.parse import quote, urlencode


def hole_address(hole_id: str, part: str = "", **query: object) -> str:
    """'/hole/VR-01/sheet'; empty query values are left out."""
    path = f"/hole/{quote(hole_id.replace('/', '~'), safe='~')}"
    return _with_query(f"{path}/{part}" if part else path, query)


def element_address(element: str, part: str = "", **query: object) -> str:
    """'/results/element/Au'; empty query values are left out."""
    path = f"/results/element/{quote(element, safe='')}"
    return _with_query(f"{path}/{part}" if part else path, query)


def yard_address(**query: object) -> str:
    return _with_query("/", query)


def sample_address(number: str) -> str:
    """'/sample/T1001'; a slash in a number is written out."""
    return f"/sample/{quote(number, safe='')}"


def hole_of(path_text: str) -> str:
    """The hole's name from its part of the address."""
    return path_text.replace("~", "/")


def _with_query(path: str, query: dict[str, object]) -> str:
    kept = {name: value for name, value in query.items() if value not in (None, "")}
    return f"{path}?{urlencode(kept)}" if kept else path
