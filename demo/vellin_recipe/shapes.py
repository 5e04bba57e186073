"""The rows the recipe builds. Depths and lengths are whole centimetres (`_cm`) until they are written."""

from __future__ import annotations

from dataclasses import dataclass
from random import Random

SEED = 20240611
"""The recorded seed: the same seed writes the same bytes."""


def chance(hole_id: str, subject: str) -> Random:
    """Chance of its own for one subject of one hole, so that a change in one leaves the others alone."""
    return Random(f"{SEED}/{hole_id}/{subject}")


@dataclass(frozen=True, slots=True)
class Site:
    """A hole: collar, depth, and the settings its core is made from."""

    hole_id: str
    area: str
    east_m: float
    north_m: float
    elevation_m: float
    azimuth_deg: float
    dip_deg: float
    total_cm: int
    casing_cm: int
    visible_veins: int
    row_length_cm: int = 105
    bq_from_cm: int | None = None
    faults_above_cm: int = 10**6
    remark: str = ""


@dataclass(frozen=True, slots=True)
class RockRow:
    from_cm: int
    to_cm: int
    rock: str
    hardness: str
    condition: str
    grade_class: str
    contact: str
    vein: bool = False
    sampling: str = ""
    caution: str = ""

    @property
    def weak(self) -> bool:
        return self.condition in ("rubble", "clay")


@dataclass(frozen=True, slots=True)
class RunRow:
    run: int
    from_cm: int
    to_cm: int
    recovered_cm: int
    core_size: str
    rqd_cm: int | None
    solid_cm: int | None
    fractures: int | None
    remark: str = ""

    @property
    def advance_cm(self) -> int:
        return self.to_cm - self.from_cm


@dataclass(frozen=True, slots=True)
class LossRow:
    from_cm: int
    lost_cm: int
    position: str
    remark: str = ""


@dataclass(frozen=True, slots=True)
class TrayRow:
    tray: int
    from_cm: int
    to_cm: int
    rows: int
    row_length_cm: int
    row_ends_cm: tuple[int, ...]
    remark: str = ""


@dataclass(frozen=True, slots=True)
class SurveyRow:
    depth_cm: int
    azimuth_deg: float
    dip_deg: float


@dataclass(frozen=True, slots=True)
class MarkRow:
    depth_cm: int
    angle_deg: float
    line: str
    joint: str


@dataclass(frozen=True, slots=True)
class FabricRow:
    depth_cm: int
    alpha_deg: float
    beta_deg: float | None
    thickness_mm: float | None
    kind: str


@dataclass(frozen=True, slots=True)
class StickRow:
    """A density stick: two masses, or a value when it was given as such."""

    from_cm: int
    to_cm: int
    mass_dry_g: float | None
    mass_in_water_g: float | None
    density_t_m3: float | None
    method: str


@dataclass(slots=True)
class HoleRows:
    """All rows of one hole; the planted faults replace some of them."""

    site: Site
    surveys: list[SurveyRow]
    runs: list[RunRow]
    losses: list[LossRow]
    trays: list[TrayRow]
    rock: list[RockRow]
    marks: list[MarkRow]
    fabric: list[FabricRow]
    sticks: list[StickRow]


@dataclass(frozen=True, slots=True)
class Expected:
    """One finding the checks must give: when (`load` or `plan`), where, and why."""

    fault: str
    hole_id: str | None
    code: str
    severity: str
    why: str
    from_cm: int | None = None
    to_cm: int | None = None
    tray: int | None = None
    run: int | None = None
    stage: str = "load"
