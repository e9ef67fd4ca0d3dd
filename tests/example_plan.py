"""A small finished plan drawn by hand, for the tests of the pages: no reading, no routing, no water.

Two roads cross near the middle; a fill site stands at each end of Mill Road. Six addresses show the five
statuses and the texts that pages must survive: markup, a formula, a very long name, letters beyond ASCII.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from preplan.plan import Cut, Plan
from preplan.plan_cards import CardGroup, OtherCircuit, Step
from preplan.plan_tables import (
    AnswerTable,
    BuildUpTable,
    Flag,
    FrontageTable,
    HaulTable,
    HydrantReach,
    LayTable,
    LevelTable,
    NeedTable,
    NurseTable,
    OccupancyCount,
    RaterTable,
    RouteForest,
    SeasonLine,
    SupplyTable,
    TripTable,
)
from preplan.records import (
    AddressTable,
    BridgeTable,
    FeatureTable,
    FillSite,
    HydrantTable,
    Problem,
    ResponseLevel,
    RoadLimits,
    RoadTable,
    Station,
    Unit,
    text_array,
)
from preplan.rules import District

NAN, INF = float("nan"), float("inf")
LABELS = [
    "12 Mill Road",
    "40 Mill Road <script>alert(1)</script>",
    '=HYPERLINK("x") 7 Quarry Lane',
    "9 Quarry Lane Ünïcødé Farm " + "very long name " * 12,
    "1 Far Island",
    "3 Mill Road",
]


def _roads() -> RoadTable:
    lon = np.array([-72.04, -72.03, -72.02, -72.01, -72.02, -72.02])
    lat = np.array([44.00, 44.002, 44.00, 44.001, 44.012, 43.990])
    pairs = [(0, 1), (1, 2), (2, 3), (2, 4), (2, 5)]
    names = ["Mill Road", "Mill Road", "Mill Road", "Quarry Lane", ""]
    coord_lon: list[float] = []
    coord_lat: list[float] = []
    start = [0]
    for a, b in pairs:
        bend = ((lon[a] + lon[b]) / 2 + 0.0005, (lat[a] + lat[b]) / 2 + 0.0008)
        coord_lon += [lon[a], bend[0], lon[b]]
        coord_lat += [lat[a], bend[1], lat[b]]
        start.append(len(coord_lon))
    n = len(pairs)
    return RoadTable(
        way_id=np.arange(101, 101 + n, dtype=np.int64),
        from_node=np.array([a for a, _ in pairs], dtype=np.int32),
        to_node=np.array([b for _, b in pairs], dtype=np.int32),
        name=text_array(names),
        ref=text_array(["", "", "", "", "VT 105"]),
        highway=text_array(["tertiary", "tertiary", "tertiary", "unclassified", "secondary"]),
        length_m=np.array([830.0, 830.0, 810.0, 1340.0, 1120.0]),
        tag_row=np.arange(n, dtype=np.int32),
        coord_start=np.array(start, dtype=np.int32),
        coord_lon=np.array(coord_lon),
        coord_lat=np.array(coord_lat),
        way_tags=(
            {"highway": "tertiary"},
            {"highway": "tertiary", "bridge": "yes", "maxweight": "10 st"},
            {"highway": "tertiary"},
            {"highway": "unclassified"},
            {"highway": "secondary", "bridge": "yes"},
        ),
        node_id=np.arange(1, 7, dtype=np.int64),
        node_lon=lon,
        node_lat=lat,
        node_tags={},
        node_cut=np.zeros(6, dtype=np.bool_),
        newest="2026-04-30",
    )


def _limits(n: int) -> RoadLimits:
    max_lb = np.full(n, INF)
    max_lb[1] = 20000.0
    yes, no = np.ones(n, dtype=np.bool_), np.zeros(n, dtype=np.bool_)
    posted = no.copy()
    posted[1] = True
    unposted = no.copy()
    unposted[4] = True
    return RoadLimits(
        max_lb=max_lb,
        rated_lb=np.full(n, INF),
        max_axle_lb=np.full(n, INF),
        max_height_ft=np.full(n, INF),
        max_width_ft=np.full(n, INF),
        forward_open=yes,
        backward_open=yes.copy(),
        tanker_road=yes.copy(),
        signed=np.zeros(n, dtype=np.bool_),
        penalty_min=np.zeros(n),
        posted=posted,
        unposted_bridge=unposted,
        narrow=no.copy(),
    )


def _addresses() -> AddressTable:
    n = len(LABELS)
    blank = np.full(n, NAN)
    return AddressTable(
        address_id=text_array([f"A{i}" for i in range(n)]),
        label=text_array(LABELS),
        street=text_array(["Mill Road", "Mill Road", "Quarry Lane", "Quarry Lane", "", "Mill Road"]),
        number=np.array([12, 40, 7, 9, 1, 3], dtype=np.int32),
        occupancy=text_array(["dwelling"] * n),
        lon=np.array([-72.036, -72.0305, -72.0205, -72.0195, -71.9, -72.039]),
        lat=np.array([44.0015, 44.0035, 44.006, 44.009, 44.2, 44.0005]),
        length_ft=blank,
        width_ft=blank.copy(),
        height_ft=blank.copy(),
        floor_area_sqft=blank.copy(),
        stories=blank.copy(),
        occupancy_hazard=blank.copy(),
        construction=text_array([""] * n),
        exposure=blank.copy(),
        sprinklered=blank.copy(),
        required_gpm=blank.copy(),
        required_gal=blank.copy(),
        driveway_ft=blank.copy(),
        row=np.arange(2, 2 + n, dtype=np.int32),
    )


def _sites() -> tuple[FillSite, ...]:
    return (
        FillSite(
            site_id="F1",
            name="Mill Pond dry hydrant",
            kind="dry hydrant",
            lon=-72.04,
            lat=44.0,
            fill_gpm=900.0,
            tested="2025-09-12",
            turnaround="loop",
            positions=1,
            connection="6 in NST",
        ),
        FillSite(
            site_id="F2",
            name="Quarry pond (summer)",
            kind="draft",
            lon=-72.01,
            lat=44.001,
            fill_gpm=500.0,
            fill_gpm_given=False,
            months=frozenset(range(4, 12)),
            turnaround_given=False,
        ),
        FillSite(
            site_id="F3",
            name="Old cistern",
            kind="cistern",
            lon=-72.02,
            lat=43.991,
            fill_gpm=500.0,
            storage_gal=8000.0,
            in_service=False,
        ),
    )


def _unit(unit_id: str, station: str, kind: str, tank_gal: float) -> Unit:
    return Unit(
        unit_id=unit_id,
        station_id=station,
        kind=kind,
        tank_gal=tank_gal,
        pump_gpm=1250.0,
        dump_gpm=1000.0,
        intake_gpm=1000.0,
        self_fill_gpm=None,
        loaded_lb=42000.0,
        empty_lb=25000.0,
        axle_lb=25000.0,
        height_ft=10.5,
        width_ft=8.5,
        max_mph=60.0,
        portable_tank_gal=2500.0,
        usable_fraction=0.9,
        supply_hose_ft=1000.0,
        supply_hose_in=3.0,
    )


def _trips() -> tuple[TripTable, RouteForest]:
    segment = np.array([0, 1, 3, 0, 1, 3], dtype=np.int32)
    forest = RouteForest(
        segment=segment,
        forward=np.array([True, True, True, False, False, False]),
        parent=np.array([-1, 0, 1, -1, 3, 4], dtype=np.int32),
    )
    rows = [(0, 0, 0, 3), (0, 1, -1, -1), (1, 0, 1, 4), (2, 0, 2, 5), (3, 0, 2, 5), (3, 1, -1, -1)]
    n = len(rows)
    out = np.array([1.2, 5.1, 3.4, 6.2, 7.0, 4.4])
    trips = TripTable(
        address=np.array([r[0] for r in rows], dtype=np.int32),
        site=np.array([r[1] for r in rows], dtype=np.int32),
        cut=np.zeros(n, dtype=np.int32),
        out_min=out,
        out_mi=out * 0.5,
        back_min=out + 1.0,
        back_mi=out * 0.52,
        posted_avoided_min=np.array([0, 0, 2.5, 0, 0, 0.0]),
        unposted_bridges=np.array([0, 1, 0, 0, 2, 0], dtype=np.int32),
        turn_at_dump=np.array([True, False, False, True, True, False]),
        turn_at_site=np.zeros(n, dtype=np.bool_),
        narrow_mi=np.zeros(n),
        out_leaf=np.array([r[2] for r in rows], dtype=np.int32),
        back_leaf=np.array([r[3] for r in rows], dtype=np.int32),
    )
    return trips, forest


def _levels(n: int, units: int) -> LevelTable:
    def whole(rows: list[list[int]]) -> np.ndarray[tuple[int, ...], np.dtype[np.int32]]:
        return np.array(rows, dtype=np.int32)

    site = whole([[0, 0], [0, 0], [0, 0], [0, 0], [-1, -1], [-1, -1]])
    sustained = np.array([[310.0, 520], [220, 505], [180, 260], [0, 240], [NAN, NAN], [NAN, NAN]])
    held = np.array([[322.0, 540], [228, 514], [186, 270], [0, 251], [NAN, NAN], [NAN, NAN]])
    need = np.array([250.0, 500, 500, 500, 500, 250])
    fleet = np.zeros((n, 2, units), dtype=np.bool_)
    fleet[:4, 0, [0, 1, 3, 4]] = True
    fleet[:4, 1, :] = True
    used = fleet.copy()
    used[:, :, :3] = False
    return LevelTable(
        site=site,
        backup=whole([[1, 1], [-1, -1], [-1, -1], [1, 1], [-1, -1], [-1, -1]]),
        split=np.full((n, 2), -1, dtype=np.int32),
        trip=whole([[0, 0], [2, 2], [3, 3], [4, 4], [-1, -1], [-1, -1]]),
        backup_trip=whole([[1, 1], [-1, -1], [-1, -1], [5, 5], [-1, -1], [-1, -1]]),
        split_trip=np.full((n, 2), -1, dtype=np.int32),
        fleet=fleet,
        tankers=used,
        used=used,
        at_split=np.zeros_like(used),
        split_engine=np.full((n, 2), -1, dtype=np.int32),
        fill_engine=np.full((n, 2), 1, dtype=np.int32),
        dump_engine=np.full((n, 2), 2, dtype=np.int32),
        attack_engine=np.zeros((n, 2), dtype=np.int32),
        cycle_min=np.where(np.isnan(sustained), NAN, 14.5),
        sum_gpm=sustained * 1.05,
        sustained_gpm=sustained,
        uninterrupted_gpm=held,
        brings_gpm=held,
        on_arrival_gpm=np.minimum(held, held[:, :1] * 1.2),
        gap_min=np.where(np.isnan(held), NAN, np.where(held >= need[:, None], 0.0, 12.4)),
        gap_on_arrival_min=np.where(np.isnan(held), NAN, np.where(held >= need[:, None], 1.9, 14.0)),
        nothing_min=np.where(np.isnan(held), NAN, np.where(held >= need[:, None], 0.0, 12.4)),
        nothing_on_arrival_min=np.where(np.isnan(held), NAN, np.where(held >= need[:, None], 1.9, 14.0)),
        hose_short_ft=np.where(np.isnan(held), NAN, 0.0),
        reached_gpm=np.full((n, 2), NAN),
        limited_by=np.array(
            [["tankers", "fill site"], ["tankers"] * 2, ["tankers"] * 2, ["engines", "tankers"], ["", ""], ["", ""]],
            dtype=np.object_,
        ),
        backup_gpm=held * 0.6,
        backup_steady_gpm=np.full((n, 2), NAN),
        alone_gpm=np.full((n, 2), NAN),
        one_out_gpm=held * 0.5,
        meets=held >= need[:, None],
        short_engines=np.zeros((n, 2), dtype=np.int32),
        short_tankers=np.zeros((n, 2), dtype=np.int32),
        season=np.ones((n, 2), dtype=np.int32),
    )


def _supply() -> SupplyTable:
    """At both levels of the first four addresses the attack engine's hose, driveway and 100 ft long."""
    address, level = (a.ravel().astype(np.int32) for a in np.indices((4, 2)))
    hose_ft = np.repeat([220.0, 400, 180, 740], 2)
    return SupplyTable(address=address, level=level, unit=np.zeros(8, dtype=np.int32), hose_ft=hose_ft)


def _hauls() -> HaulTable:
    """Both tankers at both levels of the first four addresses; T2 queues, and adds nothing at the first."""
    address, level, unit = (a.ravel().astype(np.int32) for a in np.indices((4, 2, 2)))
    second = unit == 1
    return HaulTable(
        address=address,
        level=level,
        unit=(3 + unit).astype(np.int32),
        loads=np.where(second, 7.0, 8.0),
        fill_wait_min=np.where(second, 12.26, 0.0),
        dump_wait_min=np.where(second, 3.0, 1.5),
        room_wait_min=np.where(second, 0.0, 2.0),
        called_loads=np.where(second, 6.0, 8.0),
        called_fill_wait_min=np.where(second, 9.04, 0.0),
        called_dump_wait_min=np.where(second, 1.0, 0.5),
        called_room_wait_min=np.where(second, 0.0, 2.0),
        without_gpm=np.where(second, 130.4, 96.0),
        adds=~(second & (address == 0)),
    )


def example_plan() -> Plan:
    """Build the plan; every call makes an equal one."""
    addresses, roads = _addresses(), _roads()
    n = len(addresses)
    units = (
        _unit("E1", "S1", "engine", 1000.0),
        _unit("E2", "S2", "engine", 750.0),
        _unit("E3", "S2", "engine", 1000.0),
        _unit("T1", "S1", "tanker", 2000.0),
        _unit("T2", "S2", "tanker", 3000.0),
    )
    trips, forest = _trips()
    levels = _levels(n, len(units))
    status = text_array(["served", "higher level", "not met", "not met", "no route", "hydrant"])
    flags = (
        (Flag("single fill site"),),
        (Flag("posted bridge avoided", 2.5, "min"), Flag("assumed building")),
        (Flag("turn at dump site", 3.0, "min"), Flag("close", 0.94)),
        (
            Flag("long driveway", 640.0, "ft"),
            Flag("dead end"),
            Flag("unposted bridges", 2.0),
            Flag("not tested"),
            Flag("assumed building"),
            Flag("seasonal", "4-11"),
        ),
        (Flag("off road data", 90000.0, "ft"),),
        (),
    )
    steps = (
        Step(road="Mill Road", miles=0.5, turn="Leave the fill site north on"),
        Step(road="Mill Road", miles=0.5, turn="Straight on", note="bridge posted 20,000 lb"),
        Step(road="Quarry Lane", miles=0.4, turn="Left on", note="dead end"),
    )
    none = text_array([""] * n)
    segment = np.array([0, 1, 3, 3, -1, 0], dtype=np.int32)
    on = segment >= 0
    return Plan(
        district=District(
            name="Hand-drawn District",
            date="2026-05-01",
            levels=(
                ResponseLevel(name="Level 1", engines=2, tankers=2),
                ResponseLevel(name="Level 2", engines=3, tankers=2),
            ),
        ),
        addresses=addresses,
        road=addresses.street.copy(),
        needs=NeedTable(
            required_gpm=np.array([250.0, 500, 500, 500, 500, 250]),
            required_gal=np.array([2400.0, 4300, 4300, 9000, 4300, 2000]),
            required_min=np.full(n, 120.0),
            basis=text_array(["nfpa1142:table"] + ["nfpa1142:default dwelling"] * 5),
            assumed=np.array([False] + [True] * 5),
        ),
        frontages=FrontageTable(
            segment=segment,
            fraction=np.array([0.4, 0.9, 0.45, 0.7, NAN, 0.1]),
            lon=addresses.lon,
            lat=addresses.lat,
            driveway_ft=np.array([120.0, 300, 80, 640, NAN, 60]),
            gap_ft=np.array([90.0, 230, 60, 490, NAN, 45]),
            how=text_array(["named", "nearest", "named", "named", "", "named"]),
            side=np.where(on, "left", none),
            dead_end=np.array([False, False, True, True, False, False]),
            along_ft=np.zeros(n),
            near_segment=np.array([-1, -1, -1, -1, 0, -1], dtype=np.int32),
        ),
        sites=_sites(),
        site_segment=np.array([0, 2, 4], dtype=np.int32),
        site_flags=((), (Flag("not tested"), Flag("seasonal", "4-11")), (Flag("out of service"),)),
        stations=(
            Station(station_id="S1", name="Mill Village", lon=-72.025, lat=44.0012, turnout_min=6.0),
            Station(
                station_id="S2",
                name="Neighbour",
                lon=-72.02,
                lat=43.9905,
                turnout_min=2.0,
                staffed=True,
                aid="automatic",
            ),
        ),
        units=units,
        arrival_min=np.tile(np.array([10.0, 12, 14, 13, 20]), (n, 1)),
        station_mi=np.array([1.1, 0.9, 4.9, 5.1, INF, 1.3]),
        site_arrival_min=np.tile(np.array([9.0, 11.2, 15, 12, 18]), (3, 1)),
        hydrants=HydrantTable(
            hydrant_id=text_array(["H1"]),
            lon=np.array([-72.0395]),
            lat=np.array([44.0003]),
            flow_gpm=np.array([1000.0]),
            assumed=np.array([False]),
            class_c=np.array([False]),
        ),
        near_hydrant=HydrantReach(
            hydrant=np.array([-1] * 5 + [0], dtype=np.int32),
            distance_ft=np.array([NAN] * 5 + [400.0]),
            credited_gpm=np.array([NAN] * 5 + [670.0]),
        ),
        cuts=(
            Cut(
                unit_ids=("T1", "T2"),
                loaded_lb=42000.0,
                empty_lb=25000.0,
                axle_lb=25000.0,
                height_ft=10.5,
                width_ft=8.5,
                top_mph=60.0,
            ),
        ),
        trips=trips,
        forest=forest,
        sheet_trips=trips,
        sheet_forest=forest,
        levels=levels,
        hauls=_hauls(),
        supply=_supply(),
        lays=LayTable.none(),
        nurses=NurseTable.none(),
        built_up=BuildUpTable.none(),
        rater=RaterTable(early_gpm=0.5 * levels.uninterrupted_gpm, raised_gpm=levels.uninterrupted_gpm),
        seasons=(
            SeasonLine(
                months=tuple(range(4, 12)),
                sites=(0, 1),
                best_site=levels.site,
                split_site=levels.split,
                backup_site=levels.backup,
                backup_gpm=levels.backup_gpm,
                backup_steady_gpm=levels.backup_steady_gpm,
                uninterrupted_gpm=levels.uninterrupted_gpm,
                brings_gpm=levels.uninterrupted_gpm,
            ),
            SeasonLine(
                months=(12, 1, 2, 3),
                sites=(0,),
                best_site=levels.site,
                split_site=levels.split,
                backup_site=levels.backup,
                backup_gpm=levels.backup_gpm,
                backup_steady_gpm=levels.backup_steady_gpm,
                uninterrupted_gpm=levels.uninterrupted_gpm * 0.98,
                brings_gpm=levels.uninterrupted_gpm * 0.98,
            ),
        ),
        answers=AnswerTable(
            status=status,
            level=np.array([0, 1, 1, 1, -1, -1], dtype=np.int32),
            hydrant_ft=np.array([NAN] * 5 + [400.0]),
            first_arrival_min=np.full(n, 10.0),
            called=text_array(["at dispatch", "on arrival", "at dispatch", "at dispatch", "", ""]),
            short_by=text_array([""] * n),
            first_water_min=np.array([12.0] * 4 + [NAN] * 2),
            established_min=np.array([34.0] * 4 + [NAN] * 2),
            gap_min=np.array([0.0, 1.9, 12.4, 12.4, NAN, NAN]),
            first_gap_min=np.array([NAN, 32.1, 30.0, 30.0, NAN, NAN]),
            longest_gap_min=np.array([0.0, 1.9, 6.0, 6.0, NAN, NAN]),
            short_gal=np.array([0.0, 950.0, 6200.0, 6200.0, NAN, NAN]),
            nothing_min=np.array([0.0, 1.9, 12.4, 12.4, NAN, NAN]),
            first_nothing_min=np.array([NAN, 32.1, 30.0, 30.0, NAN, NAN]),
            longest_nothing_min=np.array([0.0, 1.9, 6.0, 6.0, NAN, NAN]),
            nothing_gal=np.array([0.0, 950.0, 6200.0, 6200.0, NAN, NAN]),
            mws_by_min=np.array([30.5, 41.0, NAN, 88.0, NAN, NAN]),
            surge_min=np.full(n, NAN),
            call_by_min=np.array([NAN, 7.0, NAN, NAN, NAN, NAN]),
            emptied=np.zeros((len(status), 2), dtype=np.bool_),
            flags=flags,
        ),
        groups=(
            CardGroup(
                road="Mill Road",
                addresses=(0,),
                lead=0,
                first_number=12,
                last_number=12,
                out_steps=steps,
                back_steps=steps[::-1],
                cross_street="Quarry Lane",
            ),
            CardGroup(
                road="Mill Road",
                addresses=(1,),
                lead=1,
                first_number=40,
                last_number=40,
                out_steps=steps,
                back_steps=steps[::-1],
                cross_street="",
            ),
            CardGroup(
                road="Quarry Lane",
                addresses=(2, 3),
                lead=3,
                first_number=7,
                last_number=9,
                out_steps=steps,
                back_steps=steps[::-1],
                cross_street="Mill Road",
            ),
            CardGroup(
                road="",
                addresses=(4,),
                lead=4,
                first_number=1,
                last_number=1,
                out_steps=(),
                back_steps=(),
                cross_street="",
            ),
        ),
        roads=roads,
        limits=_limits(len(roads)),
        season_limits=(_limits(len(roads)),) * 2,
        posting_costs=(),
        bridges=BridgeTable.none(),
        bridge_row=np.full(len(roads), -1, dtype=np.int32),
        bridge_named=np.zeros(len(roads), dtype=np.bool_),
        features=FeatureTable(
            building_rings=(
                np.array([[-72.0362, 44.0014], [-72.0358, 44.0014], [-72.0358, 44.0016], [-72.0362, 44.0014]]),
            ),
            water_rings=(
                np.array([[-72.043, 43.998], [-72.041, 43.998], [-72.041, 44.0], [-72.043, 44.0], [-72.043, 43.998]]),
            ),
            stream_lines=(np.array([[-72.028, 43.99], [-72.0265, 44.001], [-72.027, 44.012]]),),
        ),
        occupancies=(OccupancyCount(name="dwelling", addresses=6, unsaid=1, unknown=("<b>hut</b>",)),),
        rule_ratio=(0.85, 1.02, 1.4),
        problems=(
            Problem(
                code="unreadable",
                osm_id="way 103",
                key="maxheight",
                value="low",
                rule="closes nothing",
                lon=-72.015,
                lat=44.0,
            ),
        ),
    )


def other_plan(*, backup: bool, months: tuple[int, ...] = (12, 1, 2, 3)) -> Plan:
    """Let tankers for the first address fill at the second site in some months, and where the first fails."""
    plan = example_plan()
    steps = (Step(road="Pond Lane", miles=0.4, turn="Leave the fill site north on"),)
    flag = Flag("crosses above rating", "the Oak Road bridge (no sign, but rated 20,000 lb)", limit="20,000 lb")
    other = OtherCircuit(
        site=1, trip=1, level=0, out_steps=steps, back_steps=steps, backup=backup, months=months, flags=(flag,),
        attack_engine=0, arrival_min=tuple(plan.arrival_min[0].tolist()), fill_engine_min=15.0,
    )  # fmt: skip
    mine = replace(plan.groups[0], others=(other,))
    best, stands_in = plan.levels.site.copy(), plan.levels.backup_gpm.copy()
    best[0], stands_in[0] = 1, 321.0
    seasons = tuple(
        replace(line, best_site=best if set(line.months) <= set(months) else line.best_site, backup_gpm=stands_in)
        for line in plan.seasons
    )
    levels = replace(plan.levels, backup_gpm=stands_in)
    district = replace(plan.district, cards_backup="sheet" if backup else "line")
    return replace(plan, district=district, levels=levels, groups=(mine, *plan.groups[1:]), seasons=seasons)


def split_plan() -> Plan:
    """Let T2 fill at the second site for the first address, at both levels; E3 pumps there and E1 drafts."""
    plan = example_plan()
    levels, groups = plan.levels, plan.groups
    split, trip, engine, dump = (
        column.copy() for column in (levels.split, levels.split_trip, levels.split_engine, levels.dump_engine)
    )
    split[0], trip[0], engine[0], dump[0] = 1, 1, 2, 0
    there = levels.at_split.copy()
    there[0, :, 4] = True
    steps = (Step(road="Pond Lane", miles=0.4, turn="Leave the fill site north on"),)
    mine = replace(groups[0], split_out_steps=steps, split_back_steps=steps)
    alone = levels.alone_gpm.copy()
    alone[0] = 231.0
    changed = replace(
        levels, split=split, split_trip=trip, split_engine=engine, dump_engine=dump, at_split=there, alone_gpm=alone
    )
    seasons = tuple(replace(season, split_site=split) for season in plan.seasons)
    return replace(plan, levels=changed, groups=(mine, *groups[1:]), seasons=seasons)


def held_later(*addresses: int, from_min: float, gpm: float, steady_gpm: float | None = None) -> BuildUpTable:
    """Make a table of addresses at which so much is held from a later minute on; as much comes round without end."""
    steady, every = gpm if steady_gpm is None else steady_gpm, np.ones(len(addresses))
    return BuildUpTable(
        address=np.array(sorted(addresses), dtype=np.int32),
        from_min=from_min * every,
        gpm=gpm * every,
        steady_gpm=steady * every,
    )


def turning_past(plan: Plan, trip: int) -> Plan:
    """Let the empty leg of a trip go on as the loaded one comes, to turn round and drive all of that again."""
    (out, back), forest = plan.trip_rows(trip), plan.forest
    longer = replace(
        forest,
        segment=np.append(forest.segment, forest.segment[out[-1]]).astype(np.int32),
        forward=np.append(forest.forward, forest.forward[out[-1]]),
        parent=np.append(forest.parent, back[0]).astype(np.int32),
    )
    leaf = plan.trips.back_leaf.copy()
    leaf[trip] = len(forest)
    return replace(plan, forest=longer, trips=replace(plan.trips, back_leaf=leaf))
