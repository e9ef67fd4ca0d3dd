"""Who is told of which limits: those of his own way, and what nobody drives but a driver may be tempted by."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field, replace

import numpy as np

from preplan.plan_inputs import Inputs
from preplan.plan_tables import (
    FIRST_CIRCUIT,
    ONLY_RATED,
    SECOND_CIRCUIT,
    UNPOSTED,
    AnswerTable,
    Flag,
    LevelTable,
    RouteForest,
    TripTable,
)
from preplan.planning.ground import Ground
from preplan.planning.vehicles import is_tanker
from preplan.planning.weights import Met, Weights, gravest_first
from preplan.records import BoolArray, IntArray, Unit
from preplan.roads.forest import states_on
from preplan.roads.inventory import is_bridge, rating_lb


def weights_of(
    answers: AnswerTable, levels: LevelTable, road: IntArray, units: tuple[Unit, ...], inputs: Inputs, ground: Ground
) -> Weights:
    """Gather what is posted and rated, and the tankers sent; where no level is shown, every one."""
    every = np.array([is_tanker(unit) for unit in units])
    shown, planned = answers.shown_units(levels.tankers), (answers.level >= 0)[:, None]
    from_here = np.arange(levels.tankers.shape[1]) >= answers.level[:, None]
    return Weights(
        roads=ground.roads,
        bridge=is_bridge(ground.roads),
        limits=tuple(season.limits for season in ground.seasons),
        months=tuple(season.months for season in ground.seasons),
        road=road,
        operating_lb=rating_lb(inputs.bridges, ground.bridge_row),
        units=units,
        sent=np.where(planned, shown, every),
        later=planned & (levels.tankers & from_here[:, :, None]).any(axis=1) & ~shown,
        engines=answers.shown_units(levels.fleet) & ~shown,
    )


def with_weights(
    answers: AnswerTable, levels: LevelTable, trips: TripTable, forest: RouteForest, weights: Weights, free: IntArray
) -> AnswerTable:
    """Flag, before all else, the bridges that loaded tankers must not cross, or cross above their rating.

    `free` is as `Met` has it.
    """
    at_split = answers.shown_units(levels.at_split)
    to_second = np.arange(len(weights.units)) == answers.shown(levels.split_engine)[:, None]

    def driven(table: IntArray) -> tuple[IntArray, IntArray]:
        """Pair addresses with the limited stretches of their trips, loaded and empty."""
        trip = answers.shown(table)
        leaves = (np.append(leaf, -1)[trip] for leaf in (trips.out_leaf, trips.back_leaf))  # trip -1: the leaf of none
        out, back = (states_on(forest, leaf, weights.limited) // (1, 2) for leaf in leaves)
        return out.astype(np.int32), back.astype(np.int32)

    answers = with_ratings(answers, levels, trips, forest, weights)
    first, second = driven(levels.trip), driven(levels.split_trip)
    on_way = _among(free, np.concatenate([*first, *second]))
    told = _Told(weights)
    for circuit, (out, back), tankers, engines in (
        (FIRST_CIRCUIT, first, ~at_split, ~to_second), (SECOND_CIRCUIT, second, at_split, to_second),
    ):  # fmt: skip
        told.tell(circuit, Met(free=free[on_way], out=out, back=back), tankers, engines)
    # what nobody drives concerns all who come, whichever circuit is theirs
    everyone, none = np.ones_like(weights.sent), free[:0]
    told.tell(0, Met(free=free[~on_way], out=none, back=none), everyone, everyone)
    hydrant = (answers.status == "hydrant").tolist()
    flags = [(*(() if hydrant[a] else told.of(a)), *others) for a, others in enumerate(answers.flags)]
    return replace(answers, flags=tuple(flags))


def with_ratings(
    answers: AnswerTable, levels: LevelTable, trips: TripTable, forest: RouteForest, weights: Weights
) -> AnswerTable:
    """Tell round trips on which the bridge table rates every bridge without a posted weight from unknown ones."""
    rated = np.isfinite(weights.operating_lb) & (weights.operating_lb > 0.0)
    unknown = np.logical_or.reduce([limits.unposted_bridge for limits in weights.limits]) & ~rated
    on_unknown: dict[int, set[int]] = {}
    for circuit, table in ((FIRST_CIRCUIT, levels.trip), (SECOND_CIRCUIT, levels.split_trip)):
        trip = answers.shown(table)
        legs = [states_on(forest, np.append(leaf, -1)[trip], unknown) for leaf in (trips.out_leaf, trips.back_leaf)]
        on_unknown[circuit] = set(np.concatenate(legs)[:, 0].tolist())
    flags = [
        tuple(
            replace(flag, code=ONLY_RATED) if flag.code == UNPOSTED and a not in on_unknown[flag.circuit] else flag
            for flag in some
        )
        for a, some in enumerate(answers.flags)
    ]
    return replace(answers, flags=tuple(flags))


@dataclass(frozen=True, slots=True)
class _Told:
    """Flags of weight and size by address."""

    weights: Weights
    found: defaultdict[int, list[Flag]] = field(default_factory=lambda: defaultdict(list))

    def tell(self, circuit: int, met: Met, tankers: BoolArray, engines: BoolArray) -> None:
        """Flag what some of the tankers and engines, masks (addresses, units), meet."""
        crew = replace(self.weights, sent=self.weights.sent & tankers, engines=self.weights.engines & engines)
        for address, flags in crew.flags(met).items():
            self.found[address] += [replace(flag, circuit=circuit) for flag in flags]

    def of(self, address: int) -> tuple[Flag, ...]:
        """Give those of one address, the gravest first."""
        return gravest_first(self.found.get(address, ()))


def _among(pairs: IntArray, others: IntArray) -> BoolArray:
    """Mask the pairs, (pairs, 2), that are among others."""
    stride = 1 + max(int(pairs[:, 1].max(initial=0)), int(others[:, 1].max(initial=0)))
    one, other = (table[:, 0].astype(np.int64) * stride + table[:, 1] for table in (pairs, others))
    mask: BoolArray = np.isin(one, other)
    return mask
