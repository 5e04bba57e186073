"""A figure without an honest grade is refused."""

import dataclasses

import pytest

from trayside.core.sources import GRADES, Source
from trayside.errors import ImpossibleValue


@pytest.mark.parametrize("grade", sorted(GRADES))
def test_each_known_grade_is_accepted_and_printed(grade):
    assert str(Source("Some book", "p. 3", grade)) == f"Some book, p. 3 ({grade})"


@pytest.mark.parametrize("grade", ["", "Seen", "published", "our own output"])
def test_unknown_grade_is_refused_and_the_known_ones_are_named(grade):
    with pytest.raises(ImpossibleValue, match="from memory"):
        Source("Some book", "p. 3", grade)


def test_source_without_a_document_is_refused():
    with pytest.raises(ImpossibleValue, match="document"):
        Source("  ", "p. 3", "seen")


def test_source_cannot_be_changed_afterwards():
    source = Source("Some book", "p. 3", "seen")
    with pytest.raises(dataclasses.FrozenInstanceError):
        source.grade = "derived"
