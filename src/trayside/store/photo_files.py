"""Photographs as files, each under the SHA-256 of its bytes: in one folder, a subfolder for each first two digits."""

from __future__ import annotations

import hashlib
import os
import re
import tempfile
from pathlib import Path

from trayside.errors import TraysideError

SHA256 = re.compile(r"[0-9a-f]{64}")


class PhotoFiles:
    """`app.keep_photo.Photos` on a folder that is made when the first photograph comes."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def keep(self, content: bytes) -> str:
        """Written beside its place, then put there in one step: a file of that name is always whole."""
        sha256 = hashlib.sha256(content).hexdigest()
        path = self._path(sha256)
        if path.exists() and path.stat().st_size == len(content):
            return sha256
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            number, beside = tempfile.mkstemp(dir=path.parent, suffix=".part")
            try:
                with os.fdopen(number, "wb") as file:
                    file.write(content)
                    file.flush()
                    os.fsync(file.fileno())
                os.replace(beside, path)
            except BaseException:
                Path(beside).unlink(missing_ok=True)
                raise
        except OSError as error:
            raise TraysideError(
                f"the photograph cannot be kept ({error.strerror})",
                where=str(self._folder),
                remedy="Look at the disk: is it full, or may Trayside not write there?",
            ) from error
        return sha256

    def read(self, sha256: str) -> bytes | None:
        if not SHA256.fullmatch(sha256):
            return None
        try:
            return self._path(sha256).read_bytes()
        except FileNotFoundError:
            return None

    def _path(self, sha256: str) -> Path:
        return self._folder / sha256[:2] / sha256
