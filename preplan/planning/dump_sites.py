"""Where tankers dump for an address on a dead end: at its frontage, or at a junction with hose on along the road.

The junction is taken in two cases only. Where no tanker reaches the frontage at all, as behind a posting; and where
the round trip of all tankers is shorter from there by more than turning at the dump site costs, the lay still
carries the required flow, and no engine is wanted that would not be wanted at the frontage.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from preplan.months import month_words, months_text
from preplan.plan_inputs import Inputs
from preplan.plan_tables import SHUT_BEYOND, AnswerTable, Flag, FrontageTable, NeedTable
from preplan.planning.ground import Ground
from preplan.planning.round_trips import least_trips
from preplan.planning.vehicles import CutFleet, is_tanker
from preplan.records import BoolArray, FloatArray, IntArray, RoadLimits, RoadTable, Unit
from preplan.roads.mouths import Mouths, beyond_mouth, find_dead_ends, mouths_within, moved_to
from preplan.roads.search import Spots, response_min
from preplan.rules import Rules
from preplan.water.hydraulics import lay_gpm

ENGINES_APART = 3
"""Engines of the first level with which attack, fill and dump site have one each."""

ShortestTrip = Callable[[int, IntArray, FloatArray], FloatArray]
"""Gives the shortest round trip of a cut to places, minutes: index of the cut (0 the lightest, -1 all tankers), then
stretches and shares of them, each (places,)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lay:
    """The supply line that is surely there, whichever two engines come: the least of each."""

    hose_ft: float
    hose_in: float

    @classmethod
    def of(cls, units: tuple[Unit, ...], wanted: int) -> Lay:
        """Take the two engines that carry least; one engine alone lays no supply line.

        Where there are fewer than are `wanted`, pumper-tankers stand in for them.
        """
        pumps = [unit for unit in units if unit.kind != "tanker" and unit.in_service]
        plain = [unit for unit in pumps if unit.kind == "engine"]
        engines = plain if len(plain) >= wanted else pumps
        least = sorted(unit.supply_hose_ft for unit in engines)[:2]
        return cls(
            hose_ft=sum(least) if len(least) > 1 else 0.0,
            hose_in=min((unit.supply_hose_in for unit in engines), default=0.0),
        )

    def left_ft(self, frontages: FrontageTable, rules: Rules) -> FloatArray:
        """Say how much hose is left for the road, (addresses,) ft: below zero where the driveway takes more."""
        return self.hose_ft - rules.shuttle.stand_off_ft - frontages.driveway_ft


def choose_mouths(
    frontages: FrontageTable,
    mouths: Mouths,
    lay: Lay,
    needs: NeedTable,
    engines: int,
    rules: Rules,
    shortest: ShortestTrip,
) -> IntArray:
    """Choose the junctions that take the place of a frontage: rows of `mouths`, one an address at most.

    `engines` are those that the first level surely brings.
    """
    if not len(mouths):
        return np.empty(0, dtype=np.int32)
    a = mouths.address
    all_here, all_there = _trips(-1, frontages, mouths, shortest)
    any_here, any_there = all_here, all_there
    if not np.isfinite(all_here).all():
        any_here, any_there = _trips(0, frontages, mouths, shortest)
    hose_ft = frontages.driveway_ft[a] + mouths.along_ft + rules.shuttle.stand_off_ft
    line_gpm = lay_gpm(
        np.maximum(hose_ft, 1.0),
        lay.hose_in,
        pump_psi=rules.shuttle.supply_psi,
        residual_psi=rules.shuttle.supply_residual_psi,
    )
    fits = (line_gpm >= needs.required_gpm[a]) & _same_jobs(frontages.driveway_ft[a], mouths.along_ft, engines, rules)
    gains = fits & (all_there + rules.roads.dump_turn_min < all_here)
    stranded = ~np.isfinite(any_here) & np.isfinite(any_there)
    # of a place that no tanker reaches the nearest junction that one does, else the shortest trip; ties: least hose
    key = np.where(stranded, 0.0, all_there)
    order = np.lexsort((mouths.along_ft, key, ~np.isfinite(all_there), a))
    order = order[(gains | stranded)[order]]
    _, first = np.unique(a[order], return_index=True)
    chosen: IntArray = order[first].astype(np.int32)
    return chosen


def _trips(cut: int, frontages: FrontageTable, mouths: Mouths, shortest: ShortestTrip) -> tuple[FloatArray, FloatArray]:
    """Give the shortest round trips of a cut to the frontage and to the junction of each row of `mouths`, at once."""
    rows, of_row = np.unique(mouths.address, return_inverse=True)
    segment = np.concatenate([frontages.segment[rows], mouths.segment])
    found = shortest(cut, segment, np.concatenate([frontages.fraction[rows], mouths.fraction]))
    return found[: len(rows)][of_row], found[len(rows) :]


def _same_jobs(driveway_ft: FloatArray, along_ft: FloatArray, engines: int, rules: Rules) -> BoolArray:
    """Tell where hose along the road takes no engine away: one that attacks and drafts at once must stay near."""
    near_ft = rules.shuttle.one_engine_reach_ft
    same: BoolArray = np.bool_(engines >= ENGINES_APART) | (driveway_ft > near_ft) | (driveway_ft + along_ft <= near_ft)
    return same


def engines_of_level(inputs: Inputs, units: tuple[Unit, ...]) -> int:
    """Count the engines that the first level surely brings: those it asks for, and that neighbours send unasked."""
    comes = 0
    for station in inputs.stations:
        here = sum(unit.kind == "engine" and unit.station_id == station.station_id for unit in units)
        if station.aid != "on request":
            comes += here if station.max_engines is None else min(here, station.max_engines)
    return min(comes, inputs.district.levels[0].engines)


def with_dump_sites(
    inputs: Inputs, units: tuple[Unit, ...], ground: Ground, fleets: tuple[tuple[CutFleet, ...], ...]
) -> Ground:
    """Move the dump sites of dead ends to junctions where that is possible and worth it, in every season."""
    rules = inputs.district.rules
    lay = Lay.of(units, inputs.district.levels[0].engines)

    def shortest(cut: int, segment: IntArray, fraction: FloatArray) -> FloatArray:
        places = Spots.at(segment, fraction)
        every_season = [
            least_trips(cuts[cut], inputs, ground.sites, _serves(cuts[cut], inputs, units, ground), places)
            for cuts in fleets
        ]
        worst: FloatArray = np.max(every_season, axis=0)
        return worst

    mouths = mouths_within(ground.roads, ground.limits, ground.frontages, lay.left_ft(ground.frontages, rules))
    chosen = choose_mouths(
        ground.frontages, mouths, lay, ground.needs, engines_of_level(inputs, units), rules, shortest
    )
    if not len(chosen):
        return ground
    moved = moved_to(ground.roads, ground.limits, inputs.addresses, ground.frontages, mouths, chosen)
    seasons = [(season.months, season.limits) for season in ground.seasons]
    shut = shut_beyond(ground.roads, ground.limits, seasons, ground.frontages, mouths, chosen)
    return replace(ground, frontages=moved, shut_beyond=shut)


def shut_beyond(
    roads: RoadTable,
    limits: RoadLimits,
    seasons: Sequence[tuple[frozenset[int], RoadLimits]],
    frontages: FrontageTable,
    mouths: Mouths,
    chosen: IntArray,
) -> dict[int, tuple[frozenset[int], tuple[int, ...]]]:
    """Find when the road on from a junction, which no tanker drives, is shut to engines too, as `Ground` has it.

    `frontages` are the addresses' own, `limits` those of all year, `seasons` those of the months of each.
    """
    trees = find_dead_ends(roads, limits)
    shut = [(months, ~those.usable) for months, those in seasons]
    found = {}
    for row in chosen.tolist():
        a, segment = int(mouths.address[row]), int(mouths.segment[row])
        mouth = int((roads.to_node if mouths.fraction[row] else roads.from_node)[segment])
        way = beyond_mouth(trees, int(frontages.segment[a]), mouth)
        months = frozenset[int]().union(*(those for those, off in shut if off[way].any()))
        if months:
            found[a] = months, tuple(at for at in way if any(off[at] for _, off in shut))
    return found


def with_shut_beyond(answers: AnswerTable, ground: Ground) -> AnswerTable:
    """Flag the addresses that engines may not get to from the dump site in some months: hose goes on by hand."""
    return answers.flagged(
        (a, Flag(SHUT_BEYOND, months_text(months), stretches=where, limit=f"shut {month_words(months, short=True)}"))
        for a, (months, where) in ground.shut_beyond.items()
        if answers.level[a] >= 0
    )


def _serves(cut: CutFleet, inputs: Inputs, units: tuple[Unit, ...], ground: Ground) -> BoolArray:
    """Mask the fill sites (sites,) that stand in some month planned and to which the tankers of a cut come, loaded.

    A pond behind a bridge that is too weak for every tanker has a round trip to who lives there, and serves nobody.
    """
    months = inputs.district.rules.plan.months
    stands = np.array([site.in_service and bool(site.months & months) for site in inputs.sites], dtype=np.bool_)
    homes = {unit.station_id for unit in units if is_tanker(unit)}
    rows = np.flatnonzero([station.station_id in homes for station in inputs.stations])
    there = response_min(cut.loaded, Spots.of(ground.stations).some(rows.astype(np.int32)), Spots.of(ground.sites))
    serves: BoolArray = stands & np.isfinite(there).any(axis=0)
    return serves
