"""How fast the timeline is: `python tests/bench/bench_timeline.py [addresses] [processes]`.

Prints cases a second; asserts nothing about time. The district is drawn: every address has its own trip and
arrivals, three levels, a chosen and a backup site, so no two cases are equal.
"""

from __future__ import annotations

import sys
import time
from concurrent.futures import ProcessPoolExecutor

import numpy as np

from preplan.water.timeline import answer
from preplan.water.timeline_batch import gaps, held_flows
from preplan.water.timeline_table import CaseTable

LEVEL_TANKERS = (2, 4, 6)
SITES = 2
PIECE = 4_000


def district(addresses: int, seed: int) -> CaseTable:
    """Draw the cases of some addresses: (address, level, site) as rows, six tankers."""
    rng = np.random.default_rng(seed)
    tankers = LEVEL_TANKERS[-1]
    shape = (addresses, len(LEVEL_TANKERS), SITES)
    cases = int(np.prod(shape))

    def each(values: np.ndarray) -> np.ndarray:
        """Give every case of an address its number(s)."""
        return np.repeat(values, len(LEVEL_TANKERS) * SITES, axis=0)

    attack = rng.uniform(8, 16, addresses)
    arrival = each(np.sort(attack[:, None] + rng.uniform(-2, 25, (addresses, tankers)), axis=1))
    level = np.broadcast_to(np.array(LEVEL_TANKERS)[None, :, None], shape).ravel()
    arrival[np.arange(tankers) >= level[:, None]] = np.inf
    out = np.repeat(rng.uniform(3, 12, (addresses, 1, SITES)), len(LEVEL_TANKERS), axis=1).ravel()
    tank = np.array([2000.0, 3000.0, 1800.0, 2500.0, 2000.0, 3500.0])
    fill_gpm = np.repeat(rng.choice([500.0, 750.0, 1000.0], (addresses, 1, SITES)), 3, axis=1).ravel()
    return CaseTable.spread(
        cases, tankers, attack_arrival_min=each(attack), booster_gal=1000.0,
        dump_engine_arrival_min=each(attack + rng.uniform(0, 8, addresses)),
        fill_engine_arrival_min=each(attack + rng.uniform(0, 10, addresses)),
        required_gpm=each(rng.choice([250.0, 500.0, 750.0, 1000.0], addresses)), required_min=120.0,
        required_gal=each(rng.uniform(2000, 30000, addresses)), site_gpm=fill_gpm, room_fraction=0.8,
        dead_fraction=0.07, draft_gpm=1000.0, supply_gpm=each(rng.uniform(400, 1000, addresses)),
        arrival_min=arrival, usable_gal=0.9 * tank, fill_gpm=fill_gpm[:, None], dump_gpm=1000.0,
        out_min=out[:, None], back_min=out[:, None] * 0.9, fill_hookup_min=1.0, dump_hookup_min=0.5,
        fill_maneuver_min=1.0, dump_maneuver_min=1.5, portable_gal=tank, has_pump=np.array([1.0, 0, 0, 1, 0, 0]),
        self_fill=0.0,
    )  # fmt: skip


def solve(piece: tuple[int, int]) -> tuple[int, float, float]:
    """Answer one piece of the district: cases, seconds for uninterrupted flows, seconds for gaps."""
    addresses, seed = piece
    table = district(addresses, seed)
    start = time.perf_counter()
    held_flows(table)
    middle = time.perf_counter()
    gaps(table)
    return len(table), middle - start, time.perf_counter() - middle


def main() -> None:
    """Run the bench."""
    addresses = int(sys.argv[1]) if len(sys.argv) > 1 else 60_000
    processes = int(sys.argv[2]) if len(sys.argv) > 2 else 2
    plain = district(20, 0)
    start = time.perf_counter()
    for row in range(len(plain)):
        answer(plain.case(row))
    print(f"plain account: {len(plain) / (time.perf_counter() - start):,.0f} cases/s (flow and gap), one process")
    pieces = [(min(PIECE, addresses - at), at) for at in range(0, addresses, PIECE)]
    start = time.perf_counter()
    if processes > 1:
        with ProcessPoolExecutor(processes) as pool:
            done = list(pool.map(solve, pieces))
    else:
        done = [solve(piece) for piece in pieces]
    seconds = time.perf_counter() - start
    cases = sum(n for n, _, _ in done)
    for word, own in (("uninterrupted flow", sum(d[1] for d in done)), ("gap and books", sum(d[2] for d in done))):
        print(f"{word}: {cases / own:,.0f} cases/s a process")
    print(f"{cases:,} cases in {seconds:.1f} s on {processes} processes: {cases / seconds:,.0f} cases/s")


if __name__ == "__main__":
    main()
