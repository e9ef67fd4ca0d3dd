"""Which new fill sites help most: of the places that could be built, the few that bring most up to the requirement.

A place brings an address up where all tankers of some response level, filling there alone, hold the required flow in
every season of the roads. Tankers split over it and another site may do more: a plan made with the chosen places says.

A greedy choice with exchanges finds a good one; the exact one, or how far off it can be at most, comes from a mixed
integer program (maximal covering location problem) solved by branch and bound (`scipy.optimize.milp`, HiGHS).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array, eye_array, hstack

from preplan.planning.flows import Flows
from preplan.records import BoolArray, FloatArray, IntArray

SECONDS = 60.0
"""The exact search ends after so long, and says how far off the answer can be (this program's choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Picked:
    """The places to build, the one that brings most first; each next one brings most beside those before it."""

    places: tuple[int, ...]
    gain: tuple[float, ...]
    """What each brings beside those before it."""
    bound: float
    """No choice of so many places brings more in all."""

    @property
    def total(self) -> float:
        """Sum up what all bring."""
        return sum(self.gain)


def meets_from(flows: Sequence[Flows], places: Sequence[int], levels: int) -> BoolArray:
    """Tell which addresses each of some sites brings up to the requirement, (addresses, places), in every season.

    `flows` are those of each season of the roads, `places` indices of the sites, and the first `levels` response
    levels count; a site that is out of service, or not there in some planned month, brings nobody up all year. Only
    what a bound does not rule out has its timeline run.
    """
    scene = flows[0].scene
    whole_year = [scene.sites[place].stands_through(scene.planned) for place in places]
    meets: BoolArray = np.tile(np.array(whole_year, dtype=np.bool_), (len(scene.needs), 1))
    at = np.array(places, dtype=np.int32)
    need = scene.needs.met_from_gpm[:, None]
    for each in flows:
        held = np.zeros_like(meets)
        for level in reversed(range(levels)):  # the highest holds most
            address, place = np.nonzero(meets & ~held & (each.most_gpm[:, at, level] >= need))
            rows, sites = address.astype(np.int32), at[place]
            each.look(rows, sites, np.full(len(rows), level, dtype=np.int32))
            held[address, place] = each.gpm[rows, sites, level] >= need[address, 0]
        meets &= held
    return meets


def pick_places(meets: BoolArray, worth: FloatArray, count: int, *, seconds: float = SECONDS) -> Picked:
    """Pick the places that bring most.

    Parameters
    ----------
    meets
        (addresses, places): the place alone brings the address up to the requirement.
    worth
        (addresses,) what that is worth: one each, or its required flow in gpm.
    count
        Most places that are built.
    seconds
        Most time for the exact search.

    Returns
    -------
    Picked
        No place that brings nothing.
    """
    rows, group = np.unique(meets[meets.any(axis=1)], axis=0, return_inverse=True)
    if not len(rows) or count < 1:
        return Picked(places=(), gain=(), bound=0.0)
    weight = np.bincount(group.ravel(), weights=worth[meets.any(axis=1)]).astype(np.float64)
    chosen = _exchanged(rows, weight, _greedy(rows, weight, np.arange(rows.shape[1], dtype=np.int32), count))
    exact, bound = _exact(rows, weight, count, seconds)
    if exact is not None and _brought(rows, weight, exact) > _brought(rows, weight, chosen):
        chosen = exact
    ordered = _greedy(rows, weight, chosen, len(chosen))
    totals = [0.0, *(_brought(rows, weight, ordered[: at + 1]) for at in range(len(ordered)))]
    return Picked(
        places=tuple(ordered.tolist()),
        gain=tuple(np.diff(totals).tolist()),
        bound=max(bound, totals[-1]),
    )


def _brought(rows: BoolArray, weight: FloatArray, places: IntArray) -> float:
    """Sum up what some places bring."""
    return float(weight[rows[:, places].any(axis=1)].sum())


def _greedy(rows: BoolArray, weight: FloatArray, places: IntArray, count: int) -> IntArray:
    """Take the place that brings most, then the one that brings most beside it, and so on."""
    picked: list[int] = []
    open_rows = np.ones(len(rows), dtype=np.bool_)
    for _ in range(count):
        gain = weight[open_rows] @ rows[open_rows][:, places]
        best = int(gain.argmax()) if gain.size else -1
        if best < 0 or gain[best] <= 0.0:
            break
        picked.append(int(places[best]))
        open_rows &= ~rows[:, places[best]]
    return np.array(picked, dtype=np.int32)


def _exchanged(rows: BoolArray, weight: FloatArray, chosen: IntArray) -> IntArray:
    """Exchange one place for another as long as that brings more."""
    improved = True
    while improved and len(chosen):
        improved = False
        for at in range(len(chosen)):
            others = np.delete(chosen, at)
            left = ~rows[:, others].any(axis=1)
            gain = weight[left] @ rows[left]
            best = int(gain.argmax())
            if gain[best] > gain[chosen[at]]:
                chosen, improved = np.append(others, best).astype(np.int32), True
                break
    return chosen


def _exact(rows: BoolArray, weight: FloatArray, count: int, seconds: float) -> tuple[IntArray | None, float]:
    """Solve the covering problem: the best places known when time is over, None if none, and the proven bound.

    One whole variable a place, then one a group of addresses that the same places bring up, at most the number of
    its places that are built.
    """
    from scipy.optimize import Bounds, LinearConstraint, milp  # noqa: PLC0415 - slow to import; a plan needs it not

    groups, places = rows.shape
    cost = np.concatenate([np.zeros(places), -weight])
    covered = hstack([csr_array(-rows.astype(np.float64)), eye_array(groups)], format="csr")
    built = csr_array(np.concatenate([np.ones(places), np.zeros(groups)])[None])
    found = milp(
        cost,
        constraints=[LinearConstraint(covered, -np.inf, 0.0), LinearConstraint(built, 0.0, float(count))],
        integrality=np.concatenate([np.ones(places), np.zeros(groups)]),
        bounds=Bounds(0.0, 1.0),
        options={"time_limit": seconds, "mip_rel_gap": 0.0},
    )
    bound = float(weight.sum()) if found.mip_dual_bound is None else -float(found.mip_dual_bound)
    return (None if found.x is None else np.flatnonzero(found.x[:places] > 0.5).astype(np.int32)), bound
