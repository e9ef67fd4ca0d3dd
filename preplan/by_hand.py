"""One shuttle by hand: the question of the command line, and its answer in words and as JSON."""

from __future__ import annotations

import json
from collections.abc import Sequence
from textwrap import wrap

import numpy as np

from preplan.render.words import CAUTIONS, limit_words, minutes, number, supply
from preplan.rules import ShuttleRules
from preplan.water import shuttle as steady

LINE_LETTERS = 100
"""Longer lines of text are wrapped."""


class HandShuttle:
    """One shuttle by hand and its answer: exactly these tankers, and the best of them."""

    def __init__(
        self,
        tank_gal: Sequence[float],
        rules: ShuttleRules,
        *,
        trip_min: float,
        fill_gpm: float,
        site_gpm: float,
        dump_gpm: float | None = None,
        positions: int = 1,
    ) -> None:
        """Work it out; a dump_gpm of None goes by the size of each tank."""
        self.rules, self.trip_min = rules, trip_min
        self.fill_gpm, self.site_gpm, self.positions = fill_gpm, site_gpm, positions
        self.tankers = _tankers(tank_gal, dump_gpm, rules)
        self.own = steady.handling(self.tankers, fill_gpm, rules)
        everyone, places = np.ones(len(self.tankers), dtype=np.bool_), rules.dump_places
        self.all = steady.sustained(
            trip_min, self.own, everyone, positions=positions, site_gpm=site_gpm, dump_places=places
        )
        self.best = steady.best_fleet(
            trip_min, self.own, everyone, positions=positions, site_gpm=site_gpm, dump_places=places
        )
        self.cycle_min = self.own.cycle_min(trip_min)
        self.single_gpm = self.own.usable_gal / self.cycle_min
        self.limited_by = str(steady.limit_words(self.all.limited_by))

    def json(self) -> str:
        """Write the answer for other programs, unrounded."""
        rows = zip(self.tankers.tank_gal, self.own.usable_gal, self.cycle_min, self.single_gpm, strict=True)
        names = ("tank_gal", "usable_gal", "cycle_min", "gpm")
        return json.dumps(
            {
                "sum_gpm": float(self.all.sum_gpm),
                "sustained_gpm": float(self.all.sustained_gpm),
                "limited_by": self.limited_by,
                "tankers": [dict(zip(names, map(float, row), strict=True)) for row in rows],
            },
            indent=2,
        )

    def text(self) -> str:
        """Write the answer for people: supply rounded down."""
        lines = [f"{'tanker':>6} {'tank gal':>10} {'usable gal':>12} {'cycle min':>11} {'gpm alone':>11}"]
        rows = zip(self.tankers.tank_gal, self.own.usable_gal, self.cycle_min, self.single_gpm, strict=True)
        lines += [
            f"{at:>6} {number(tank):>10} {supply(usable):>12} {number(cycle, 1):>11} {supply(gpm):>11}"
            for at, (tank, usable, cycle, gpm) in enumerate(rows, start=1)
        ]
        lines += [
            "",
            f"Sustained flow   {supply(float(self.all.sustained_gpm))} gpm",
            f"Limited by       {limit_words(self.limited_by)}",
            f"Sum of singles   {supply(float(self.all.sum_gpm))} gpm, an upper bound: it forgets that tankers wait",
            f"Longest cycle    {minutes(float(self.all.cycle_min))}, of which driving {minutes(self.trip_min)}",
            *self._left_out(),
            "",
            *wrap(self._used(), LINE_LETTERS),
            *wrap(CAUTIONS, LINE_LETTERS),
        ]
        return "\n".join(lines)

    def _used(self) -> str:
        """Name every number that went in, given or assumed."""
        rules = self.rules
        handling = rules.fill_hookup_min, rules.fill_maneuver_min, rules.dump_hookup_min, rules.dump_maneuver_min
        return (
            f"Used: usable share {rules.usable_fraction:g}; fill {self.fill_gpm:g} gpm into one tanker, "
            f"a tank takes at most {rules.intake_gpm:g}; "
            f"fill places {self.positions}, site {self.site_gpm:g} gpm in all; "
            f"dump {', '.join(f'{gpm:g}' for gpm in sorted(set(self.tankers.dump_gpm)))} gpm, "
            f"dump places {rules.dump_places}; fill hook-up and maneuver, dump hook-up and maneuver "
            f"{', '.join(f'{m:g}' for m in handling)} min."
        )

    def _left_out(self) -> list[str]:
        """Say so where the flow is higher without some tankers."""
        out = [str(at) for at, used in enumerate(self.best.used, start=1) if not used]
        if not out:
            return []
        gpm = supply(float(self.best.sustained_gpm))
        return [f"Leaving out      tanker {', '.join(out)} raises the sustained flow to {gpm} gpm"]


def _tankers(tank: Sequence[float], dump_gpm: float | None, rules: ShuttleRules) -> steady.Tankers:
    """Complete tankers given by their tank alone."""
    from preplan.inputs.apparatus import SMALL_TANK_GAL  # noqa: PLC0415 - the tables' room is slow to import

    tank_gal = np.array(tank, dtype=np.float64)
    small = (tank_gal >= SMALL_TANK_GAL[0]) & (tank_gal <= SMALL_TANK_GAL[1])
    by_size_gpm = np.where(small, rules.small_dump_gpm, rules.other_dump_gpm)
    each = np.ones(len(tank_gal))
    return steady.Tankers(
        tank_gal=tank_gal,
        usable_fraction=each * rules.usable_fraction,
        dump_gpm=by_size_gpm if dump_gpm is None else each * dump_gpm,
        intake_gpm=each * rules.intake_gpm,
        self_fill_gpm=each * np.nan,
    )
