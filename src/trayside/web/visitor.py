"""Who is asking for a page: a person, from a paired tablet, from the yard's own machine, or nobody we know."""

from __future__ import annotations

from contextvars import ContextVar
from dataclasses import dataclass
from typing import Literal

from trayside.model.person import Person, Right
from trayside.model.tablet import Tablet

Reach = Literal["here", "network"]
HERE_WITHOUT_NAME = frozenset({"look", "plan", "edit"})
"""What the user of the yard's own machine may do without signing in, once there are people. Nothing of it is signed."""


@dataclass(frozen=True, slots=True)
class Visitor:
    """`reach` is how the yard was reached: on its own machine, or over the network.

    `form_token` must come back with everything that is posted; it is empty while nobody has been added yet.
    """

    reach: Reach = "here"
    any_people: bool = False
    person: Person | None = None
    tablet: Tablet | None = None
    form_token: str = ""

    @property
    def device_known(self) -> bool:
        return self.reach == "here" or self.tablet is not None

    @property
    def name(self) -> str:
        return self.person.name if self.person else ""

    def may(self, right: Right) -> bool:
        """Whether they may do this. A signed-in person has the rights of their role, wherever they are."""
        if not self.device_known:
            return False
        if self.person is not None:
            return self.person.may(right)
        if self.reach == "network":
            return False
        return not self.any_people or right in HERE_WITHOUT_NAME


NOBODY = Visitor()
VISITOR: ContextVar[Visitor] = ContextVar("visitor", default=NOBODY)
"""The visitor of the request at hand, for the head of every page and the token in every form."""
