"""What trays and sacks of this yard weigh, for whoever lifts them: predicted from the core in them, or from the scale."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import fmean

import numpy as np

from trayside.app.bag_masses import rock_densities
from trayside.app.hole_view import HoleView
from trayside.app.load_view import LoadedSack
from trayside.core.bag_mass import predict_bag_mass
from trayside.core.lifting import tray_coupling
from trayside.model.rules import Rules
from trayside.model.safety_settings import SafetySettings

UNLOGGED_T_M3 = 2.70
"""Density where nothing is logged near: common practice, no source."""
SACK_CM = 50.0
"""A filled sack is about this long and high: common practice, no source. It never has a good grip."""


@dataclass(frozen=True, slots=True)
class TrayMass:
    """A tray with its whole core, before anything is cut. `unlogged_m` of it was taken at the mean density of the rest."""

    tray: int
    core_m: float
    core_kg: float
    sd_kg: float
    empty_kg: float
    unlogged_m: float = 0.0

    @property
    def full_kg(self) -> float:
        return self.core_kg + self.empty_kg


@dataclass(frozen=True, slots=True)
class SackMasses:
    """Sacks whose mass is known, from the scale or from their bags, with the tare of the sack."""

    count: int
    mean_kg: float
    heaviest_kg: float
    heaviest: str


def tray_masses(view: HoleView) -> tuple[TrayMass, ...]:
    """Every usable tray of a hole with its whole core."""
    depth, rules = view.depth, view.rules
    if not depth.trays or not depth.runs:
        return ()
    densities = rock_densities(view.core, view.stock)
    size = depth.core_size_at(np.array([(tray.from_mm + tray.to_mm) / 2000 for tray in depth.trays]))
    found = []
    for tray, core_size in zip(depth.trays, size, strict=True):
        known = view.stock.core_sizes.get(core_size)
        if known is None:
            continue
        rocks = [rock for rock in view.core.rock if rock.from_mm < tray.to_mm and rock.to_mm > tray.from_mm]
        spans = [(max(rock.from_mm, tray.from_mm), min(rock.to_mm, tray.to_mm)) for rock in rocks]
        whole = float(depth.registration.recovered_between(from_m=tray.from_mm / 1000, to_m=tray.to_mm / 1000))
        lengths = [
            float(depth.registration.recovered_between(from_m=top / 1000, to_m=bottom / 1000)) for top, bottom in spans
        ]
        unlogged = max(whole - sum(lengths), 0.0)
        weighed = [(densities[rock.rock], length) for rock, length in zip(rocks, lengths, strict=True)
                   if rock.rock in densities and length > 0.0]  # fmt: skip
        unlogged += sum(length for rock, length in zip(rocks, lengths, strict=True) if rock.rock not in densities)
        usual = fmean([one.density_t_m3 for one, _ in weighed]) if weighed else UNLOGGED_T_M3
        spread = max([one.density_sd_t_m3 for one, _ in weighed], default=rules.mass.rubble_sd * UNLOGGED_T_M3)
        pieces = [(one.density_t_m3, one.density_sd_t_m3, length) for one, length in weighed]
        if unlogged > 1e-6:
            pieces.append((usual, spread, unlogged))
        mass, variance = 0.0, 0.0
        for density, density_sd, length in pieces:
            part = predict_bag_mass(
                recovered_length_m=length, density_t_m3=density, density_sd_t_m3=density_sd,
                core_diameter_mm=known.core_diameter_mm, kerf_mm=rules.cut.kerf_mm, offset_mm=0.0, portion="whole",
                core_diameter_sd_mm=rules.mass.core_diameter_sd_mm, length_sd_m=rules.mass.length_sd_m,
            )  # fmt: skip
            mass, variance = mass + float(part.expected_kg), variance + float(part.sd_kg) ** 2
        found.append(TrayMass(tray.tray, whole, mass, variance**0.5, rules.safety.tray_empty_kg, unlogged))
    return tuple(found)


def sack_masses(sacks: tuple[LoadedSack, ...], rules: Rules) -> SackMasses | None:
    """Of the sacks that were weighed, or whose bags all were; None while there is none."""
    tare_kg = rules.dispatch.sack_tare_kg
    known = {}
    for sack in sacks:
        if sack.gross_g is not None:
            known[sack.sack_id] = sack.gross_g / 1000
        elif sack.contents_g is not None and sack.sack.numbers:
            known[sack.sack_id] = sack.contents_g / 1000 + tare_kg
    if not known:
        return None
    heaviest = max(known, key=known.__getitem__)
    return SackMasses(len(known), fmean(known.values()), known[heaviest], heaviest)


def usual_grip(
    settings: SafetySettings, *, load: str = "tray", length_cm: float = 100.0
) -> tuple[str, tuple[str, ...]]:
    """The grip on this yard's trays, or on a sack, and why it is not better."""
    if load == "sack":
        return tray_coupling(
            length_cm=SACK_CM, height_cm=SACK_CM, handles=False, gloves=settings.gloves, wet_sharp_or_rough=True,
            contents_shift=True,
        )  # fmt: skip
    return tray_coupling(
        length_cm=length_cm, height_cm=settings.tray_height_cm, handles=settings.tray_handles, gloves=settings.gloves,
        wet_sharp_or_rough=settings.floor_wet,
    )  # fmt: skip
