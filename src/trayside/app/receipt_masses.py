"""Findings on the laboratory's masses: lost and gained, exchanged, dried, and what these masses cannot show."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from trayside.app.bag_views import Bag
from trayside.app.load_view import LoadView
from trayside.core.identity_search import CANNOT_SEE
from trayside.core.mass_residuals import HEAVY, LIGHT
from trayside.core.received_masses import GAINED, MUCH_DRIED, ReceivedMasses
from trayside.model.finding import Finding
from trayside.model.finding_kinds import found


@dataclass(frozen=True, slots=True)
class ReceivedMass:
    """One bag at both doors. `laboratory_g` is None where the laboratory gave no mass; `expected_kg` is after drying."""

    number: str
    yard_g: int
    laboratory_g: int | None
    expected_kg: float
    score: float
    verdict: str

    @property
    def change(self) -> float | None:
        """Share of the yard's mass that came on or off."""
        return None if self.laboratory_g is None else self.laboratory_g / self.yard_g - 1.0


def mass_findings(
    view: LoadView, masses: Sequence[ReceivedMass], judged: ReceivedMasses | None, bags: dict[str, Bag]
) -> list[Finding]:
    """What the masses at the laboratory say; bags that an exchange explains are not told again as lost."""
    if judged is None:
        return [found("receipt.no_mass", f"{view.load.load_id}: no mass was given")] if view.numbers else []
    findings: list[Finding] = []
    moved: set[int] = set()
    for one in judged.identity.found:
        moved |= set(range(one.first, one.last + 1))
        first, last = masses[one.first], masses[one.last]
        if one.kind == "exchange":
            words = f"{first.number} and {last.number} weigh at the laboratory what the other weighed here"
        else:
            beside = "after" if one.lag > 0 else "before"
            words = f"{first.number} to {last.number} weigh at the laboratory what the number {beside} each weighed here"
        findings.append(
            found(
                "receipt.exchanged",
                f"{words}, odds {min(one.odds, 1e6):.0f} to 1{' or more' if one.odds > 1e6 else ''}",
                evidence={"first": first.number, "last": last.number, "kind": one.kind, "lag": one.lag},
                **_place(bags, first.number),
            )
        )
    for at, mass in enumerate(masses):
        if at in moved or mass.verdict not in (LIGHT, HEAVY):
            continue
        off_g = mass.laboratory_g - round(mass.expected_kg * 1000)
        code, word = ("receipt.lost_mass", "less") if mass.verdict == LIGHT else ("receipt.gained_mass", "more")
        findings.append(
            found(
                code,
                f"{mass.number} weighs {mass.laboratory_g / 1000:.2f} kg at the laboratory, {abs(off_g) / 1000:.2f} kg"
                f" {word} than {mass.yard_g / 1000:.2f} kg here and the drying of its group explain",
                evidence={
                    "yard_g": mass.yard_g,
                    "laboratory_g": mass.laboratory_g,
                    "expected_g": round(mass.expected_kg * 1000),
                    "deviations": round(mass.score, 1),
                },
                **_place(bags, mass.number),
            )
        )
    for group in judged.groups:
        if group.verdict in (MUCH_DRIED, GAINED):
            way = "lighter" if group.drying > 0 else "heavier"
            findings.append(
                found(
                    "receipt.drying",
                    f"{group.bags} bags ({group.group}) came {abs(group.drying):.1%} {way} than they went",
                    evidence={"group": str(group.group), "bags": group.bags, "drying": round(group.drying, 4)},
                )
            )
    pairs = judged.identity.pairs.verdict
    unseen = [at for at, verdict in enumerate(pairs) if verdict == CANNOT_SEE]
    if unseen:
        named = [f"{masses[at].number}/{masses[at + 1].number}" for at in unseen]
        shown = ", ".join(named[:4]) + (f" and {len(named) - 4} more" if len(named) > 4 else "")
        findings.append(
            found(
                "receipt.cannot_see",
                f"an exchange at {len(unseen)} of {len(pairs)} pairs of neighbours cannot be seen by mass: {shown}",
                evidence={"pairs": len(pairs), "pairs_unseen": len(unseen), "unseen": " ".join(named)},
            )
        )
    return findings


def _place(bags: dict[str, Bag], number: str) -> dict:
    bag = bags.get(number)
    return {"number": number} | ({"hole_id": bag.hole_id, "tray": bag.tray} if bag else {})
