"""Findings: the place in words, the list of kinds, and the station a hole stands at."""

from __future__ import annotations

import itertools
import re
from collections import Counter

import pytest

from trayside.model.finding import SEVERITIES, Finding, gravest
from trayside.model.finding_kinds import BY_CODE, KINDS, found
from trayside.model.station import STATIONS, station


@pytest.mark.parametrize(
    ("place", "words"),
    [
        ({}, "yard"),
        ({"hole_id": "T-1"}, "T-1"),
        ({"hole_id": "T-1", "run": 4, "from_mm": 9_000, "to_mm": 12_050}, "T-1, run 4, 9.00–12.05 m"),
        ({"hole_id": "T-1", "tray": 2, "from_mm": 0, "to_mm": 0}, "T-1, tray 2, 0.00 m"),
        ({"hole_id": "T-1", "number": "K001", "from_mm": 1_500}, "T-1, number K001, 1.50 m"),
    ],
)
def test_where_a_finding_stands_in_words(place, words):
    assert Finding("plan.gap", "stop", "said", "do", **place).where == words


def test_the_gravest_of_many():
    def of(*severities: str) -> list[Finding]:
        return [Finding("x", severity, "", "") for severity in severities]

    assert gravest(of()) is None
    assert gravest(of("note", "warn")) == "warn"
    assert gravest(of("note", "stop", "warn")) == "stop"


def test_a_finding_gets_severity_and_remedy_of_its_kind():
    finding = found("run.gap", "between", hole_id="T-1", run=3, evidence={"gap_m": 0.1})
    assert (finding.severity, finding.remedy) == (BY_CODE["run.gap"].severity, BY_CODE["run.gap"].remedy)
    assert (finding.run, finding.evidence) == (3, {"gap_m": 0.1})
    with pytest.raises(KeyError):
        found("run.unheard_of", "x")


def test_kinds_are_listed_once_and_complete():
    assert [code for code, times in Counter(kind.code for kind in KINDS).items() if times > 1] == []
    for kind in KINDS:
        assert re.fullmatch(r"[a-z]+\.[a-z_]+", kind.code), kind
        assert kind.severity in SEVERITIES
        assert kind.title
        assert kind.remedy.endswith("."), kind


def test_the_station_of_a_hole_is_the_first_thing_it_waits_for():
    assert station(stops=1, version=3, issued_version=3) == "to settle"
    assert station(stops=0, version=None, issued_version=None) == "to plan"
    assert station(stops=0, version=1, issued_version=None) == "to issue"
    assert station(stops=0, version=2, issued_version=1) == "to issue"
    assert station(stops=0, version=2, issued_version=2) == "to cut"


def test_every_combination_of_facts_has_a_station():
    for stops, version, issued in itertools.product((0, 2), (None, 1, 2), (None, 1, 2)):
        assert station(stops=stops, version=version, issued_version=issued) in STATIONS
