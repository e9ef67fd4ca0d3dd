"""One shuttle by hand: what these tankers sustain on one circuit, and what holds them back."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from textwrap import wrap

import numpy as np

from preplan.by_hand.options import LINE_LETTERS, as_json, cautions, labelled, table
from preplan.records import BoolArray, FloatArray
from preplan.render.words import limit_words, minutes, number, supply
from preplan.rules import ShuttleRules
from preplan.water import shuttle as steady


@dataclass(frozen=True, slots=True, kw_only=True)
class Circuit:
    """What is asked: the tankers, both ends, and the way between them."""

    tank_gal: tuple[float, ...]
    out_min: float
    """Fill site to dump site, loaded."""
    back_min: float
    fill_gpm: float
    """Into one tanker, where the site gives so much."""
    site_gpm: float
    """What the site gives in all."""
    dump_gpm: float | None = None
    """None: by the size of each tank."""
    positions: int = 1
    rules: ShuttleRules
    required_min: float = 120.0
    """How long a stored source must last."""
    draft_gpm: float = math.inf
    supply_gpm: float = math.inf
    storage_gal: float = math.inf
    refill_gpm: float = 0.0

    @property
    def trip_min(self) -> float:
        """Minutes driven in one round trip."""
        return self.out_min + self.back_min

    @property
    def into_one_gpm(self) -> float:
        """Rate into one tanker, as the site gives it."""
        return float(steady.into_one_gpm(self.fill_gpm, self.site_gpm))


class HandShuttle:
    """One shuttle by hand and its steady answer: exactly these tankers, and the best of them."""

    def __init__(self, circuit: Circuit) -> None:
        """Work it out."""
        rules = circuit.rules
        self.circuit = circuit
        self.tankers = _tankers(circuit.tank_gal, circuit.dump_gpm, rules)
        self.own = steady.handling(self.tankers, circuit.into_one_gpm, rules)
        self.rate_gpm: FloatArray = steady.filling(self.tankers, circuit.into_one_gpm, rules)[1]
        everyone = np.ones(len(self.tankers), dtype=np.bool_)
        self.all = self._capped(self._answer(steady.sustained, everyone))
        self.best = self._capped(self._answer(steady.best_fleet, everyone))
        self.cycle_min: FloatArray = self.own.cycle_min(circuit.trip_min)
        self.single_gpm: FloatArray = self.own.usable_gal / self.cycle_min
        self.limited_by = str(steady.limit_words(self.all.limited_by))

    def _answer(self, solve: Callable[..., steady.Shuttle], present: BoolArray) -> steady.Shuttle:
        circuit = self.circuit
        return solve(
            circuit.trip_min, self.own, present, positions=circuit.positions, site_gpm=circuit.site_gpm,
            dump_places=circuit.rules.dump_places,
        )  # fmt: skip

    def _capped(self, flow: steady.Shuttle) -> steady.Shuttle:
        """Hold a flow to the draft, the supply line and what a stored source lasts for."""
        circuit = self.circuit
        stored_gpm = circuit.storage_gal / circuit.required_min + circuit.refill_gpm
        for most_gpm, word in (
            (circuit.draft_gpm, "draft"), (circuit.supply_gpm, "supply line"), (stored_gpm, "source"),
        ):  # fmt: skip
            flow = steady.cap(flow, most_gpm, steady.LIMIT_CODE[word])
        return flow

    def answer(self) -> dict[str, object]:
        """Give the answer for other programs."""
        rows = zip(self.tankers.tank_gal, self.own.usable_gal, self.cycle_min, self.single_gpm, strict=True)
        names = ("tank_gal", "usable_gal", "cycle_min", "gpm")
        return {
            "sum_gpm": float(self.all.sum_gpm),
            "sustained_gpm": float(self.all.sustained_gpm),
            "limited_by": self.limited_by,
            "tankers": [dict(zip(names, map(float, row), strict=True)) for row in rows],
        }

    def json(self) -> str:
        """Write the answer for other programs, unrounded."""
        return as_json(self.answer())

    def text(self) -> str:
        """Write the answer for people: supply rounded down."""
        return "\n".join([*self.lines(), "", *wrap(f"Used: {self.used()}.", LINE_LETTERS), *cautions()])

    def lines(self) -> list[str]:
        """Write the tankers and the steady flow."""
        rows = zip(self.tankers.tank_gal, self.own.usable_gal, self.cycle_min, self.single_gpm, strict=True)
        cells = [
            (str(at), number(tank), supply(usable), number(cycle, 1), supply(gpm))
            for at, (tank, usable, cycle, gpm) in enumerate(rows, start=1)
        ]
        trip_min = self.circuit.trip_min
        return [
            *table(("tanker", "tank gal", "usable gal", "cycle min", "gpm alone"), cells),
            "",
            *labelled("Sustained flow", f"{supply(float(self.all.sustained_gpm))} gpm"),
            *labelled("Limited by", limit_words(self.limited_by)),
            *labelled(
                "Sum of singles",
                f"{supply(float(self.all.sum_gpm))} gpm, an upper bound: it forgets that tankers wait",
            ),
            *labelled("Longest cycle", f"{minutes(float(self.all.cycle_min))}, of which driving {minutes(trip_min)}"),
            *self._left_out(),
        ]

    def used(self) -> str:
        """Name every number that went in, given or assumed."""
        rules, circuit = self.circuit.rules, self.circuit
        handling = rules.fill_hookup_min, rules.fill_maneuver_min, rules.dump_hookup_min, rules.dump_maneuver_min
        capped = ", as the site gives no more" if circuit.into_one_gpm < circuit.fill_gpm else ""
        dump = f"dump {', '.join(f'{gpm:g}' for gpm in sorted(set(self.tankers.dump_gpm)))} gpm"
        return "; ".join(
            [
                f"usable share {rules.usable_fraction:g}",
                f"fill {circuit.into_one_gpm:g} gpm into one tanker{capped}, a tank takes at most {rules.intake_gpm:g}",
                f"fill places {circuit.positions}, site {circuit.site_gpm:g} gpm in all",
                f"{dump}, dump places {rules.dump_places}",
                f"fill hook-up and maneuver, dump hook-up and maneuver {', '.join(f'{m:g}' for m in handling)} min",
                *self._caps(),
            ]
        )

    def _caps(self) -> list[str]:
        circuit = self.circuit
        said = [
            f"{word} at most {gpm:g} gpm"
            for word, gpm in (("draft", circuit.draft_gpm), ("supply line", circuit.supply_gpm))
            if math.isfinite(gpm)
        ]
        if math.isfinite(circuit.storage_gal):
            said.append(
                f"source {circuit.storage_gal:g} gal and {circuit.refill_gpm:g} gpm for {circuit.required_min:g} min"
            )
        return said

    def _left_out(self) -> list[str]:
        """Say so where the flow is higher without some tankers."""
        out = [str(at) for at, used in enumerate(self.best.used, start=1) if not used]
        if not out:
            return []
        gpm = supply(float(self.best.sustained_gpm))
        return labelled("Leaving out", f"tanker {', '.join(out)} raises the sustained flow to {gpm} gpm")


def _tankers(tank: tuple[float, ...], dump_gpm: float | None, rules: ShuttleRules) -> steady.Tankers:
    """Complete tankers given by their tank alone."""
    tank_gal = np.array(tank, dtype=np.float64)
    each = np.ones(len(tank_gal))
    return steady.Tankers(
        tank_gal=tank_gal,
        usable_fraction=each * rules.usable_fraction,
        dump_gpm=rules.dump_gpm(tank_gal) if dump_gpm is None else each * dump_gpm,
        intake_gpm=each * rules.intake_gpm,
        self_fill_gpm=each * np.nan,
    )
