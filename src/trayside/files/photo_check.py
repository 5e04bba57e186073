"""Is this file a photograph? By reading it to its end, never by its name."""

from __future__ import annotations

import warnings
from io import BytesIO

from PIL import Image

from trayside.app.keep_photo import CheckedPhoto
from trayside.errors import ImpossibleValue

FORMATS = {"JPEG": "image/jpeg", "PNG": "image/png", "WEBP": "image/webp"}
MOST_PIXELS = 120_000_000
"""More than any camera of a tablet has; a small file may claim any size."""
STARTS = {b"%PDF": "a PDF", b"PK\x03\x04": "a ZIP file or an office document", b"GIF8": "a GIF", b"<svg": "an SVG drawing"}


def check_photo(content: bytes) -> CheckedPhoto:
    """JPEG, PNG or WebP, decoded to its end; ImpossibleValue that says what it is instead."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # what Pillow doubts is decided below
            with Image.open(BytesIO(content), formats=tuple(FORMATS)) as image:
                width_px, height_px = image.size
                if width_px * height_px > MOST_PIXELS:
                    raise _refused(f"it claims to be {width_px} × {height_px} pixels")
                media_type = FORMATS[image.format]
                image.load()
    except ImpossibleValue:
        raise
    except Image.DecompressionBombError as error:
        raise _refused("it claims to have more pixels than any camera") from error
    except (OSError, SyntaxError, ValueError, EOFError) as error:
        raise _refused(_what_it_is(content)) from error
    return CheckedPhoto(media_type, width_px, height_px)


def _what_it_is(content: bytes) -> str:
    start = content[:64].lstrip()
    for mark, name in STARTS.items():
        if start.startswith(mark):
            return f"it is {name}"
    if content.startswith((b"\xff\xd8\xff", b"\x89PNG", b"RIFF")):
        return "it is cut short or damaged"
    return "it is neither JPEG nor PNG nor WebP"


def _refused(what: str) -> ImpossibleValue:
    return ImpossibleValue(f"this is not a photograph: {what}", where="photo", remedy="Take the photograph again")
