"""What trays and sacks weigh: from the core that is there, its rock and its size, and the empty tray of the rules."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import pytest

from trayside.app.tray_masses import sack_masses, tray_masses, usual_grip
from trayside.model.rules import Rules
from trayside.model.safety_settings import SafetySettings


@dataclass
class Sack:
    numbers: tuple[str, ...] = ("K101",)


@dataclass
class Loaded:
    sack_id: str
    gross_g: int | None = None
    contents_g: int | None = None
    sack: Sack = field(default_factory=Sack)


def trays_of(yard, hole_id: str = "C-7"):
    yard.load()
    return tray_masses(yard.view(hole_id))


@pytest.mark.parametrize(
    # 2.70 t/m3 and 3 kg of tray: NQ 5 m 27.02, HQ 4 m 37.20, PQ 3 m 48.96 kg (derived; 47.6, 63.5, 85.0 mm seen).
    ("size", "length_m", "full_kg"),
    [("NQ", 5, 27.02), ("HQ", 4, 37.20), ("PQ", 3, 48.96)],
)
def test_a_tray_of_whole_core_weighs_core_and_wood(yard, size, length_m, full_kg):
    for run in yard.rows("runs", "C-7"):
        run["core_size"] = size
    yard.tables["trays"] = [
        {"hole_id": "C-7", "tray": 1, "from_m": 0, "to_m": length_m, "rows": 5, "row_length_m": 1.2}
    ]
    (tray,) = trays_of(yard)
    assert tray.full_kg == pytest.approx(full_kg, abs=0.005)
    assert tray.unlogged_m == 0.0
    assert tray.sd_kg > 0.0


def test_lost_core_weighs_nothing(yard):
    whole = trays_of(yard)
    yard.rows("runs", "C-7")[0]["recovered_m"] = 2.0
    short = trays_of(yard)
    one_metre = math.pi * 0.0476**2 / 4 * 2700
    assert whole[0].core_kg - short[0].core_kg == pytest.approx(one_metre, rel=1e-6)
    assert short[0].core_m == pytest.approx(5.0)
    assert short[1] == whole[1]


def test_each_rock_weighs_by_its_own_density(yard):
    trays = trays_of(yard, "A-1")  # GRD 2.7 to 10 m, QZV 2.6 from 10 to 20 m; trays of 6 m
    area = math.pi * 0.0476**2 / 4 * 1000
    assert trays[1].core_kg == pytest.approx(area * (4 * 2.7 + 2 * 2.6), rel=1e-6)
    assert trays[2].core_kg == pytest.approx(area * 6 * 2.6, rel=1e-6)


def test_core_without_a_log_is_taken_as_the_rest_and_said(yard):
    yard.tables["rock"] = [row for row in yard.tables["rock"] if row["hole_id"] != "C-7"]
    yard.tables["rock"].append(
        {"hole_id": "C-7", "from_m": 0, "to_m": 5, "rock": "QZV", "condition": "intact", "grade_class": "low",
         "contact": "hard", "sampling": "", "caution": "", "vein": ""}
    )  # fmt: skip
    first, second = trays_of(yard)
    area = math.pi * 0.0476**2 / 4 * 1000
    assert first.unlogged_m == pytest.approx(1.0)
    assert first.core_kg == pytest.approx(area * 6 * 2.6, rel=1e-6)
    assert second.unlogged_m == pytest.approx(6.0)
    assert second.core_kg == pytest.approx(area * 6 * 2.7, rel=1e-6)


def test_the_empty_tray_is_a_setting(yard):
    yard.rules += "[safety]\ntray_empty_kg = 5.5\n"
    first, _ = trays_of(yard)
    assert first.full_kg - first.core_kg == 5.5


def test_a_hole_without_runs_has_no_masses(yard):
    yard.tables["runs"] = yard.rows("runs", "A-1")
    assert trays_of(yard) == ()


def test_sacks_count_by_the_scale_or_by_their_bags():
    rules = Rules()
    assert sack_masses((), rules) is None
    assert sack_masses((Loaded("SK-1"), Loaded("SK-2", contents_g=0, sack=Sack(()))), rules) is None
    weighed = Loaded("SK-1", gross_g=18_000, contents_g=17_000)
    found = sack_masses((weighed, Loaded("SK-2", contents_g=19_900), Loaded("SK-3")), rules)
    assert (found.count, found.heaviest) == (2, "SK-2")
    assert found.heaviest_kg == pytest.approx(20.0)
    assert found.mean_kg == pytest.approx(19.0)


def test_the_grip_on_a_tray_is_fair_at_best_and_on_a_sack_poor():
    settings = SafetySettings()
    assert usual_grip(settings)[0] == "fair"
    assert "handled in gloves" in usual_grip(settings)[1]
    assert usual_grip(replace_settings(settings, tray_handles=False))[0] == "poor"
    assert usual_grip(settings, load="sack")[0] == "poor"
    easy = replace_settings(settings, gloves=False, floor_wet=False)
    assert usual_grip(easy, length_cm=40.0) == ("good", ())


def replace_settings(settings: SafetySettings, **more) -> SafetySettings:
    return settings.model_copy(update=more)
