"""Seconds of each stage of a build, and its searches as a ratio to bare scipy on the same arrays.

    python -m tests.bench.bench_build [DISTRICT.toml]

Prints; asserts nothing.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from itertools import pairwise
from pathlib import Path
from time import perf_counter

import numpy as np
from scipy.sparse.csgraph import dijkstra

from preplan.build import build_district
from preplan.inputs.reader import read_inputs
from preplan.planning.ground import lay_ground
from preplan.planning.round_trips import all_trips
from preplan.planning.vehicles import season_fleets
from preplan.roads.source import read_roads

SAMPLE = Path(__file__).resolve().parents[2] / "data_samples" / "millrace" / "district.toml"


def stages(district: Path, out: Path, how: str) -> None:
    """Build once and print the seconds of each stage."""
    marks: list[tuple[str, float]] = []
    build_district(district, out, lambda name, _share: marks.append((name, perf_counter())))
    print(f"\n{how}: {marks[-1][1] - marks[0][1]:.2f} s in all")
    for (name, begun), (_, ended) in pairwise(marks):
        print(f"  {ended - begun:7.2f} s  {name}")


def searches(district: Path) -> None:
    """Time all round trips of the heaviest cut against bare searches from as many states of the same matrix."""
    inputs = read_inputs(district)
    roads, features = read_roads(inputs.roads, district.parent)
    ground = lay_ground(inputs, roads, features)
    units = tuple(unit for unit in inputs.units if unit.in_service)
    season = ground.seasons[0]
    fleet = season_fleets(units, [(season.network, season.limits, season.minutes)])[0][-1]
    begun = perf_counter()
    all_trips(fleet.loaded, fleet.empty, inputs, ground)
    ours = perf_counter() - begun
    matrix = fleet.loaded.arcs.matrix(season.network.search_states)
    ways = np.concatenate([2 * ground.sites.segment, 2 * ground.sites.segment + 1])
    begun = perf_counter()
    dijkstra(matrix, indices=ways)
    dijkstra(matrix.T.tocsr(), indices=ways)
    bare = perf_counter() - begun
    print(f"\nround trips of {len(inputs.addresses):,} addresses x {len(inputs.sites)} sites: {ours:.3f} s")
    print(f"bare scipy searches from and to the sites, no routes: {bare:.3f} s; ratio {ours / bare:.2f}")


def main() -> None:
    """Bench the district named, else the sample."""
    district = Path(sys.argv[1]) if len(sys.argv) > 1 else SAMPLE
    folder = Path(tempfile.mkdtemp())
    try:
        stages(district, folder / "out", "cold")
        stages(district, folder / "out", "roads cached")
        searches(district)
        if sys.platform == "linux":
            import resource

            print(f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6:.2f} GB")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


if __name__ == "__main__":
    main()
