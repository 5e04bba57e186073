"""Who signs what is entered at a desk: the person signed in, or while the yard has no people, the name typed."""

from __future__ import annotations

from trayside.app.office_acts import Desk, Signer
from trayside.app.typed_time import offset_text
from trayside.errors import ImpossibleValue
from trayside.model.rules import Rules

from .asking import Form, one
from .services import Services
from .visitor import VISITOR
from .words import say

NAME_FIELD = "signed_by"


def desk_of(services: Services, form: Form, *, utc_offset_min: int) -> Desk:
    """The desk of this request; ImpossibleValue when nobody signs."""
    visitor = VISITOR.get()
    name = visitor.name or " ".join(one(form, NAME_FIELD).split())
    if not name:
        raise ImpossibleValue(say("name.missing"), where=say("loads.title"), remedy=say("name.remedy"))
    device = visitor.tablet.name if visitor.tablet else say("tablets.this_machine")
    return Desk(Signer(name, device, utc_offset_min), services.clock, services.make_id)


def yard_offset(rules: Rules) -> str:
    """The offset that is proposed where a time is typed."""
    return offset_text(rules.dispatch.utc_offset_min)
