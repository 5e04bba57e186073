"""Every error Trayside raises on purpose, as one family.

    TraysideError                what, where, and what to do
    ├── ImpossibleValue          a number that cannot be (also a ValueError): refused, never clipped
    ├── LoadRefused              a yard folder with faults: nothing of it was stored
    ├── NotFound                 a hole, tray, sheet or number that is not in the yard
    ├── RefusedByRule            a rule of the yard forbids it (issuing with red findings, a number used twice)
    │   └── SignInRefused        a wrong PIN or code, or too many of them
    └── ChangedMeanwhile         somebody else saved first: nothing was lost, look at both

A message tells a person in gloves what to do next.
"""


class TraysideError(Exception):
    """Base of the family: `what` went wrong, `where`, and `remedy` (what to do)."""

    exit_code = 1

    def __init__(self, what: str, *, where: str = "", remedy: str = "") -> None:
        self.what, self.where, self.remedy = what, where, remedy
        super().__init__(what, where, remedy)

    def __str__(self) -> str:
        parts = [f"{self.where}: {self.what}" if self.where else self.what]
        if self.remedy:
            parts.append(self.remedy)
        return ". ".join(part.rstrip(".") for part in parts) + "."


class ImpossibleValue(TraysideError, ValueError):
    """A number that cannot be: negative length, kerf wider than the core, NaN where a value is needed."""

    exit_code = 2


class LoadRefused(TraysideError):
    """A yard folder with faults; `faults` lists every one, nothing of the folder was stored."""

    exit_code = 3

    def __init__(self, what: str, *, where: str = "", remedy: str = "", faults: tuple = ()) -> None:
        super().__init__(what, where=where, remedy=remedy)
        self.faults = faults


class NotFound(TraysideError):
    """Asked for something the yard does not hold."""

    exit_code = 4


class RefusedByRule(TraysideError):
    """A rule of the yard forbids this step; `reasons` names each one."""

    exit_code = 5

    def __init__(self, what: str, *, where: str = "", remedy: str = "", reasons: tuple = ()) -> None:
        super().__init__(what, where=where, remedy=remedy)
        self.reasons = reasons


class SignInRefused(RefusedByRule):
    """A wrong PIN or code; `wait_s` to wait before the next try, `shut` when waiting does not help."""

    def __init__(self, what: str, *, where: str = "", remedy: str = "", wait_s: int = 0, shut: bool = False) -> None:
        super().__init__(what, where=where, remedy=remedy)
        self.wait_s, self.shut = wait_s, shut


class ChangedMeanwhile(TraysideError):
    """Somebody else saved a newer version first."""

    exit_code = 6
