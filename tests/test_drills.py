"""Published tanker drills against the closed form: a table of what agrees and what a source left out.

Few drills give every number, so this is consistency, never validation. No source gives the fill rate, so each
prediction is a span, from 500 to 1,000 gpm into one tanker at one place. A prediction is of the sustained flow: it is
held against that where a source gives it, else against what was measured, which may count first loads and stored
water. Rules of the bounds:

- every tank size and the round trip given: the span comes within a factor of two of it;
- only a range of sizes: the predictions of the smallest and the largest tanks enclose it;
- no sizes: the tank that the measured flow would take is printed; where the flow was an average or a held target,
  it is one that is built (at most 4,000 gal). A peak is partly stored water and is not held to it.
"""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass

import numpy as np
import pytest

from preplan.roads.speeds import rule_min
from preplan.rules import ShuttleRules
from preplan.water.shuttle import Tankers, best_fleet, handling
from tests.shared_data import shared

RULES = ShuttleRules()
LEAST_FILL_GPM, MOST_FILL_GPM = 500.0, 1000.0
"""Rate into one tanker: the program's default, and what training texts aim at."""
LARGEST_GAL = 4000.0


@dataclass(frozen=True)
class Drill:
    """One row: what its source gave."""

    name: str
    haulers: int
    sizes_gal: tuple[float, ...]
    range_gal: tuple[float, float] | None
    round_trip_mi: float | None
    usable: float
    vacuum: bool
    measured_gpm: float
    """The sustained flow where the source gives one."""
    measured_kind: str
    missing: str


def read(row: dict[str, str]) -> Drill:
    """Read a row; what is not a plain number is not given."""
    sizes, between = row["tank_sizes_gal"], re.match(r"range (\d+)-(\d+)", row["tank_sizes_gal"])
    trip = re.match(r"[\d.]+$", row["round_trip_mi"])
    return Drill(
        name=row["id"],
        haulers=int(row["n_haulers"]),
        sizes_gal=tuple(float(s) for s in sizes.split(";")) if re.match(r"[\d;]+$", sizes) else (),
        range_gal=(float(between[1]), float(between[2])) if between else None,
        round_trip_mi=float(trip[0]) if trip else None,
        usable=float(row["usable_credit"].split()[0]),
        vacuum="vacuum" in row["usable_credit"],
        measured_gpm=float(row["sustained_gpm"] or row["measured_used_gpm"]),
        measured_kind="sustained" if row["sustained_gpm"] else row["measured_kind"],
        missing=row["missing"],
    )


def predicted_gpm(drill: Drill, sizes_gal: list[float], fill_gpm: float) -> float:
    """Predict with the defaults; vacuum tankers fill themselves, each at its own place."""
    assert drill.round_trip_mi is not None
    each = np.ones(len(sizes_gal))
    fleet = Tankers(
        tank_gal=np.array(sizes_gal), usable_fraction=each * drill.usable, dump_gpm=each * RULES.small_dump_gpm,
        intake_gpm=each * RULES.intake_gpm, self_fill_gpm=each * (fill_gpm if drill.vacuum else np.nan),
    )  # fmt: skip
    places = len(sizes_gal) if drill.vacuum else 1
    trip_min = float(rule_min(np.full(2, drill.round_trip_mi / 2)).sum())
    shuttle = best_fleet(
        trip_min, handling(fleet, fill_gpm, RULES), each.astype(np.bool_),
        positions=places, site_gpm=fill_gpm * places, dump_places=RULES.dump_places,
    )  # fmt: skip
    return float(shuttle.sustained_gpm)


def tank_for_gpm(drill: Drill) -> float:
    """Find the smallest equal tanks, to 100 gal, that would sustain the measured flow; inf above 10,000 gal."""
    for tank_gal in range(500, 10001, 100):
        if predicted_gpm(drill, [float(tank_gal)] * drill.haulers, MOST_FILL_GPM) >= drill.measured_gpm:
            return float(tank_gal)
    return float("inf")


@pytest.fixture(scope="module")
def drills() -> list[Drill]:
    with shared("drills.csv").open(encoding="utf-8", newline="") as file:
        return [read(row) for row in csv.DictReader(file)]


def test_drills_are_consistent(drills: list[Drill]) -> None:
    """Print one line a drill; hold each to the rule for what its source gave."""
    lines = [
        f"{'drill':9} {'measured gpm':>13}  {'predicted gpm':>16}  {'ratio':>11}  measured as; left out by the source"
    ]
    held = 0
    for drill in drills:
        said = f"{drill.name:9} {drill.measured_gpm:13.0f}"
        tail = f"{drill.measured_kind}; missing: {drill.missing}"
        if drill.round_trip_mi is None:
            lines.append(f"{said}  {'no single trip':>16}  {'':>11}  {tail}")
            continue
        if drill.sizes_gal or drill.range_gal:
            low_gal, high_gal = drill.range_gal or (0.0, 0.0)
            small = list(drill.sizes_gal) or [low_gal] * drill.haulers
            large = list(drill.sizes_gal) or [high_gal] * drill.haulers
            low, high = predicted_gpm(drill, small, LEAST_FILL_GPM), predicted_gpm(drill, large, MOST_FILL_GPM)
            ratio = f"{low / drill.measured_gpm:.2f}-{high / drill.measured_gpm:.2f}"
            lines.append(f"{said}  {f'{low:.0f}-{high:.0f}':>16}  {ratio:>11}  {tail}")
            if drill.range_gal:
                assert low <= drill.measured_gpm <= high, drill.name
            else:
                assert low <= 2 * drill.measured_gpm, drill.name
                assert high >= drill.measured_gpm / 2, drill.name
            held += 1
            continue
        tank_gal = tank_for_gpm(drill)
        would_take = f"tanks {tank_gal:.0f} gal" if np.isfinite(tank_gal) else "no tank that big"
        lines.append(f"{said}  {would_take:>16}  {'':>11}  {tail}")
        if drill.measured_kind.startswith(("average", "sustained", "target")):
            assert tank_gal <= LARGEST_GAL, drill.name
            held += 1
    print("\n".join(lines))  # noqa: T201 - the table, shown by pytest -s
    print(f"consistent with {held} of {len(drills)} published drills")  # noqa: T201
    assert held >= 5


def test_an_exact_two_hours_of_250_gpm_was_set_by_demand(drills: list[Drill]) -> None:
    """A test that stopped at the rating's minimum is a lower bound: ordinary tanks sustain it."""
    by_demand = [d for d in drills if d.measured_gpm == 250]
    assert by_demand
    for drill in by_demand:
        assert predicted_gpm(drill, [2500.0] * drill.haulers, LEAST_FILL_GPM) >= 250
