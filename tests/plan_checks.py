"""What every finished plan owes, whatever its district: each check lists what contradicts it, at best nothing.

Routes are walked stretch by stretch over the tables of the roads. Nothing here searches or grades.
"""

from __future__ import annotations

import hashlib
import math
import os
import pickle
import shutil
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from itertools import pairwise, product
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from pyproj import Geod

from preplan.build import Watch, prepared_roads
from preplan.inputs.reader import read_inputs
from preplan.plan import Cut, Plan
from preplan.plan_cards import WayIn
from preplan.plan_inputs import Inputs
from preplan.plan_tables import LEAST_GAP_MIN, ROUNDING_GPM, RouteForest
from preplan.planning import assembly, pipeline
from preplan.planning.pipeline import plan_district
from preplan.records import BoolArray, FeatureTable, FloatArray, RoadLimits, RoadTable, Unit
from preplan.roads.road_names import is_circle
from preplan.roads.street_names import normalise
from preplan.units import FT_PER_M, M_PER_MI, MIN_PER_HOUR
from preplan.water.timeline_batch import held_flows
from preplan.water.timeline_table import CaseTable
from tests.shared_data import shared
from tests.timeline_cases import GOLDEN, golden

REPO = Path(__file__).resolve().parents[1]
SAMPLE = REPO / "data_samples" / "millrace"
EVERY = {"vt_essex_south": 6, "vt_franklin_qc": 2, "usvi_st_john": 8}
"""Of these real districts every so manieth address is planned."""
PLANS = "PREPLAN_TEST_PLANS"
"""Names the folder in which the processes of one test run keep plans for each other."""
ROUNDING_MI = 1e-6
"""What sums of lengths may differ by in the order of adding."""
OFF_ROAD_MI = 0.5
"""Twice what stations and fill sites may stand off the road."""
_ELLIPSOID = Geod(ellps="WGS84")


def find_machine_code() -> None:
    """Have one process of a test run compile the timeline's loops, and the others wait for what it keeps."""
    with alone(Path(os.environ[PLANS]) / "compiling"):
        held_flows(CaseTable.of([golden(GOLDEN)]))


def real_district(name: str) -> Path:
    """Give the folder of a real district: every second, sixth or eighth address alone, made once in a test run.

    Whole they take half of the time of all tests; `preplan build` takes them whole.
    """
    whole, every = shared("districts", name), EVERY.get(name, 1)
    if every == 1:
        return whole
    folder = Path(os.environ[PLANS]) / name
    with alone(folder.with_suffix(".copying")):
        if not folder.exists():
            part = Path(shutil.copytree(whole, folder.with_suffix(f".{os.getpid()}"), copy_function=shutil.copyfile))
            part.chmod(0o755)
            head, *rows = (whole / "addresses.csv").read_text(encoding="utf-8").splitlines(keepends=True)
            (part / "addresses.csv").write_text("".join([head, *rows[::every]]), encoding="utf-8")
            part.rename(folder)
    return folder


def plan_of(district_file: Path) -> Plan:
    """Give the plan of a district, made once in a test run and read back after that; nobody shares it."""
    return kept_plan(district_file, lambda: fresh_plan_of(district_file))


def kept_plan(district_file: Path, make: Callable[[], Plan]) -> Plan:
    """Give the plan of a district as `plan_of` does, made in a way of its own."""
    folder = os.environ.get(PLANS)
    if folder is None:
        return make()
    kept = Path(folder) / f"{hashlib.sha256(str(district_file.resolve()).encode()).hexdigest()}.pickle"
    with alone(kept.with_suffix(".lock")):
        if not kept.exists():
            part = kept.with_suffix(f".{os.getpid()}")
            part.write_bytes(pickle.dumps(make()))
            part.replace(kept)
    plan: Plan = pickle.loads(kept.read_bytes())  # noqa: S301 - written by this test run
    return plan


@contextmanager
def alone(lock: Path) -> Iterator[None]:
    """Let one process of the test run after another do something; who takes ten minutes is not waited for."""
    mine, late = False, time.monotonic() + 600.0
    while not mine and time.monotonic() < late:
        try:
            lock.touch(exist_ok=False)
            mine = True
        except FileExistsError:
            time.sleep(0.2)
    try:
        yield
    finally:
        if mine:
            lock.unlink(missing_ok=True)


def thinned(inputs: Inputs, every: int) -> Inputs:
    """Keep every so manieth address: for plans that are made anew to be held against one that is kept."""
    return replace(inputs, addresses=inputs.addresses.rows(slice(None, None, every)))


def fresh_plan_of(district_file: Path, *, cards: bool = True, every: int = 1) -> Plan:
    """Read and plan a district anew, with all that its cards tell or without; nothing is drawn, written or kept."""
    inputs = thinned(read_inputs(district_file), every)
    roads, features = prepared_roads(inputs, Path("nowhere"), Watch(lambda _stage, _share: None), keep=False)
    return (with_cards if cards else without_cards)(inputs, roads, features)


def with_cards(inputs: Inputs, roads: RoadTable, features: FeatureTable) -> Plan:
    """Plan a district, whole, and say nothing of how far it is."""
    return plan_district(inputs, roads, features, lambda _stage, _share: None)


def without_cards(inputs: Inputs, roads: RoadTable, features: FeatureTable) -> Plan:
    """Plan all but who shares a card and what only cards tell, a third of a plan's time."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(assembly, "group_addresses", lambda *_given: ())
        patch.setattr(pipeline, "hold", lambda *_given: None)  # which wants everybody on a card
        return with_cards(inputs, roads, features)


# --------------------------------------------------------------------------- routes


@dataclass(frozen=True)
class Leg:
    """One leg of a traced trip, in the direction of travel."""

    trip: int
    loaded: bool
    rows: npt.NDArray[np.int64]
    """Of the RouteForest."""


def legs(plan: Plan) -> Iterator[Leg]:
    """Walk both legs of every traced trip."""
    for trip in np.flatnonzero(plan.trips.out_leaf >= 0).tolist():
        out, back = plan.trip_rows(trip)
        yield Leg(trip, True, np.array(out))
        yield Leg(trip, False, np.array(back))


def empty_axle_lb(cut: Cut, units: dict[str, Unit]) -> float:
    """Give the heaviest axle of a cut on its way back: axles lose weight as the whole does."""
    mine = [units[name] for name in cut.unit_ids]
    return max(unit.axle_lb * back_lb(unit) / unit.loaded_lb for unit in mine)


def back_lb(unit: Unit) -> float:
    """Weigh a tanker as a dump leaves it: what of its tank the plan does not count on stays aboard."""
    return min(unit.loaded_lb, unit.empty_lb + unit.tank_gal * (1.0 - unit.usable_fraction) * 8.34)


def forbidden_stretches(plan: Plan) -> list[str]:
    """List stretches driven against a posting, or in a direction that is closed, by the vehicle of the trip's cut."""
    units = {unit.unit_id: unit for unit in plan.units}
    shut = {}
    for (season, limits), (index, cut) in product(enumerate(plan.season_limits), enumerate(plan.cuts)):
        shut[season, index, True] = _shut(limits, cut, cut.loaded_lb, cut.axle_lb)
        heaviest_lb = max(back_lb(units[name]) for name in cut.unit_ids)
        shut[season, index, False] = _shut(limits, cut, heaviest_lb, empty_axle_lb(cut, units))
    faults = []
    for leg in legs(plan):
        segment, forward = plan.forest.segment[leg.rows], plan.forest.forward[leg.rows]
        season = int(plan.levels.season[plan.trips.address[leg.trip], 0])
        bad = shut[season, int(plan.trips.cut[leg.trip]), leg.loaded][segment, np.where(forward, 0, 1)]
        faults += [f"{_named(plan, leg)}: way {plan.roads.way_id[row]}" for row in segment[bad]]
    return faults


def _shut(limits: RoadLimits, cut: Cut, gross_lb: float, axle_lb: float) -> BoolArray:
    """Mask the (segments, 2 directions) that a vehicle must not drive."""
    low = (
        (limits.max_lb < gross_lb)
        | (limits.max_axle_lb < axle_lb)
        | (limits.max_height_ft < cut.height_ft)
        | (limits.max_width_ft < cut.width_ft)
        | ~limits.tanker_road
    )
    return np.column_stack([low | ~limits.forward_open, low | ~limits.backward_open])


def broken_routes(plan: Plan) -> list[str]:
    """List legs that do not run from site to dump site and back over stretches that meet end to end."""
    tail, head = _ends(plan, plan.forest)
    banned = {
        (rule.from_way, rule.via_node, rule.to_way)
        for rule in plan.roads.restrictions
        if rule.kind.startswith("no_") and not rule.exempt
    }
    faults = []
    for leg in legs(plan):
        site, address = int(plan.trips.site[leg.trip]), int(plan.trips.address[leg.trip])
        ends = plan.site_segment[site], plan.frontages.segment[address]
        segment = plan.forest.segment[leg.rows]
        if (segment[0], segment[-1]) != (ends if leg.loaded else ends[::-1]):
            faults.append(f"{_named(plan, leg)}: does not run from end to end")
        if (head[leg.rows[:-1]] != tail[leg.rows[1:]]).any():
            faults.append(f"{_named(plan, leg)}: stretches do not meet")
        ways, nodes = plan.roads.way_id[segment], plan.roads.node_id[head[leg.rows[:-1]]]
        turns = zip(pairwise(ways.tolist()), nodes.tolist(), strict=True)
        faults += [f"{_named(plan, leg)}: a turn that is forbidden" for (a, b), n in turns if (a, n, b) in banned]
    return faults


def _ends(plan: Plan, forest: RouteForest) -> tuple[npt.NDArray[np.int32], npt.NDArray[np.int32]]:
    """Give the nodes where each row of the forest begins and ends."""
    start, end = plan.roads.from_node[forest.segment], plan.roads.to_node[forest.segment]
    return np.where(forest.forward, start, end), np.where(forest.forward, end, start)


def wrong_lengths(plan: Plan) -> list[str]:
    """List legs whose miles are not those of their stretches, the two end ones in part."""
    miles = plan.roads.length_m / M_PER_MI
    faults = []
    for leg in legs(plan):
        said = float((plan.trips.out_mi if leg.loaded else plan.trips.back_mi)[leg.trip])
        own = miles[plan.forest.segment[leg.rows]]
        if not own[1:-1].sum() - ROUNDING_MI <= said <= own.sum() + ROUNDING_MI:
            faults.append(f"{_named(plan, leg)}: {said} mi, stretches {own.sum()} mi")
    return faults


def impossible_trips(plan: Plan) -> list[str]:
    """List round trips shorter than twice the straight line, or driven faster than the vehicle may."""
    trips = plan.trips
    straight_mi = 2.0 * straight_ft(plan)[trips.address, trips.site] * (1 - 1e-6) / (FT_PER_M * M_PER_MI)
    top = np.array([cut.top_mph for cut in plan.cuts])[trips.cut]
    miles, minutes = trips.out_mi + trips.back_mi, trips.out_min + trips.back_min
    return [
        *_where(plan, trips.address, miles < straight_mi, "shorter than the straight line"),
        *_where(plan, trips.address, minutes < miles / top * MIN_PER_HOUR * (1 - 1e-9), "faster than the top speed"),
        *_where(plan, trips.address, minutes < straight_mi / top * MIN_PER_HOUR, "faster than a crow"),
    ]


def wrong_first_drives(plan: Plan) -> list[str]:
    """List units that no first drive tells or two do, drives that end elsewhere, and those nobody can make in time."""
    faults = []
    for group in plan.groups:
        a, level = group.lead, int(plan.answers.level[group.lead])
        named, cell = plan.addresses.address_id[a], (a, level)
        sent = np.flatnonzero(plan.levels.fleet[cell]).tolist() if level >= 0 else []
        if sorted(unit for way in group.ways_in if not way.months for unit in way.units) != sent:
            faults.append(f"{named}: {group.ways_in} are not {sent}")
        pumps = {int(engine[cell]) for engine in (plan.levels.fill_engine, plan.levels.split_engine)}
        for drive in group.ways_in:
            units = {*drive.units}
            if (drive.site >= 0) != (units <= pumps) or (drive.site < 0 and units & pumps):
                faults.append(f"{named}: {drive} for {pumps}")
            if not _can_be(plan, drive, a):
                faults.append(f"{named}: {drive}")
    return faults


def _can_be(plan: Plan, drive: WayIn, address: int) -> bool:
    """Tell whether a first drive ends where it must, is no shorter than a crow flies, and leaves time for its miles.

    The minutes are those to arrival without turnout; who leaves later than his station's first has less. They are not
    those of the ways of some months.
    """
    station = plan.stations[drive.station]
    if drive.site < 0:
        front, arrival, road = plan.frontages, plan.arrival_min[address], plan.frontages.segment[address]
        lon, lat = float(front.lon[address]), float(front.lat[address])
    else:
        site, arrival, road = plan.sites[drive.site], plan.site_arrival_min[drive.site], plan.site_segment[drive.site]
        lon, lat = site.lon, site.lat
    metres = _metres(np.array([station.lon]), np.array([station.lat]), lon, lat).item()
    miles = sum(step.miles for step in drive.steps)
    names = {normalise(str(named[road])) for named in (plan.roads.name, plan.roads.ref)} - {""}
    names |= {normalise("the roundabout")} if is_circle(plan.roads, road) else set()  # called so, whatever its name
    return bool(
        metres / M_PER_MI - OFF_ROAD_MI <= miles
        and all(
            plan.units[unit].station_id == station.station_id
            and (
                drive.months
                or miles <= (arrival[unit] - station.turnout_min) / MIN_PER_HOUR * plan.units[unit].max_mph * (1 + 1e-9)
            )
            for unit in drive.units
        )
        and (not names or any(name in normalise(drive.steps[-1].road) for name in names))
    )


def straight_ft(plan: Plan) -> FloatArray:
    """Measure from each dump site to each fill site's stretch of road, at least; (addresses, sites)."""
    least = np.zeros((len(plan.addresses), len(plan.sites)))
    on = plan.frontages.segment >= 0
    for index, segment in enumerate(plan.site_segment.tolist()):
        if segment >= 0:
            lon, lat = plan.line(segment).T
            # A place between two points of the line is no nearer than the nearer point less half the piece.
            half = np.max(_metres(lon[:-1], lat[:-1], lon[1:], lat[1:]), initial=0.0) / 2.0
            ways = [
                _metres(plan.frontages.lon[on], plan.frontages.lat[on], *point) for point in zip(lon, lat, strict=True)
            ]
            least[on, index] = np.maximum(np.min(ways, axis=0) - half, 0.0) * FT_PER_M
    return least


def _metres(lon: FloatArray, lat: FloatArray, to_lon: FloatArray | float, to_lat: FloatArray | float) -> FloatArray:
    to_lon, to_lat = np.broadcast_to(to_lon, lon.shape), np.broadcast_to(to_lat, lat.shape)
    _, _, metres = _ELLIPSOID.inv(lon, lat, to_lon, to_lat)
    return np.asarray(metres, dtype=np.float64)


def _named(plan: Plan, leg: Leg) -> str:
    address = plan.addresses.address_id[plan.trips.address[leg.trip]]
    site = plan.sites[int(plan.trips.site[leg.trip])].site_id
    return f"{address} {'from' if leg.loaded else 'back to'} {site}"


def _where(plan: Plan, address: npt.NDArray[np.int32], bad: BoolArray | np.bool, what: str) -> list[str]:
    return [f"{plan.addresses.address_id[a]}: {what}" for a in address[bad]]


# --------------------------------------------------------------------------- grades


def contradictions(plan: Plan) -> list[str]:
    """List addresses whose answer does not follow from their levels, or whose levels contradict themselves."""
    found = [*_flow_faults(plan), *_fleet_faults(plan), *_season_faults(plan), *_status_faults(plan)]
    rows = np.arange(len(plan.addresses), dtype=np.int32)
    return [fault for what, bad in found for fault in _where(plan, rows, bad.reshape(len(rows), -1).any(axis=1), what)]


Found = Iterator[tuple[str, BoolArray]]


def _flow_faults(plan: Plan) -> Found:
    """Look at the numbers of (addresses, levels)."""
    levels = plan.levels
    there = levels.site >= 0
    flow, steady, out = levels.uninterrupted_gpm, levels.sustained_gpm, levels.one_out_gpm
    for one in (flow, steady, out, levels.on_arrival_gpm):
        yield "a flow that is no number", there & ~(np.isfinite(one) & (one >= 0.0))
        yield "a flow without a fill site", ~there & np.isfinite(one)
    yield "a fill site without a trip", there != (levels.trip >= 0)
    yield "more than the sum of the tankers", there & (steady > levels.sum_gpm * (1 + 1e-9))
    brings, need = levels.brings_gpm, plan.needs.required_gpm[:, None] - ROUNDING_GPM
    yield "brings less than the level below", (brings[:, 1:] < brings[:, :-1] * (1 - 1e-9)) & _same_season_site(plan)
    less = flow[:, 1:] < flow[:, :-1] * (1 - 1e-9)
    yield "holds less than the level below, which meets", levels.meets[:, :-1] & less
    yield "brings what it does not hold", levels.meets & (np.abs(brings - flow) > flow * 1e-9)
    yield "brings the requirement and does not meet", there & ~levels.meets & ~(brings < need + 2 * ROUNDING_GPM)
    counted = (plan.answers.status == "not met") & (plan.answers.level >= 0)
    mean = plan.needs.required_gpm - plan.answers.short_gal / plan.needs.required_min
    off = np.abs(plan.answers.shown_flow(brings) - np.maximum(mean, 0.0)) > 1e-6 * plan.needs.required_gpm
    yield "brings what is not asked for less what is short", counted & off
    yield "more when called later", there & (levels.on_arrival_gpm > flow * (1 + 1e-6)) & _same_jobs(plan)
    yield "dry minutes and enough water", there & levels.meets & (levels.gap_min > _early_min(plan)[:, None] + 1e-6)
    yield "more water than came by the end", there & (flow > _most_gpm(plan) * (1 + 1e-9))
    yield "more with a tanker out", there & ~(out <= flow * (1 + 1e-9))
    yield "nothing holds it back", there & (levels.limited_by == "")
    met = np.nan_to_num(flow) >= plan.needs.required_gpm[:, None] - 1e-6
    yield "meets, or does not, against its flow", levels.meets != met
    yield "a backup on the same water", (levels.backup >= 0) & _same_source(plan)


def _same_season_site(plan: Plan) -> BoolArray:
    """Mask the levels (addresses, levels - 1) that have a site where the level below has one."""
    return np.asarray((plan.levels.site[:, 1:] >= 0) & (plan.levels.site[:, :-1] >= 0))


def _same_jobs(plan: Plan) -> BoolArray:
    """Mask the first level, whose units are never called later; elsewhere engines may change jobs with the call."""
    first = np.zeros(plan.levels.site.shape, dtype=np.bool_)
    first[:, 0] = True
    return first


def _early_min(plan: Plan) -> FloatArray:
    """Give the minutes between first water and full flow, in which the attack flow alone is asked for."""
    rules = plan.district.rules.shuttle
    return np.full(len(plan.addresses), max(rules.full_flow_after_min - rules.attack_setup_min, 0.0))


def _most_gpm(plan: Plan) -> FloatArray:
    """Bound the flow, (addresses, levels): attack engine's tank, first loads, and a load each cycle, over the time.

    The plainest bound: no load can come sooner than one cycle after the one before.
    """
    levels, rules = plan.levels, plan.district.rules.shuttle
    usable_gal = np.array([unit.tank_gal * unit.usable_fraction for unit in plan.units])
    booster_gal = np.array([unit.tank_gal for unit in plan.units])[np.maximum(levels.attack_engine, 0)]
    first_gal = (levels.used * usable_gal).sum(axis=2)
    minutes = plan.answers.first_arrival_min + rules.full_flow_after_min + plan.needs.required_min
    came_gal = booster_gal + first_gal + levels.sum_gpm * minutes[:, None]
    bound: FloatArray = came_gal / plan.needs.required_min[:, None]
    return np.where(np.isfinite(bound), bound, np.inf)


def _same_source(plan: Plan) -> BoolArray:
    source = np.array([site.source for site in plan.sites], dtype=np.object_)
    return np.asarray(source[plan.levels.site] == source[plan.levels.backup])


def _fleet_faults(plan: Plan) -> Found:
    """Look at the units of (addresses, levels, units)."""
    levels, sent = plan.levels, plan.levels.fleet
    yield "the level below has a unit that this one lacks", sent[:, :-1] & ~sent[:, 1:]
    yield "a tanker that is not sent", levels.tankers & ~sent
    yield "shuttles and is not sent", levels.used & ~levels.tankers
    yield "sent without a way", sent & ~np.isfinite(plan.arrival_min)[:, None, :]
    hauls = np.array([unit.kind != "engine" for unit in plan.units])
    yield "an engine that hauls", levels.tankers & ~hauls
    asked = np.array([(level.engines, level.tankers) for level in plan.district.levels])
    tankers = levels.tankers.sum(axis=2)
    engines = sent.sum(axis=2) - tankers
    yield "engines and what is short are not what the level asks", engines + levels.short_engines != asked[:, 0]
    yield "tankers and what is short are not what the level asks", tankers + levels.short_tankers != asked[:, 1]
    for job in (levels.fill_engine, levels.dump_engine, levels.attack_engine):
        a, lv = np.nonzero(job >= 0)
        bad = np.zeros(job.shape, dtype=np.bool_)
        bad[a, lv] = ~sent[a, lv, job[a, lv]] | levels.tankers[a, lv, job[a, lv]]
        yield "a job for a unit that is not there as an engine", bad
    yield "one engine with two places", (levels.fill_engine >= 0) & (levels.fill_engine == levels.dump_engine)


def _season_faults(plan: Plan) -> Found:
    """Look at which fill sites stand when they are named."""
    planned = plan.district.rules.plan.months
    yield (
        "a month in no season or in two",
        np.full(len(plan.addresses), sorted(m for line in plan.seasons for m in line.months) != sorted(planned)),
    )
    for index, line in enumerate(plan.seasons):
        stands = np.array([site.in_service and set(line.months) <= site.months for site in plan.sites])
        yield "a fill site that does not stand", (line.best_site >= 0) & ~stands[line.best_site]
        decides = plan.levels.season == index
        for column in (plan.levels.site, plan.levels.split, plan.levels.backup):
            yield "a fill site or backup out of its season", decides & (column >= 0) & ~stands[column]
        yield "not the fill site of the season that decides", decides & (plan.levels.site != line.best_site)
        yield "not the second one of the season that decides", decides & (plan.levels.split != line.split_site)


def _status_faults(plan: Plan) -> Found:
    """Grade again, by the words alone."""
    answers, levels = plan.answers, plan.levels
    status, some, first = answers.status, levels.meets.any(axis=1), levels.meets.argmax(axis=1)
    held, brings = np.nan_to_num(levels.uninterrupted_gpm), np.nan_to_num(levels.brings_gpm)
    as_good = brings >= brings.max(axis=1, keepdims=True) / (1.0 + plan.district.rules.plan.keep_site_gain)
    most = np.where(as_good, held, -1.0)  # of levels that bring nearly as much the one that holds most is shown
    rows = np.arange(len(status))
    yield "served, but not by the first level", (status == "served") & ~levels.meets[:, 0]
    yield "higher level, but the first meets", (status == "higher level") & (levels.meets[:, 0] | ~some)
    yield "not met, but some level meets", (status == "not met") & some
    yield "no route, but there is a trip", (status == "no route") & (levels.site >= 0).any(axis=1)
    yield (
        "a status that needs a trip",
        np.isin(status, ("served", "higher level", "not met")) & (levels.site < 0).all(axis=1),
    )
    yield "not the first level that meets", np.isin(status, ("served", "higher level")) & (answers.level != first)
    shown = most[rows, np.maximum(answers.level, 0)]
    unmet = status == "not met"
    yield (
        "not the level with the largest flow of those that bring most",
        unmet & (shown < most.max(axis=1) - ROUNDING_GPM),
    )
    gap, level = np.nan_to_num(levels.gap_min), np.maximum(answers.level, 0)
    alike = (most >= shown[:, None] - ROUNDING_GPM) & (gap < gap[rows, level][:, None] - 2 * LEAST_GAP_MIN)
    every = np.min([np.nan_to_num(line.uninterrupted_gpm) for line in plan.seasons], axis=0)
    alike &= every >= every[rows, level][:, None] - ROUNDING_GPM
    yield "dry longer than a level of the same flow", unmet & (shown > 0) & alike.any(axis=1)
    hydrant = status == "hydrant"
    yield "a hydrant out of reach", hydrant & ~(answers.hydrant_ft <= plan.district.rules.hydrants.reach_ft)
    yield "a distance to a hydrant that does not count", ~hydrant & np.isfinite(answers.hydrant_ft)


HOSE_COEFFICIENT = {3.0: 0.8, 4.0: 0.2, 5.0: 0.08}
"""C of C Q^2 L, Q in hundreds of gpm, L in hundreds of feet (published hose tables, as in test_hydraulics)."""


def line_by_hand(hoses: Sequence[tuple[float, float]], feet: float, need_gpm: float) -> tuple[float, list[float]]:
    """Lay a supply line from engines' hoses (ft, in): its gpm, 0 where it is too short, and the feet of each."""

    def gpm(laid: list[float]) -> float:
        taken = sum(HOSE_COEFFICIENT[size] * part / 100.0 for part, (_, size) in zip(laid, hoses, strict=True))
        return 100.0 * math.sqrt(130.0 / taken)

    if sum(carried for carried, _ in hoses) < feet:
        return 0.0, [carried for carried, _ in hoses]
    largest_first = sorted(range(len(hoses)), key=lambda k: -hoses[k][1])
    several, left = [0.0] * len(hoses), feet
    for k in largest_first:
        several[k] = min(left, hoses[k][0])
        left -= several[k]
    for k in largest_first:
        if hoses[k][0] >= feet:
            own = [feet if other == k else 0.0 for other in range(len(hoses))]
            if gpm(own) >= min(need_gpm, gpm(several) - 1e-6):
                return gpm(own), own
            break
    return gpm(several), several


def line_of_crew(
    plan: Plan, address: int, level: int, jobs: tuple[int, int, int], when: FloatArray
) -> tuple[float, float, float, float]:
    """Lay the line of a level by hand: gpm, and when the dump engine and all whose hose it is are here.

    Then what a tanker that nurses can give, gpm, and from when: through the attack engine's own hose where that reaches
    and is not wanted in the line, else through the line once its hose is here.

    `jobs` are fill engine, dump engine, and that at the second fill site.

    Those without a job bring hose in the order of their arrival, `when` (units,): as many as it takes, and of those
    who come too late for the full flow only where it does not reach without.
    """
    attack, (fill, dump, second) = int(plan.levels.attack_engine[address, level]), jobs
    feet, need = float(plan.frontages.driveway_ft[address]) + 100.0, float(plan.needs.required_gpm[address])
    sent = plan.levels.fleet[address, level] & ~plan.levels.tankers[address, level]
    spare = [u for u in np.flatnonzero(sent).tolist() if u not in {attack, fill, dump, second}]
    spare.sort(key=lambda u: when[u])
    best, ready, hose, own = -1.0, math.inf, math.inf, 0.0
    for count in range(len(spare) + 1):
        crew = [attack, dump, *spare[:count]]
        hoses = [(plan.units[u].supply_hose_ft, plan.units[u].supply_hose_in) for u in crew]
        gpm, laid = line_by_hand(hoses, feet, need)
        late = count and best > 0 and when[crew[-1]] > when[attack] + 15.0 - 5.0
        if gpm > best and not late:
            best, hose = gpm, max(float(when[u]) for u, ft in zip(crew, laid, strict=True) if ft)
            ready, own = max(hose, float(when[dump])), laid[0]
        if best >= need:
            break
    alone, _ = line_by_hand([(plan.units[attack].supply_hose_ft, plan.units[attack].supply_hose_in)], feet, need)
    return best, ready, *((best, hose) if own or not alone else (alone, float(when[attack])))
