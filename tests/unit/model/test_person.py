"""Names, PINs, roles and what a role may do."""

from __future__ import annotations

import pytest

from trayside.errors import ImpossibleValue
from trayside.model.person import MAY, RIGHTS, ROLES, Person, checked_name, checked_pin, checked_role, name_key
from trayside.model.tablet import CODE_LENGTH, CODE_LETTERS, code_as_typed, code_in_groups


def test_every_role_is_in_the_table_and_grants_known_rights():
    assert set(MAY) == set(ROLES)
    assert all(rights <= set(RIGHTS) for rights in MAY.values())


def test_everybody_may_look_and_only_a_lead_manages_people():
    assert all("look" in MAY[role] for role in ROLES)
    assert [role for role in ROLES if "manage" in MAY[role]] == ["lead"]
    assert MAY["viewer"] == {"look"}


def test_who_cuts_does_not_issue_and_who_judges_does_not_plan():
    assert "issue" not in MAY["operator"]
    assert not MAY["QC"] & {"plan", "edit", "issue", "record"}


def test_somebody_disabled_may_nothing():
    assert not Person("1", "Ada", "lead", False).may("look")
    assert Person("1", "Ada", "lead", True).may("manage")


@pytest.mark.parametrize("pin", ["12345", "1" * 13, "", "12345a", "１２３４５７", "12 3457", "-123457", "²34571"])
def test_what_is_no_pin_is_refused(pin):
    with pytest.raises(ImpossibleValue, match="digits"):
        checked_pin(pin)


@pytest.mark.parametrize("pin", ["000000", "999999", "123456", "654321", "890123", "210987"])
def test_a_pin_that_everybody_tries_first_is_refused(pin):
    with pytest.raises(ImpossibleValue, match="first that anybody would try"):
        checked_pin(pin)


@pytest.mark.parametrize("pin", ["193746", "112233", "135790", "123457"])
def test_other_pins_are_taken(pin):
    assert checked_pin(pin) == pin


@pytest.mark.parametrize("name", ["", "  ", "a\nb", "a\u202eb", "x" * 81, "a\x00b", "\ud800"])
def test_what_is_no_name_is_refused(name):
    with pytest.raises(ImpossibleValue):
        checked_name(name)


def test_a_name_keeps_its_letters_and_loses_spare_spaces():
    assert checked_name("  Zoë  de  la Mar ") == "Zoë de la Mar"


@pytest.mark.parametrize(("one", "other"), [("Ada Vale", "ADA  vale"), ("Zoe\u0308", "ZOË"), ("Straße", "STRASSE")])
def test_names_that_people_would_call_the_same_have_one_key(one, other):
    assert name_key(one) == name_key(other)


def test_a_role_is_found_in_any_case():
    assert checked_role(" qc ") == "QC"
    with pytest.raises(ImpossibleValue, match="no role 'boss'"):
        checked_role("boss")


def test_a_code_is_read_as_people_type_it():
    assert code_as_typed(" abcd - 2345\t") == "ABCD2345"
    assert code_as_typed(code_in_groups("ABCD2345")) == "ABCD2345"
    assert len(set(CODE_LETTERS)) == len(CODE_LETTERS) == 30
    assert not set("ILOU01") & set(CODE_LETTERS)
    assert CODE_LENGTH == 8
