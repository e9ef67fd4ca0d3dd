"""Published tanker drills, what each measured, and what the model says about the same measure.

Few sources give every number. What they leave out is filled in the same way for all, so that a prediction is a span:

- 500 to 1,000 gpm into one tanker (the program's default, and what training texts aim at);
- one dump place to one for each tanker; so with fill places, where the number of sites is not told;
- default handling times; every tanker staged at the dump site with its first load at minute 0; a portable tank as
  large as its own tank on each;
- dump site set up in 5 min, fill site in 8, both ready at minute 0 where a flow series begins there; 'held' counts
  from minute 10.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, fields, replace
from pathlib import Path

import numpy as np

from preplan.roads.speeds import rule_min
from preplan.rules import ShuttleRules
from preplan.water.shuttle import Tankers, best_fleet, handling
from preplan.water.timeline import Case, Tanker, account, dry_stretches, held_flow
from preplan.water.timeline_case import DemandStep
from preplan.water.timeline_events import Run
from preplan.water.uninterrupted import NO_BOUND_GPM

RULES = ShuttleRules()
FILL_GPM = (500.0, 1000.0)
"""Rate into one tanker: least and most."""
HELD_FROM_MIN = 10.0
"""A flow counts as held from here on: the dump site is set up and the first load is down."""
LARGEST_GAL, SEARCH_GAL = 4000.0, 10_000
"""The largest tank that is built for a single vehicle, and where a search for one ends."""


@dataclass(frozen=True)
class Drill:
    """One row: what its source gave."""

    name: str
    haulers: int
    sizes_gal: tuple[float, ...]
    range_gal: tuple[float, float] | None
    round_trip_mi: float | None
    fill_places: int | None
    """None: not told."""
    usable: float
    vacuum: bool
    duration_min: float
    measures: tuple[tuple[str, float], ...]
    """(kind, gpm): 'mean', 'held', 'last 30 min', 'second half'."""
    steps: tuple[tuple[float, float], ...]
    """(minutes, gpm) of a flow series, where the source has one."""
    measured_as: str
    """In the words of the table."""
    missing: str


def read(path: Path) -> list[Drill]:
    """Read the table; what is not a plain number is not given."""
    with path.open(encoding="utf-8", newline="") as file:
        return [_drill(row) for row in csv.DictReader(file)]


def _drill(row: dict[str, str]) -> Drill:
    sizes, between = row["tank_sizes_gal"], re.match(r"range (\d+)-(\d+)", row["tank_sizes_gal"])
    trip, sites = re.match(r"[\d.]+$", row["round_trip_mi"]), re.match(r"\d+$", row["n_fill_sites"])
    return Drill(
        name=row["id"],
        haulers=int(row["n_haulers"]),
        sizes_gal=tuple(float(s) for s in sizes.split(";")) if re.match(r"[\d;]+$", sizes) else (),
        range_gal=(float(between[1]), float(between[2])) if between else None,
        round_trip_mi=float(trip[0]) if trip else None,
        fill_places=int(sites[0]) if sites else None,
        usable=float(row["usable_credit"].split()[0]),
        vacuum="vacuum" in row["usable_credit"],
        duration_min=float(row["duration_min"]),
        measures=tuple(_measures(row)),
        steps=tuple(_series(row["measured_kind"])),
        measured_as=row["measured_kind"],
        missing=row["missing"],
    )


def _measures(row: dict[str, str]) -> Iterator[tuple[str, float]]:
    kind = row["measured_kind"]
    late = "second half" if "2nd half" in kind else "last 30 min"
    if row["avg_gpm"]:
        yield "mean", float(row["avg_gpm"])
    if row["sustained_gpm"] and "window" not in kind:  # ten minutes of a rising series are not held flow
        yield "held", float(row["sustained_gpm"])
    if kind.startswith("peak"):
        yield late, float(row["measured_used_gpm"])


def _series(kind: str) -> Iterator[tuple[float, float]]:
    """Read 'steps 350/380/410 (10 min each) then 500 for 5 min'."""
    found = re.search(r"steps ([\d/]+) \((\d+) min each\)(?: then (\d+) for (\d+) min)?", kind)
    if found:
        yield from ((float(found[2]), float(gpm)) for gpm in found[1].split("/"))
        if found[3]:
            yield float(found[4]), float(found[3])


# --------------------------------------------------------------------------- the steady form


def steady_gpm(drill: Drill, sizes_gal: list[float], fill_gpm: float) -> float:
    """Give the sustained flow; vacuum tankers fill themselves, each at its own place."""
    each = np.ones(len(sizes_gal))
    fleet = Tankers(
        tank_gal=np.array(sizes_gal), usable_fraction=each * drill.usable, dump_gpm=each * RULES.small_dump_gpm,
        intake_gpm=each * RULES.intake_gpm, self_fill_gpm=each * (fill_gpm if drill.vacuum else np.nan),
    )  # fmt: skip
    places = _places(drill, fill_gpm)
    shuttle = best_fleet(
        2 * _leg_min(drill), handling(fleet, fill_gpm, RULES), each.astype(np.bool_),
        positions=places, site_gpm=fill_gpm * places, dump_places=_dump_places(drill, fill_gpm),
    )  # fmt: skip
    return float(shuttle.sustained_gpm)


def _places(drill: Drill, fill_gpm: float) -> int:
    """Give the fill places: as told, or as few or as many as may be, with the rate."""
    if drill.vacuum:
        return drill.haulers
    if drill.fill_places is not None:
        return drill.fill_places
    return 1 if fill_gpm == FILL_GPM[0] else drill.haulers


def _dump_places(drill: Drill, fill_gpm: float) -> int:
    return RULES.dump_places if fill_gpm == FILL_GPM[0] else drill.haulers


def _leg_min(drill: Drill) -> float:
    assert drill.round_trip_mi is not None
    return float(rule_min(np.array([drill.round_trip_mi / 2]))[0])


# --------------------------------------------------------------------------- the timeline


@dataclass(frozen=True, slots=True, kw_only=True)
class Replay(Case):
    """A case that asks for a drill's own flow series from minute 0 on."""

    series: tuple[tuple[float, float], ...] = ()

    def demand(self, flow_gpm: float | None = None) -> tuple[DemandStep, ...]:
        """List the steps of the series."""
        assert flow_gpm is None
        starts = np.cumsum([0.0, *(minutes for minutes, _ in self.series)]).tolist()
        return tuple(
            DemandStep(at, gpm) for at, gpm in zip(starts, [*(gpm for _, gpm in self.series), 0.0], strict=True)
        )


def case_of(drill: Drill, sizes_gal: list[float], fill_gpm: float, from_min: float = RULES.dump_setup_min) -> Case:
    """Put a drill on the clock: everybody on scene at minute 0, every drop used from `from_min` on."""
    leg_min, places = _leg_min(drill), _places(drill, fill_gpm)
    hookup_min = RULES.vacuum_hookup_min if drill.vacuum else RULES.fill_hookup_min
    tankers = tuple(
        Tanker(
            unit_id=f"T{at:02d}", arrival_min=0.0, usable_gal=drill.usable * gal, fill_gpm=fill_gpm,
            dump_gpm=RULES.small_dump_gpm, out_min=leg_min, back_min=leg_min, fill_hookup_min=hookup_min,
            dump_hookup_min=RULES.dump_hookup_min, fill_maneuver_min=RULES.fill_maneuver_min,
            dump_maneuver_min=RULES.dump_maneuver_min, portable_gal=gal, self_fill=drill.vacuum,
        )
        for at, gal in enumerate(sizes_gal)
    )  # fmt: skip
    return Case(
        tankers=tankers, attack_arrival_min=0.0, booster_gal=0.0, dump_engine_arrival_min=0.0,
        fill_engine_arrival_min=0.0, required_gpm=NO_BOUND_GPM, required_min=drill.duration_min - from_min,
        attack_setup_min=0.0, full_flow_after_min=from_min, attack_gpm=1e-6,
        dump_setup_min=0.0 if drill.steps else RULES.dump_setup_min, tank_setup_min=RULES.tank_setup_min,
        fill_setup_min=0.0 if drill.steps else RULES.draft_setup_min, positions=places,
        dump_places=_dump_places(drill, fill_gpm), site_gpm=fill_gpm * places,
        room_fraction=RULES.tank_room_fraction, dead_fraction=RULES.dead_water_fraction,
    )  # fmt: skip


def delivered_gal(run: Run, from_min: float, to_min: float) -> float:
    """Add up what the fire got between two minutes."""
    return sum(
        piece.flow.delivered * max(min(piece.end_min, to_min) - max(piece.start_min, from_min), 0.0)
        for piece in run.pieces
    )


def timeline_gpm(drill: Drill, kind: str, sizes_gal: list[float], fill_gpm: float) -> float:
    """Give what the account says about a measure; but for what is held, every drop is used as it comes."""
    end = drill.duration_min
    if kind == "held":
        return held_flow(case_of(drill, sizes_gal, fill_gpm, HELD_FROM_MIN)).gpm
    start = {"mean": 0.0, "second half": end / 2, "last 30 min": end - 30.0}[kind]
    return delivered_gal(account(case_of(drill, sizes_gal, fill_gpm, 0.0)), start, end) / (end - start)


def replay_dry_min(drill: Drill, fill_gpm: float) -> float:
    """Ask a drill's tankers for its own flow series and add up the dry minutes."""
    case = case_of(drill, list(drill.sizes_gal), fill_gpm, 0.0)
    values = {one.name: getattr(case, one.name) for one in fields(case)}
    run = account(Replay(**values | {"series": drill.steps, "required_min": drill.duration_min}))
    return sum(stop - start for start, stop in dry_stretches(run))


# --------------------------------------------------------------------------- the table


@dataclass(frozen=True)
class Line:
    """One measure of one drill beside the model."""

    drill: Drill
    kind: str
    measured_gpm: float
    steady: tuple[float, float] | None = None
    timeline: tuple[float, float] | None = None
    """Least and most, by what the source left out; None where it leaves out too much."""
    tank_gal: float | None = None
    """No sizes given: equal tanks that the measure would take; inf: none up to 10,000 gal."""


def lines_of(drill: Drill) -> list[Line]:
    """Compare each measure of a drill with the model."""
    return [_line(drill, kind, gpm) for kind, gpm in drill.measures]


def _line(drill: Drill, kind: str, measured_gpm: float) -> Line:
    line = Line(drill, kind, measured_gpm)
    if drill.round_trip_mi is None:
        return line
    if not (drill.sizes_gal or drill.range_gal):
        return replace(line, tank_gal=_tank_for(drill, kind, measured_gpm))
    small, large = drill.range_gal or (0.0, 0.0)
    fleets = [list(drill.sizes_gal) or [gal] * drill.haulers for gal in (small, large)]

    def span(predict: Callable[[list[float], float], float]) -> tuple[float, float]:
        return predict(fleets[0], FILL_GPM[0]), predict(fleets[1], FILL_GPM[1])

    return replace(
        line,
        steady=span(lambda sizes, fill: steady_gpm(drill, sizes, fill)),
        timeline=span(lambda sizes, fill: timeline_gpm(drill, kind, sizes, fill)),
    )


def _tank_for(drill: Drill, kind: str, measured_gpm: float) -> float:
    """Find the smallest equal tanks, to 100 gal, with which the account comes to the measure."""
    for tank_gal in range(500, SEARCH_GAL + 1, 100):
        if timeline_gpm(drill, kind, [float(tank_gal)] * drill.haulers, FILL_GPM[1]) >= measured_gpm:
            return float(tank_gal)
    return float("inf")


HEAD = (
    f"{'drill':8} {'measure':16} {'gpm':>6} | {'steady':>11} {'ratio':>10} | {'timeline':>11} {'ratio':>10} | "
    "measured as; left out by the source"
)


def printed(line: Line) -> str:
    """Write one line of the table; a ratio is model over measured, for the least and the most."""
    start = f"{line.drill.name:8} {line.kind:16} {line.measured_gpm:6.0f}"
    end = f"{line.drill.measured_as}; {line.drill.missing}"
    if line.tank_gal is not None:
        tank = f"needs tanks of {line.tank_gal:.0f} gal" if np.isfinite(line.tank_gal) else "no tank is that big"
        return f"{start} | {tank:>46} | {end}"
    if line.steady is None or line.timeline is None:
        return f"{start} | {'no single round trip given':>46} | {end}"
    cells = []
    for low, high in (line.steady, line.timeline):
        ratio = f"{low / line.measured_gpm:.2f}-{high / line.measured_gpm:.2f}"
        cells.append(f"{f'{low:.0f}-{high:.0f}':>11} {ratio:>10}")
    return f"{start} | {cells[0]} | {cells[1]} | {end}"


def printed_table(drills: list[Drill]) -> list[str]:
    """Write the whole table, with what a replay of a flow series says."""
    lines = [HEAD]
    for drill in drills:
        lines += map(printed, lines_of(drill))
        if drill.steps and drill.sizes_gal:
            least, most = (replay_dry_min(drill, gpm) for gpm in reversed(FILL_GPM))
            lines.append(
                f"{drill.name:8} asked for its own series of flows the account is dry {least:.0f} to {most:.0f} of "
                f"{drill.duration_min:.0f} min"
            )
    return lines
