"""Which habits a style can show at a length: as measured when its profile was calibrated."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from stylemeter.style.profile import Profile
from stylemeter.style.rung import FAMILIES_FOR_RUNG

__all__ = ["Capability", "capability", "nearest_count", "others_that_can"]

#: Share of clean excerpts with the habit put in that must show or hint at it, for "none" to mean anything.
SEEN = 0.5


@dataclass(frozen=True, slots=True)
class Capability:
    """How often a habit put into clean excerpts of a style was seen.

    Attributes
    ----------
    shown, hinted : float
        Shares of the excerpts; NaN where it was not calibrated.
    notes : int
        Note count at which it was measured.
    excerpts : int
    """

    shown: float
    hinted: float
    notes: int
    excerpts: int

    @property
    def blind(self) -> bool:
        """Whether the style can hardly see it: silence then says nothing."""
        return math.isfinite(self.shown) and self.shown + self.hinted < SEEN

    def to_document(self) -> dict[str, Any]:
        """Return it as plain data."""
        known = math.isfinite(self.shown)
        return {
            "shown": self.shown if known else None,
            "hinted": self.hinted if known else None,
            "notes": self.notes,
            "excerpts": self.excerpts,
        }


def nearest_count(counts: Sequence[str], notes: int) -> str | None:
    """Calibrated note count nearest to one, by ratio; of a tie the smaller."""
    return min(counts, key=lambda c: (abs(math.log(int(c) / notes)), int(c)), default=None)


def capability(profile: Profile, habit: str, notes: int) -> Capability:
    """Return what calibration measured for a habit put into all notes of an excerpt about this long."""
    measured = (profile.calibration or {}).get("injected", {}).get(habit, {}).get("whole", {})
    count = nearest_count(list(measured), notes)
    if count is None:
        return Capability(math.nan, math.nan, notes, 0)
    entry = measured[count]
    return Capability(float(entry["shown"]), float(entry["hinted"]), int(count), int(entry["excerpts"]))


def others_that_can(profiles: Sequence[Profile], habit: str, notes: int, but: str) -> list[str]:
    """Names of the other profiles that see a habit at this length."""
    names = []
    for profile in profiles:
        found = capability(profile, habit, notes)
        if profile.name != but and math.isfinite(found.shown) and not found.blind:
            names.append(profile.name)
    return names


def blind_reason(profile: Profile, habit: str, notes: int, families: int) -> str:
    """Why "none" would say nothing here; empty where it says something."""
    if families < FAMILIES_FOR_RUNG:
        return f"{families} tune families at this length are too few to show a lone habit"
    found = capability(profile, habit, notes)
    if not found.blind:
        return ""
    seen = round(100 * (found.shown + found.hinted))
    return (
        f"{profile.style} can hardly show it: put into clean ones of {found.notes} notes, it was seen in {seen} of 100"
    )
