"""Keep a photograph as it came, under its fingerprint."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from trayside.errors import ImpossibleValue, RefusedByRule
from trayside.model.rules import Rules


@dataclass(frozen=True, slots=True)
class CheckedPhoto:
    """A file that was read as a picture to its end."""

    media_type: str
    width_px: int
    height_px: int


@dataclass(frozen=True, slots=True)
class KeptPhoto:
    sha256: str
    size_bytes: int
    photo: CheckedPhoto


class Photos(Protocol):
    """Where photographs lie, each under the SHA-256 of its bytes."""

    def keep(self, content: bytes) -> str:
        """Store the bytes once, however often they come, and give their fingerprint."""

    def read(self, sha256: str) -> bytes | None: ...


CheckPhoto = Callable[[bytes], CheckedPhoto]
"""Reads the file as a picture; ImpossibleValue in words when it is none."""


def keep_photo(content: bytes, *, photos: Photos, check_photo: CheckPhoto, rules: Rules) -> KeptPhoto:
    """Refused when it is larger than the yard keeps, or no picture whatever its name says."""
    if not content:
        raise ImpossibleValue("the file is empty", where="photo", remedy="Take the photograph again")
    if len(content) > rules.bench.photo_mb * 1e6:
        raise RefusedByRule(
            f"the photograph has {len(content) / 1e6:.1f} MB, more than the {rules.bench.photo_mb:g} MB this yard keeps",
            where="photo",
            remedy="Take it with fewer pixels, or raise photo_mb in the rules",
        )
    photo = check_photo(content)
    return KeptPhoto(photos.keep(content), len(content), photo)
