"""The plan of the sample district held against itself, and done again by plain arithmetic.

The arithmetic below uses nothing but Python, the district's own tables and the formulas of the trade, written out.
"""

from __future__ import annotations

import csv
import io
import math
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np
import pytest
from shapely import MultiLineString, Point

from preplan.errors import InputError
from preplan.inputs.reader import read_inputs
from preplan.plan import Plan
from preplan.plan_tables import ONLY_RATED, STATUSES, UNPOSTED
from preplan.planning.driver_warnings import with_ratings
from preplan.planning.pipeline import plan_district
from preplan.planning.weights import Weights
from preplan.records import ALL_MONTHS, FeatureTable, RoadTable
from preplan.render import tables
from preplan.render.limit_places import trip_limits
from preplan.roads.inventory import is_bridge, rating_lb
from preplan.roads.source import read_osm
from tests import plan_checks
from tests.plan_checks import SAMPLE, line_of_crew, without_cards

Row = dict[str, str]


@pytest.fixture(scope="module")
def plan() -> Plan:
    return plan_checks.plan_of(SAMPLE / "district.toml")


@pytest.fixture(scope="module")
def roads() -> tuple[RoadTable, FeatureTable]:
    return read_osm(SAMPLE / "roads.osm.gz")


def rows_of(content: bytes) -> list[Row]:
    return list(csv.DictReader(io.StringIO(content.decode())))


def test_sample_shows_every_status(plan: Plan) -> None:
    counts = plan.counts()
    assert sum(counts.values()) == len(plan.addresses)
    assert min(counts.values()) >= 2, counts


# ------------------------------------------------------------------------------------------------ what must hold

CHECKS = (
    plan_checks.forbidden_stretches,
    plan_checks.broken_routes,
    plan_checks.wrong_lengths,
    plan_checks.impossible_trips,
    plan_checks.wrong_first_drives,
    plan_checks.contradictions,
)


@pytest.mark.parametrize("check", CHECKS)
def test_plan_does_not_contradict_itself(plan: Plan, check: Callable[[Plan], list[str]]) -> None:
    assert check(plan) == []


def _posted(plan: Plan) -> Plan:
    """Post the stretch that most legs drive."""
    used = np.bincount(plan.forest.segment, minlength=len(plan.roads))
    max_lb = plan.limits.max_lb.copy()
    max_lb[used.argmax()] = 1000.0
    return replace(plan, season_limits=tuple(replace(one, max_lb=max_lb) for one in plan.season_limits))


def _against_one_way(plan: Plan) -> Plan:
    closed = np.zeros_like(plan.limits.forward_open)
    return replace(plan, season_limits=tuple(replace(one, forward_open=closed) for one in plan.season_limits))


def _elsewhere(plan: Plan) -> Plan:
    return replace(plan, forest=replace(plan.forest, segment=np.roll(plan.forest.segment, 1)))


def _shorter(plan: Plan) -> Plan:
    return replace(plan, trips=replace(plan.trips, out_mi=plan.trips.out_mi / 3.0, back_mi=plan.trips.back_mi / 3.0))


def _faster(plan: Plan) -> Plan:
    return replace(plan, trips=replace(plan.trips, out_min=plan.trips.out_min / 9.0))


def _faster_in(plan: Plan) -> Plan:
    return replace(plan, arrival_min=plan.arrival_min / 9.0)


def _nobody_in(plan: Plan) -> Plan:
    return replace(plan, groups=tuple(replace(group, ways_in=group.ways_in[1:]) for group in plan.groups))


def _better(plan: Plan) -> Plan:
    return replace(plan, levels=replace(plan.levels, uninterrupted_gpm=plan.levels.uninterrupted_gpm * 2.0))


def _all_in_winter(plan: Plan) -> Plan:
    sites = tuple(replace(site, months=frozenset({1})) for site in plan.sites)
    return replace(plan, sites=sites)


def _another_status(plan: Plan) -> Plan:
    return replace(plan, answers=replace(plan.answers, status=np.roll(plan.answers.status, 1)))


def _fewer_at_the_top(plan: Plan) -> Plan:
    fleet = plan.levels.fleet.copy()
    fleet[:, -1] = fleet[:, 0]
    return replace(plan, levels=replace(plan.levels, fleet=fleet))


@pytest.mark.parametrize(
    ("spoil", "check"),
    [
        (_posted, plan_checks.forbidden_stretches),
        (_against_one_way, plan_checks.forbidden_stretches),
        (_elsewhere, plan_checks.broken_routes),
        (_shorter, plan_checks.wrong_lengths),
        (_shorter, plan_checks.impossible_trips),
        (_faster, plan_checks.impossible_trips),
        (_faster_in, plan_checks.wrong_first_drives),
        (_nobody_in, plan_checks.wrong_first_drives),
        (_better, plan_checks.contradictions),
        (_all_in_winter, plan_checks.contradictions),
        (_another_status, plan_checks.contradictions),
        (_fewer_at_the_top, plan_checks.contradictions),
    ],
)
def test_checks_find_what_is_spoiled(
    plan: Plan, spoil: Callable[[Plan], Plan], check: Callable[[Plan], list[str]]
) -> None:
    assert check(spoil(plan)) != []


def test_posted_bridges_part_loaded_from_empty(plan: Plan) -> None:
    """Read the signs again, from the raw tags: the sample's are in short tons, feet and inches."""
    signs_lb = {"16 st": 32_000.0, "12": 24_000.0, "36": 72_000.0}
    low_ft = {"10'0\"": 10.0}
    crossings: Counter[tuple[str, bool]] = Counter()
    for leg in plan_checks.legs(plan):
        cut = plan.cuts[int(plan.trips.cut[leg.trip])]
        for tags in {int(plan.roads.tag_row[row]) for row in plan.forest.segment[leg.rows]}:
            said = plan.roads.way_tags[tags]
            weight_lb = cut.loaded_lb if leg.loaded else cut.empty_lb
            assert weight_lb <= signs_lb.get(said.get("maxweight", ""), math.inf), (leg, said)
            assert cut.height_ft <= low_ft.get(said.get("maxheight", ""), math.inf), (leg, said)
            assert cut.width_ft <= low_ft.get(said.get("width", ""), math.inf), (leg, said)
            if said.get("maxweight") in signs_lb:
                crossings[said["maxweight"], leg.loaded] += 1
    assert crossings["16 st", False] > 0, "no empty tanker crosses the posted bridge: this test shows nothing"
    assert crossings["16 st", True] == 0
    assert crossings["36", True] > 0
    assert plan.trips.posted_avoided_min.max() > 5.0, "no posting costs anybody a detour"


def test_cards_say_which_bridge_only_empties_may_cross(plan: Plan) -> None:
    """Those and no others: the chosen trip goes home over the bridge of 16 short tons."""
    told = [a for a, flags in enumerate(plan.answers.flags) if any(flag.code == "empty only" for flag in flags)]
    cell = np.arange(len(plan.answers)), np.maximum(plan.answers.level, 0)
    shown = np.column_stack([plan.levels.trip[cell], plan.levels.split_trip[cell]])
    over = []
    for address in np.flatnonzero(plan.answers.level >= 0).tolist():
        homeward = [plan.trip_rows(trip)[1] for trip in shown[address].tolist() if trip >= 0]
        rows = plan.forest.segment[[row for back in homeward for row in back]]
        signs = [plan.roads.way_tags[plan.roads.tag_row[row]].get("maxweight") for row in rows]
        over += [address] * ("16 st" in signs)
    assert told == over
    assert told
    flag = plan.answers.flags[told[0]][0]
    # 29,400 lb empty, and a tenth of 3,000 gal stays aboard at 8.34 lb each
    margin = "T11 about 31,900 lb with 10 % of its load left: NO MARGIN"
    assert str(flag) == f"empty only=the Gristmill Road bridge (posted 32,000 lb = 16 tons, {margin})"


RATED_LB = 17.2 * 2204.62262
"""The inventory's M-0208, Thornapple Road: 17.2 metric tons, posting recommended and not in place."""


def crossings_of_rated(plan: Plan) -> list[tuple[int, float]]:
    """List (trip, lb) of each crossing of the rated bridge, loaded or empty."""
    bridge = {int(row) for row in np.flatnonzero(plan.bridge_row >= 0) if plan.roads.name[row] == "Thornapple Road"}
    assert bridge
    return [
        (leg.trip, cut.loaded_lb if leg.loaded else cut.empty_lb)
        for leg in plan_checks.legs(plan)
        for cut in (plan.cuts[int(plan.trips.cut[leg.trip])],)
        if bridge & set(plan.forest.segment[leg.rows].tolist())
    ]


def test_nothing_crosses_a_bridge_that_the_bridge_table_rates_below_it(plan: Plan) -> None:
    assert all(weight_lb <= RATED_LB for _, weight_lb in crossings_of_rated(plan))
    (address,) = np.flatnonzero(plan.addresses.label == "585 Thornapple Rd")
    first = plan.answers.flags[int(address)][0]
    assert first.code == "rated below load"
    assert "the Thornapple Road bridge (no sign, but rated 37,919 lb). T11 T12 T41 E11 E41 loaded weigh more" in str(
        first
    )
    # an engine of 41,500 lb does not come over it either
    free, rows = plan_without_ratings(plan, int(address))
    engine = [unit.unit_id for unit in plan.units].index("E11")
    assert (plan.arrival_min[rows, engine] >= free.arrival_min[:, engine] - 1e-9).all()
    assert (plan.arrival_min[rows, engine] > free.arrival_min[:, engine] + 1.0).any()
    # with the rule off it is crossed, and said so first
    over = [trip for trip, weight_lb in crossings_of_rated(free) if weight_lb > RATED_LB]
    cell = np.arange(len(free.answers)), np.maximum(free.answers.level, 0)
    chosen = set(free.levels.trip[cell].tolist()) | set(free.levels.split_trip[cell].tolist())
    warned = {a for a, flags in enumerate(free.answers.flags) if flags and flags[0].code == "crosses above rating"}
    assert {int(free.trips.address[trip]) for trip in over if trip in chosen} == warned
    assert rows.index(int(address)) in warned


def test_bridges_that_are_rated_and_not_posted_are_told_from_unknown_ones(plan: Plan) -> None:
    """The sample's bridges without a posted weight are all rated; with one rating taken away its crossings are not."""
    codes = UNPOSTED, ONLY_RATED
    told = [(a, flag) for a, flags in enumerate(plan.answers.flags) for flag in flags if flag.code in codes]
    assert {flag.code for _, flag in told} == {ONLY_RATED}
    flags = [tuple(replace(f, code=UNPOSTED) if f.code in codes else f for f in some) for some in plan.answers.flags]
    before = replace(plan.answers, flags=tuple(flags))
    none = np.zeros((len(plan.addresses), len(plan.units)), dtype=np.bool_)
    weights = Weights(
        roads=plan.roads, bridge=is_bridge(plan.roads), limits=(plan.limits,), months=(ALL_MONTHS,),
        road=np.zeros(len(plan.addresses), dtype=np.int32),
        operating_lb=rating_lb(plan.bridges, plan.bridge_row), units=plan.units, sent=none, later=none, engines=none,
    )  # fmt: skip
    after = with_ratings(before, plan.levels, plan.trips, plan.forest, weights)
    assert after.flags == plan.answers.flags
    unrated = replace(weights, operating_lb=np.full(len(plan.roads), np.inf))
    assert with_ratings(before, plan.levels, plan.trips, plan.forest, unrated).flags == before.flags
    a, flag = told[0]
    trip = int(plan.answers.shown(plan.levels.split_trip if flag.circuit == 2 else plan.levels.trip)[a])
    assert "without a posted weight: rated, not posted" in trip_limits(plan, trip)
    without = replace(plan, bridge_row=np.full_like(plan.bridge_row, -1))
    assert "without a posted weight: unknown, not safe" in trip_limits(without, trip)


def plan_without_ratings(plan: Plan, address: int) -> tuple[Plan, list[int]]:
    """Plan every third address of the sample, and one more, with the rule off; give besides which they are."""
    inputs = read_inputs(SAMPLE / "district.toml")
    rows = sorted({address, *range(0, len(plan.addresses), 3)})
    inputs = replace(inputs, addresses=inputs.addresses.rows(np.array(rows)))
    rules = replace(inputs.district.rules, roads=replace(inputs.district.rules.roads, obey_ratings=False))
    roads, features = read_osm(SAMPLE / "roads.osm.gz")
    district = replace(inputs.district, rules=rules)
    return without_cards(replace(inputs, district=district), roads, features), rows


def test_hydrants_count_only_where_the_hose_reaches(plan: Plan) -> None:
    """Credit by distance, 1,000 gpm to 300 ft, 670 to 600, 250 to 1,000 (published rating summary), by the crow."""
    hydrants = plan.hydrants
    flow_gpm = np.where(np.isnan(hydrants.flow_gpm), 500.0, hydrants.flow_gpm)
    for row, status in enumerate(plan.answers.status):
        lon, lat = float(plan.addresses.lon[row]), float(plan.addresses.lat[row])
        away_ft = np.array([crow_ft(lon, lat, x, y) for x, y in zip(hydrants.lon, hydrants.lat, strict=True)])
        credit_gpm = np.select([away_ft <= 300.0, away_ft <= 600.0, away_ft <= 1000.0], [1000.0, 670.0, 250.0], 0.0)
        best_gpm = np.minimum(credit_gpm, flow_gpm).max()
        if status == "hydrant":
            assert best_gpm >= plan.needs.required_gpm[row]
            assert plan.answers.hydrant_ft[row] >= away_ft.min() * 0.999
    assert (plan.answers.status == "hydrant").sum() > 5


def test_no_route_is_off_the_roads(plan: Plan) -> None:
    """In the sample every tanker can reach every public road but one in winter, so else only distance is in the way."""
    scale = np.array([math.cos(math.radians(43.9)), 1.0]) * 364_560.0  # ft in a degree, about
    lines = [plan.line(row) * scale for row in range(len(plan.roads))]
    public = ~np.isin(plan.roads.highway.astype(str), ("service", "track", "footway", "path", "steps"))
    near_any, near_public = MultiLineString(lines), MultiLineString([lines[row] for row in np.flatnonzero(public)])
    spots = [Point(spot) for spot in np.column_stack([plan.addresses.lon, plan.addresses.lat]) * scale]
    shut = np.array([any(flag.code == "road closed" for flag in flags) for flags in plan.answers.flags])
    assert 0 < shut.sum() < 10
    off = (plan.answers.status == "no route") & ~shut
    assert min(near_public.distance(spots[row]) for row in np.flatnonzero(off)) > 1320.0 * 0.995
    assert max(near_any.distance(spots[row]) for row in np.flatnonzero(~off)) < 1320.0 * 1.005


def crow_ft(lon: float, lat: float, to_lon: float, to_lat: float) -> float:
    """Measure over a small piece of a round earth."""
    east = math.radians(to_lon - lon) * math.cos(math.radians((lat + to_lat) / 2.0))
    return 20_902_231.0 * math.hypot(east, math.radians(to_lat - lat))  # mean radius of the earth, ft


# ------------------------------------------------------------------------------------------------ done again by hand


@dataclass(frozen=True)
class Tables:
    """What the program wrote, and what the district gave, as text."""

    addresses: list[Row]
    trips: dict[tuple[str, str], Row]
    levels: dict[tuple[str, str], Row]
    sites: dict[str, Row]
    units: dict[str, Row]


@pytest.fixture(scope="module")
def printed(plan: Plan) -> Tables:
    def given(name: str, key: str) -> dict[str, Row]:
        return {row[key]: row for row in rows_of((SAMPLE / name).read_bytes())}

    return Tables(
        addresses=rows_of(tables.addresses_csv(plan)),
        trips={(row["address_id"], row["site_id"]): row for row in rows_of(tables.trips_csv(plan))},
        levels={(row["address_id"], row["response_level"]): row for row in rows_of(tables.levels_csv(plan))},
        sites=given("fill_sites.csv", "site_id"),
        units=given("apparatus.csv", "unit_id"),
    )


def number(row: Row, column: str, default: float = math.nan) -> float:
    return float(row[column]) if row[column] else default


@dataclass(frozen=True)
class Engines:
    """Who pumps: the one thing taken from the plan, since the tables do not say."""

    fill: Row | None
    second: Row | None
    """At the second fill site."""
    dump: Row
    attack: Row
    line_gpm: float
    """Of the supply line that their hose makes."""


def flow_by_hand(haulers: list[Row], site: Row, engines: Engines, trip_min: float) -> dict[str, float]:
    """Give the flow that each thing allows, gpm, by the word for it: the least is what is delivered."""
    fill_gpm = number(site, "fill_gpm", 300.0 if site["kind"] == "tank" else 500.0)
    total_gpm = min(fill_gpm, number(site, "low_gpm", math.inf))
    lift_ft = number(site, "lift_ft", 10.0)
    assert lift_ft <= 20.0
    share = 1.0 if lift_ft <= 10 else 1.0 - 0.06 * (lift_ft - 10) if lift_ft <= 15 else 0.7 - 0.02 * (lift_ft - 15)
    if engines.fill is not None:
        total_gpm = min(total_gpm, number(engines.fill, "pump_gpm") * share)
    gal = filling = dumping = longest = 0.0
    for unit in haulers:
        tank_gal, vacuum = number(unit, "tank_gal"), bool(unit["self_fill_gpm"])
        usable_gal = tank_gal * (1.0 if vacuum else 0.9)
        takes_gpm = number(unit, "self_fill_gpm") * share if vacuum else number(unit, "intake_gpm", 1000.0)
        dump_gpm = number(unit, "dump_gpm", 1000.0 if 1000 <= tank_gal <= 3500 else 500.0)
        fill_min = (0.5 if vacuum else 1.0) + usable_gal / min(fill_gpm, total_gpm, takes_gpm)
        dump_min = 0.5 + usable_gal / dump_gpm
        cycle_min = 1.0 + fill_min + 1.5 + dump_min + trip_min
        gal, filling, dumping = gal + usable_gal, filling + fill_min, dumping + dump_min
        longest = max(longest, cycle_min)
    allowed = {
        "tankers": gal / longest,
        "fill site": gal / (filling / number(site, "positions", 1)),
        "dump site": gal / dumping,
        "draft": min(number(engines.dump, "pump_gpm"), 1000.0),
        "cycle_min": longest,
    }
    # The rate of a site is named 'source', as its stored water is: 120 minutes of both.
    allowed["source"] = total_gpm
    if site["storage_gal"]:
        held_gpm = number(site, "storage_gal") / 120.0 + number(site, "refill_gpm", 0.0)
        allowed["source"] = min(total_gpm, held_gpm)
    if engines.dump is not engines.attack:
        allowed["supply line"] = engines.line_gpm
    return allowed


def cases(plan: Plan, printed: Tables) -> Iterator[tuple[Row, Engines]]:
    """Pair every address that has a shuttle with who pumps there."""
    levels = plan.levels
    for row, said in enumerate(printed.addresses):
        if said["status"] in {"served", "higher level", "not met"}:
            level = int(plan.answers.level[row])
            names = {
                job: None if column[row, level] < 0 else plan.units[int(column[row, level])].unit_id
                for job, column in (
                    ("fill", levels.fill_engine),
                    ("second", levels.split_engine),
                    ("dump", levels.dump_engine),
                    ("attack", levels.attack_engine),
                )
            }
            pumps = {job: printed.units[name] for job, name in names.items() if name is not None}
            engines = levels.fill_engine, levels.dump_engine, levels.split_engine
            fill, dump, second = (int(engine[row, level]) for engine in engines)
            line_gpm, *_ = line_of_crew(plan, row, level, (fill, dump, second), plan.arrival_min[row])
            at_work = {job: pumps.get(job) for job in ("fill", "second")}
            yield said, Engines(**at_work, dump=pumps["dump"], attack=pumps["attack"], line_gpm=line_gpm)


def flow_of_both(printed: Tables, said: Row, engines: Engines, late_min: float) -> dict[str, float]:
    """Give the flow that each thing allows, whether tankers fill at one site or at two; `late_min` on every trip."""

    def trip_min(site_id: str) -> float:
        trip = printed.trips[said["address_id"], site_id]
        return number(trip, "out_min") + number(trip, "back_min") + late_min

    haulers = {name: printed.units[name] for name in said["tankers"].split()}
    first, second = said["fill_site_id"], said["split_site_id"]
    if not second:
        return flow_by_hand(list(haulers.values()), printed.sites[first], engines, trip_min(first))
    (told,) = (flag for flag in said["flags"].split("; ") if flag.startswith("two fill sites="))
    there = set(told.removeprefix("two fill sites=").partition(" at ")[0].split())
    assert there < set(haulers)
    parts = [[unit for name, unit in haulers.items() if (name in there) == at] for at in (False, True)]
    pumps = engines, replace(engines, fill=engines.second)
    rest = "tankers", "fill site", "dump site", "source"
    circuits = [
        flow_by_hand(part, printed.sites[site_id], pump, trip_min(site_id))
        for part, site_id, pump in zip(parts, (first, second), pumps, strict=True)
    ]
    flows = [min(circuit[word] for word in rest) for circuit in circuits]
    stronger = circuits[int(flows[1] > flows[0])]
    whole = flow_by_hand(list(haulers.values()), printed.sites[first], engines, trip_min(first))
    shared: tuple[str, ...] = ("dump site", "draft", "supply line")
    both = {word: whole[word] for word in shared if word in whole}
    both["cycle_min"] = max(circuit["cycle_min"] for circuit in circuits)
    word = min(rest, key=stronger.__getitem__)
    return both | {word: min(sum(flows), both.get(word, math.inf))}


BY_THE_MINUTE = {"arrival", "room", "source", "draft", "supply line"}
"""Limits that the timeline finds: each is checked against the plain account in test_plan_timeline."""


def test_flows_are_what_plain_arithmetic_says(plan: Plan, printed: Tables) -> None:
    """Every shuttle that is shown: minutes are printed to 0.1 and feet to 1, so the flow lies in a narrow span."""
    seen: Counter[str] = Counter()
    limits: Counter[str] = Counter()
    split = 0
    for said, engines in cases(plan, printed):
        trip = printed.trips[said["address_id"], said["fill_site_id"]]
        trip_min = number(trip, "out_min") + number(trip, "back_min")
        assert trip_min == pytest.approx(number(said, "round_trip_min"), abs=0.11)
        slow, quick = (flow_of_both(printed, said, engines, minutes) for minutes in (0.1, -0.1))
        split += bool(said["split_site_id"])
        assert slow.pop("cycle_min") + 0.06 >= number(said, "cycle_min") >= quick.pop("cycle_min") - 0.06
        least, most = min(slow.values()), min(quick.values())
        # Two circuits that wait for each other at the dump site bring less than both alone: see test_plan_timeline.
        waits = 0.8 if said["split_site_id"] else 1.0
        assert math.floor(waits * least) <= number(said, "sustained_gpm") <= most + 1e-6, said
        steady_limits = {min(slow, key=slow.__getitem__), min(quick, key=quick.__getitem__)}
        # What only minutes can tell (a late tanker, full portable tanks) comes before what holds the steady flow.
        assert said["limited_by"] in steady_limits | BY_THE_MINUTE, said
        assert most / least < 1.03
        seen[said["status"]] += 1
        limits[said["limited_by"]] += 1
    assert min(seen[status] for status in ("served", "higher level", "not met")) >= 10
    assert len(limits) >= 4, limits
    assert split >= 10, "hardly any tankers are split over two fill sites: this test shows little of them"


def test_statuses_are_what_the_levels_say(printed: Tables) -> None:
    names = ("Level 1", "Level 2", "Level 3")
    seen: Counter[str] = Counter()
    for said in printed.addresses:
        mine = [printed.levels[said["address_id"], name] for name in names]
        need = number(said, "required_gpm")
        flows = [number(level, "uninterrupted_gpm", 0.0) for level in mine]
        # A flow is printed rounded down and a need rounded up: within one of the other only the word can tell.
        words = [level["meets"] for level in mine]
        clear = [(flow, word) for flow, word in zip(flows, words, strict=True) if not need - 1 <= flow <= need]
        assert all(word == ("yes" if flow > need else "no") for flow, word in clear) or said["status"] == "hydrant"
        met = [name for name, word in zip(names, words, strict=True) if word == "yes"]
        seen[said["status"]] += 1
        if said["status"] == "served":
            assert met[0] == "Level 1" == said["response_level"]
        elif said["status"] == "higher level":
            assert met[0] == said["response_level"] != "Level 1"
        elif said["status"] == "not met":
            assert max(flows) <= need
            assert number(said, "uninterrupted_gpm") == max(flows)
            assert said["response_level"] == ""
        elif said["status"] == "no route":
            assert not any(level["fill_site_id"] for level in mine)
            assert not any(key[0] == said["address_id"] for key in printed.trips)
        else:
            assert said["fill_site_id"] == said["response_level"] == ""
    assert set(seen) == set(STATUSES)


# ------------------------------------------------------------------------------------------------ far away


def moved(roads: RoadTable, degrees: float) -> RoadTable:
    return replace(roads, coord_lat=roads.coord_lat + degrees, node_lat=roads.node_lat + degrees)


@pytest.mark.parametrize("degrees", [3.0, -3.0, 0.15])
def test_roads_of_another_district_are_named(roads: tuple[RoadTable, FeatureTable], degrees: float) -> None:
    inputs = read_inputs(SAMPLE / "district.toml")
    with pytest.raises(InputError) as raised:
        plan_district(inputs, moved(roads[0], degrees), roads[1], lambda _stage, _share: None)
    assert len(raised.value.findings) == 1
    assert "roads.osm.gz: has no road" in str(raised.value)
    assert "539 addresses" in str(raised.value)


def test_what_stands_far_from_any_road_is_not_moved_onto_one(roads: tuple[RoadTable, FeatureTable]) -> None:
    """A slip of one degree in a table must not put a fill site or a station where the road file happens to end."""
    inputs = read_inputs(SAMPLE / "district.toml")
    sites = tuple(replace(site, lon=site.lon + (site.site_id == "F01")) for site in inputs.sites)
    moved = [(one, one.station_id == "S2") for one in inputs.stations]
    own = tuple(replace(one, lon=one.lon + 1.0) if slip else one for one, slip in moved)
    with pytest.raises(InputError, match=r"stations\.csv row 3 \(S2\).*E21, PT22, T23, V24 would come to no fire"):
        plan_district(replace(inputs, stations=own), *roads, lambda _stage, _share: None)
    stations = tuple(replace(one, aid="automatic") if slip else one for one, (_, slip) in zip(own, moved, strict=True))
    inputs = plan_checks.thinned(replace(inputs, sites=sites, stations=stations), 12)
    far = plan_district(inputs, *roads, lambda _stage, _share: None)
    assert far.site_segment[0] == -1
    assert "off road data" in {flag.code for flag in far.site_flags[0]}
    assert not (far.levels.site == 0).any()
    assert not (far.trips.site == 0).any()
    stranded = np.array([unit.station_id == "S2" for unit in far.units])
    assert np.isinf(far.arrival_min[:, stranded]).all()
    assert not far.levels.fleet[:, :, stranded].any()
    assert plan_checks.contradictions(far) == []
