"""PINs hashed with argon2id, random tokens kept as SHA-256 only."""

from __future__ import annotations

import hashlib
import secrets
from functools import cached_property
from threading import BoundedSemaphore

from argon2 import PasswordHasher, Type
from argon2.exceptions import InvalidHashError, VerificationError

from trayside.errors import ImpossibleValue
from trayside.model.person import SHORTEST_PIN, checked_pin
from trayside.model.tablet import CODE_LENGTH, CODE_LETTERS

TOKEN_BYTES = 32
AT_ONCE = 2


class Argon2Secrets:
    """`app.people_ports.Secrets`. Cost by default: RFC 9106 section 4, second recommended option (64 MiB, 3 passes;
    from memory), which is also the library's own. Few at once, so that a flood of tries cannot eat the memory."""

    def __init__(self, *, passes: int = 3, memory_kib: int = 65536, lanes: int = 4) -> None:
        self._hasher = PasswordHasher(time_cost=passes, memory_cost=memory_kib, parallelism=lanes, type=Type.ID)
        self._turn = BoundedSemaphore(AT_ONCE)

    @cached_property
    def nobody_hash(self) -> str:
        return self.hash_pin(self.new_token())

    def hash_pin(self, pin: str) -> str:
        with self._turn:
            return self._hasher.hash(pin)

    def pin_matches(self, pin_hash: str, pin: str) -> bool:
        with self._turn:
            try:
                return self._hasher.verify(pin_hash, pin.encode("utf-8", "surrogatepass"))
            except (VerificationError, InvalidHashError):
                return False

    def new_token(self) -> str:
        return secrets.token_urlsafe(TOKEN_BYTES)

    def digest(self, token: str) -> str:
        return hashlib.sha256(token.encode("utf-8", "surrogatepass")).hexdigest()

    def new_code(self) -> str:
        return "".join(secrets.choice(CODE_LETTERS) for _ in range(CODE_LENGTH))

    def new_pin(self) -> str:
        while True:
            pin = "".join(secrets.choice("0123456789") for _ in range(SHORTEST_PIN))
            try:
                return checked_pin(pin)
            except ImpossibleValue:
                continue
