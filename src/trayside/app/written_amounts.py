"""Depths, lengths and masses as people in this yard read them: metres or feet, kilograms or pounds."""

from __future__ import annotations

from trayside.core.units import feet_from_metres, lb_from_kg


def depth_text(depth_mm: int, *, unit: str) -> str:
    """A depth or length without its unit: hundredths, and thousandths of a metre only where they are not zero."""
    if unit == "ft":
        return f"{feet_from_metres(depth_m=depth_mm / 1000):.2f}"
    sign, whole = ("-" if depth_mm < 0 else ""), abs(depth_mm)
    if whole % 10:
        return f"{sign}{whole // 1000}.{whole % 1000:03d}"
    return f"{sign}{whole // 1000}.{whole % 1000 // 10:02d}"


def span_text(from_mm: int, to_mm: int, *, unit: str) -> str:
    """'12.30–13.30 m'."""
    return f"{depth_text(from_mm, unit=unit)}–{depth_text(to_mm, unit=unit)} {unit}"


def mass_text(mass_kg: float, *, unit: str) -> str:
    """A mass without its unit: two decimals, three below a tenth so that a sachet shows its grams."""
    mass = lb_from_kg(mass_kg=mass_kg) if unit == "lb" else mass_kg
    return f"{mass:.3f}" if abs(mass) < 0.1 else f"{mass:.2f}"
