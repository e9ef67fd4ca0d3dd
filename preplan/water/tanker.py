"""One tanker: the water it brings, how long it holds a place at either end, and its cycle."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from preplan.records import Columns, FloatArray, Unit
from preplan.rules import ShuttleRules


@dataclass(frozen=True, slots=True, kw_only=True)
class Tankers(Columns):
    """The numbers of n tankers that the shuttle needs, each of shape (n,)."""

    tank_gal: FloatArray
    usable_fraction: FloatArray
    dump_gpm: FloatArray
    intake_gpm: FloatArray
    self_fill_gpm: FloatArray
    """NaN where the tanker is no vacuum tanker."""

    @classmethod
    def of(cls, units: Sequence[Unit]) -> Tankers:
        """Take them from the records of the tankers, in the given order."""
        return cls(
            tank_gal=np.array([u.tank_gal for u in units], dtype=np.float64),
            usable_fraction=np.array([u.usable_fraction for u in units], dtype=np.float64),
            dump_gpm=np.array([u.dump_gpm for u in units], dtype=np.float64),
            intake_gpm=np.array([u.intake_gpm for u in units], dtype=np.float64),
            self_fill_gpm=np.array(
                [np.nan if u.self_fill_gpm is None else u.self_fill_gpm for u in units], dtype=np.float64
            ),
        )


@dataclass(frozen=True, slots=True)
class Handling:
    """What each of n tankers does apart from driving."""

    usable_gal: FloatArray
    """(n,): water that reaches the fire from one load."""
    fill_hold_min: FloatArray
    """(..., n): how long it holds a place at the fill site."""
    dump_hold_min: FloatArray
    """(n,): how long it holds a place at the dump site."""
    maneuver_min: float | FloatArray
    """Positioning at both ends, which holds no place; one value or (n,)."""

    @property
    def handling_min(self) -> FloatArray:
        """Sum the whole handling time, (..., n)."""
        total: FloatArray = self.fill_hold_min + self.dump_hold_min + self.maneuver_min
        return total

    def cycle_min(self, trip_min: FloatArray | float) -> FloatArray:
        """Give each tanker's cycle time for round trips (...,) driven loaded and back empty: (..., n)."""
        cycle: FloatArray = np.asarray(trip_min, dtype=np.float64)[..., None] + self.handling_min
        return cycle


def handling(
    tankers: Tankers, fill_gpm: FloatArray | float, rules: ShuttleRules, *, lift_share: FloatArray | float = 1.0
) -> Handling:
    """Work out usable water and handling times of tankers at fill sites.

    ::

        usable = usable_fraction x tank
        fill   = fill_hookup + usable / min(fill_gpm, intake_gpm)
        dump   = dump_hookup + usable / dump_gpm

    A vacuum tanker fills itself at the lesser of fill_gpm and its self_fill_gpm, with the shorter hook-up.

    Parameters
    ----------
    tankers
        n tankers.
    fill_gpm
        Rate into one tanker at each site, (...,), see `into_one_gpm`.
    rules
        Hook-up and maneuver times.
    lift_share
        Share of its self_fill_gpm that a vacuum tanker brings up at each site, (...,): see `hydraulics.draft_share`.

    Returns
    -------
    Handling
        `fill_hold_min` has shape (..., n). Rates of 0 give a hold of inf.
    """
    usable_gal = tankers.tank_gal * tankers.usable_fraction
    hookup_min, rate_gpm = filling(tankers, fill_gpm, rules, lift_share=lift_share)
    with np.errstate(divide="ignore"):
        return Handling(
            usable_gal=usable_gal,
            fill_hold_min=hookup_min + usable_gal / rate_gpm,
            dump_hold_min=rules.dump_hookup_min + usable_gal / tankers.dump_gpm,
            maneuver_min=rules.fill_maneuver_min + rules.dump_maneuver_min,
        )


def into_one_gpm(fill_gpm: FloatArray | float, site_gpm: FloatArray | float) -> FloatArray:
    """Give the rate into one tanker, (...,) gpm: what fills one there, and no more than the site gives in all."""
    return np.minimum(np.asarray(fill_gpm, dtype=np.float64), site_gpm)


def filling(
    tankers: Tankers, fill_gpm: FloatArray | float, rules: ShuttleRules, *, lift_share: FloatArray | float = 1.0
) -> tuple[FloatArray, FloatArray]:
    """Give hook-up minutes (n,) and the rate into each of n tankers at sites that give fill_gpm (...,): (..., n)."""
    vacuum = np.isfinite(tankers.self_fill_gpm)
    lifted_gpm = tankers.self_fill_gpm * np.asarray(lift_share, dtype=np.float64)[..., None]
    takes_gpm = np.where(vacuum, lifted_gpm, tankers.intake_gpm)
    hookup_min = np.where(vacuum, rules.vacuum_hookup_min, rules.fill_hookup_min)
    return hookup_min, np.minimum(np.asarray(fill_gpm, dtype=np.float64)[..., None], takes_gpm)
