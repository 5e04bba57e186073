"""A hole and what the yard knows of its core. Depths at rest are whole millimetres."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Hole:
    hole_id: str
    area: str | None
    east_m: float
    north_m: float
    elevation_m: float
    azimuth_deg: float
    dip_deg: float
    total_depth_mm: int
    total_depth_entered: str
    remark: str | None = None


@dataclass(frozen=True, slots=True)
class Survey:
    depth_mm: int
    azimuth_deg: float
    dip_deg: float
    instrument: str | None = None


@dataclass(frozen=True, slots=True)
class Run:
    """One run as the driller's blocks say; `from_entered` and `to_entered` are what was written on them."""

    run: int
    from_mm: int
    to_mm: int
    recovered_mm: int
    core_size: str
    rqd_mm: int | None = None
    solid_mm: int | None = None
    fractures: int | None = None
    from_entered: str = ""
    to_entered: str = ""
    remark: str | None = None


@dataclass(frozen=True, slots=True)
class Loss:
    from_mm: int
    lost_mm: int
    position: str
    remark: str | None = None


@dataclass(frozen=True, slots=True)
class Tray:
    tray: int
    from_mm: int
    to_mm: int
    rows: int
    row_length_mm: int
    row_ends_mm: tuple[int, ...] = ()
    remark: str | None = None


@dataclass(frozen=True, slots=True)
class Rock:
    """A logged interval; `contact` is the contact at its top."""

    from_mm: int
    to_mm: int
    rock: str
    condition: str
    grade_class: str
    contact: str
    hardness: str | None = None
    vein: bool = False
    sampling: str = "rules"
    caution: str | None = None


@dataclass(frozen=True, slots=True)
class OrientationMark:
    depth_mm: int
    angle_deg: float
    line: str
    joint: str | None = None


@dataclass(frozen=True, slots=True)
class Fabric:
    depth_mm: int
    alpha_deg: float
    kind: str
    beta_deg: float | None = None
    thickness_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Density:
    from_mm: int
    to_mm: int
    method: str
    mass_dry_g: float | None = None
    mass_in_water_g: float | None = None
    density_t_m3: float | None = None


@dataclass(frozen=True, slots=True)
class HoleCore:
    """Everything loaded about one hole. Runs and trays stand in the order of their numbers, the rest by depth."""

    hole: Hole
    surveys: tuple[Survey, ...] = ()
    runs: tuple[Run, ...] = ()
    losses: tuple[Loss, ...] = ()
    trays: tuple[Tray, ...] = ()
    rock: tuple[Rock, ...] = ()
    marks: tuple[OrientationMark, ...] = ()
    fabric: tuple[Fabric, ...] = ()
    densities: tuple[Density, ...] = ()
