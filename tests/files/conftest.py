"""The small yard as fixtures: a function that writes and reads it, spoiled as a test wants it."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from trayside.errors import LoadRefused
from trayside.files.yard_folder import read_yard_folder

sys.path.insert(0, str(Path(__file__).parent))  # for small_yard.py, which these tests share
from small_yard import RULES, write_yard


@pytest.fixture
def faults_of(tmp_path):
    """Write the yard with changes, read it, and return the faults it is refused for (none when it loads)."""

    def faults(changes=None, *, rules=RULES):
        folder = write_yard(tmp_path / "yard", changes, rules=rules)
        try:
            read_yard_folder(folder)
        except LoadRefused as refused:
            found = refused.faults
        else:
            return ()
        assert found
        return found

    return faults


@pytest.fixture
def loaded(tmp_path):
    """Write the yard with changes and return what is read."""

    def load(changes=None, *, rules=RULES):
        return read_yard_folder(write_yard(tmp_path / "yard", changes, rules=rules))

    return load
