"""What the whole yard shares: core sizes, rock codes, standards and blanks, ticket ranges."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class CoreSize:
    core_size: str
    core_diameter_mm: float
    hole_diameter_mm: float | None = None


@dataclass(frozen=True, slots=True)
class RockCode:
    rock: str
    name: str | None
    density_t_m3: float
    density_sd_t_m3: float


@dataclass(frozen=True, slots=True)
class Material:
    """A standard or a blank; `kind` is 'standard', 'coarse blank' or 'fine blank'."""

    material: str
    kind: str
    in_stock: int
    mass_g: float
    grade_g_t: float | None = None
    lot: str | None = None
    remark: str | None = None


@dataclass(frozen=True, slots=True)
class CertifiedValue:
    """What one standard or blank should read for one element, in `unit`; a blank may have an upper limit alone."""

    material: str
    element: str
    unit: str
    certified: float | None = None
    performance_sd: float | None = None
    expanded_uncertainty: float | None = None
    coverage_factor: float | None = None
    laboratories: int | None = None
    upper_limit: float | None = None


@dataclass(frozen=True, slots=True)
class TicketBook:
    book: str
    prefix: str
    first: int
    last: int
    digits: int
    hole_id: str | None = None
    voids: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Stock:
    core_sizes: dict[str, CoreSize]
    rock_codes: dict[str, RockCode]
    materials: tuple[Material, ...]
    tickets: tuple[TicketBook, ...]
    certified: tuple[CertifiedValue, ...] = ()
