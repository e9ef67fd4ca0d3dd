"""Round-trip searches of a drawn county against bare all-pairs searches of the same arrays, in the same run.

    python -m tests.bench.bench_county [JUNCTIONS ADDRESSES SITES]

Prints seconds of the processor, their ratio and the peak of memory, compares every kept trip with a search of
everything, and asserts nothing about time. The bare reference is one unlimited `scipy.sparse.csgraph.dijkstra` for
each vehicle, site, direction and leg, and nothing else: it joins no legs, and finds and measures no way.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from itertools import pairwise
from time import process_time

import numpy as np
from scipy.sparse.csgraph import dijkstra

from preplan.records import BoolArray
from preplan.roads.convoy import NearSearch
from preplan.roads.near_trips import NearTrips
from preplan.roads.search import Spots
from preplan.roads.trips import Turning, circuits, legs_of, measure
from tests.county import County, draw_county

COUNTY = (100_000, 60_000, 150)
BEST, BEST_YEAR_ROUND = 8, 3
ROWS = 16
PIECE_SITES = 10


def search_near(county: County, turning: Turning) -> tuple[tuple[NearTrips, ...], BoolArray]:
    """Search every vehicle as a plan does; return the searches and the pairs (sites, addresses) that are kept."""
    count = len(county.sites.segment)
    counts = [(BEST, np.ones(count, dtype=np.bool_)), (BEST_YEAR_ROUND, np.arange(count) % 4 > 0)]
    legs = ((county.free, county.free), *county.fleets)
    near = NearSearch.of(legs, Spots.of(county.sites), Spots.of(county.addresses), turning, counts)
    kept = near.nearest(counts)
    near.settle(kept)
    return near.vehicles, kept


def follow(search: NearTrips, kept: BoolArray) -> float:
    """Search again with ways and measure every kept trip: the miles of all."""
    found = search.circuits(search.known)
    site, address = (i.astype(np.int32) for i in np.nonzero(kept & np.isfinite(search.least_min)))
    length = found.loaded.network.length_mi[:, None]
    out, back = legs_of(found, address, site)
    there = measure(found.outward, out, length, inward=False)
    return float(there.sum() + measure(found.inward, back, length, inward=True).sum())


def bare(searches: Sequence[NearTrips]) -> None:
    """Search everything from and to every site, for every vehicle."""
    for one in searches:
        for launch in (one.out, one.into):
            states, rows = launch.fleet.network.search_states, launch.square.shape[0]
            for first in range(states, rows, ROWS):
                dijkstra(launch.square, indices=np.arange(first, min(first + ROWS, rows)))


def differences(search: NearTrips, kept: BoolArray) -> int:
    """Count the kept trips whose minutes are not those of a search of everything, to the last bit."""
    wrong, sites = 0, len(kept)
    for first, last in pairwise([*range(0, sites, PIECE_SITES), sites]):
        some = slice(first, last)
        found = circuits(
            search.out.fleet,
            search.into.fleet,
            search.out.spots.some(some),
            search.dumps,
            search.turning.some(some),
        )
        ours = search.trip_min[:, some]
        wrong += int((ours != found.trip_min)[kept[some].T].sum())
    return wrong


def warm_up() -> None:
    """Run everything once on a small county, so that no import is timed."""
    county = draw_county(400, 100, 12)
    turning = Turning(turnaround_min=np.zeros(12), dump_turn_min=3.0, loop_preference_min=1.0)
    searches, kept = search_near(county, turning)
    follow(searches[-1], kept)
    bare(searches)


def main() -> None:
    """Run the bench."""
    warm_up()
    county = draw_county(*(int(word) for word in sys.argv[1:]) if len(sys.argv) > 1 else COUNTY)
    sites = len(county.sites.segment)
    turning = Turning(turnaround_min=np.resize([0.0, 0.5, 1.5, 1.5], sites), dump_turn_min=3.0, loop_preference_min=1.0)
    states, arcs = county.network.search_states, len(county.network.arc_from)
    print(f"{states:,} states, {arcs:,} arcs, {len(county.addresses.segment):,} addresses, {sites} sites")
    begun = process_time()
    searches, kept = search_near(county, turning)
    timed = process_time()
    miles = follow(searches[-1], kept)
    ours = process_time() - begun
    print(f"{kept.sum():,} pairs kept on {len(searches)} vehicles: {ours:.1f} s")
    print(f"of that {process_time() - timed:.1f} s to follow the ways of the heaviest, {miles:,.0f} mi")
    if sys.platform == "linux":
        import resource

        print(f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6:.2f} GB")
    begun = process_time()
    bare(searches)
    reference = process_time() - begun
    print(f"bare all-pairs searches: {reference:.1f} s; {reference / ours:.1f} x ours")
    print(f"kept trips that differ from a search of everything: {sum(differences(one, kept) for one in searches)}")


if __name__ == "__main__":
    main()
