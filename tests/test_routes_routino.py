"""Shortest ways under weight, height and width limits against Debian's routino; and every traced route obeys its signs.

Both routers get the same roads: the ways that a plain filter keeps, with their direction, their turn restrictions and
what is posted on them. Which ways those are, signs against traffic and gates is the matter of other tests. The other
router ignores short tons and pounds, takes a foot for 0.254 m and knows no limits of nodes (all seen by trying), so it
gets the signs in tonnes and metres, by `prepare`, and nodes get none.
"""

from __future__ import annotations

import shutil
import subprocess
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise, product
from pathlib import Path

import networkx as nx
import numpy as np
import pytest
from pyproj import Geod

from preplan.records import FloatArray, RoadTable
from preplan.roads.forest import Traced, trace
from preplan.roads.limits import limits_of
from preplan.roads.network import Vehicle, build_network
from preplan.roads.search import Fleet, Legs, Search, Spots
from preplan.roads.source import read_osm
from preplan.roads.speeds import minutes_of, node_delay_min
from preplan.roads.trips import Circuits, Turning, circuits, legs_of, measure
from preplan.rules import RoadRules
from preplan.units import FT_PER_M, LB_PER_TONNE, M_PER_MI
from tests.osm_text import street
from tests.shared_data import shared
from tests.world_routes import (
    LIMIT_KEYS,
    SAMPLE_ROADS,
    At,
    PlainFile,
    Turns,
    for_tankers,
    prepare,
    sign,
    world,
)

SPLITTER, ROUTER = shutil.which("planetsplitter"), shutil.which("routino-router")
SETTINGS = Path("/usr/share/routino")
WGS84 = Geod(ellps="WGS84")


@dataclass(frozen=True)
class Load:
    """A vehicle in steps that the other router can hold: 0.2 t and 0.1 m; 0: no limit asked for."""

    tonnes: float = 0.0
    height_m: float = 0.0
    width_m: float = 0.0
    bites: bool = True
    """A sign of the file stops it."""

    def ours(self) -> Vehicle:
        """Describe it to the program."""
        return Vehicle(
            gross_lb=self.tonnes * LB_PER_TONNE,
            axle_lb=0.0,
            height_ft=self.height_m * FT_PER_M,
            width_ft=self.width_m * FT_PER_M,
            top_mph=60.0,
        )

    def theirs(self) -> list[str]:
        """Describe it to the other router."""
        sizes = {"weight": self.tonnes, "height": self.height_m, "width": self.width_m}
        return [f"--{name}={size:.1f}" for name, size in sizes.items() if size]


@dataclass(frozen=True)
class Case:
    """One road file and the vehicles to send through it, the free one first."""

    name: str
    loads: tuple[Load, ...]
    parts: tuple[str, ...] = ()

    def path(self) -> Path:
        """Find the file, or skip."""
        return shared(*self.parts) if self.parts else SAMPLE_ROADS


CASES = (
    Case("sample", (Load(bites=False), Load(tonnes=19.4), Load(tonnes=11.0, bites=False), Load(height_m=3.2))),
    Case(
        "de_heidelberg_hgv",
        (
            Load(bites=False),
            Load(tonnes=19.4, height_m=3.2, width_m=2.6),
            Load(tonnes=7.6),
            Load(width_m=2.2),
        ),
        ("osm", "de_heidelberg_hgv.osm.pbf"),
    ),
    Case(
        "vt_essex_north",
        (Load(bites=False), Load(tonnes=19.4), Load(height_m=3.2), Load(height_m=3.1, bites=False)),
        ("osm", "vt_essex_north.osm.bz2"),
    ),
    Case(
        "nh_ma_monadnock",
        (Load(bites=False), Load(tonnes=19.4), Load(height_m=4.3), Load(height_m=4.5)),
        ("osm", "nh_ma_monadnock.osm.bz2"),
    ),
)
ANYWHERE, BY_A_SIGN, SEED = 6, 3, 20260501
"""Starts and goals of each file: junctions anywhere, and ends of ways with a sign of each kind."""
NO_NUMBER = frozenset({"low", "default"})
"""Values of signs in these files that limit nothing; any other one is a sign that this test must know."""
NEAR, NEAR_M = 0.01, 2.0
"""Within this share or these metres two distances agree."""
LEAST_EQUAL, MOST_UNLIKE = 400, 0.02
"""Pairs of each file that must agree, and the share that may differ for a cause."""


# ------------------------------------------------------------------ the other router


HIGHWAYS = "motorway trunk primary secondary tertiary unclassified residential service track cycleway path steps ferry"
PROPERTIES = "paved multilane bridge tunnel footroute bicycleroute"


def profile_xml() -> str:
    """Write a profile for which every road is as good as any other."""
    speeds = "".join(f'<speed highway="{name}" kph="50" />' for name in HIGHWAYS.split())
    likes = "".join(f'<preference highway="{name}" percent="100" />' for name in HIGHWAYS.split())
    same = "".join(f'<property type="{name}" percent="50" />' for name in PROPERTIES.split())
    free = "".join(f'<{name} limit="0.0" />' for name in ("weight", "height", "width", "length"))
    obeys = '<oneway obey="1" /><turns obey="1" />'
    return (
        '<?xml version="1.0" encoding="UTF-8" ?><routino-profiles><profile name="even" transport="hgv">'
        f"<speeds>{speeds}</speeds><preferences>{likes}</preferences><properties>{same}</properties>"
        f"<restrictions>{obeys}{free}</restrictions></profile></routino-profiles>"
    )


@dataclass(frozen=True)
class Answer:
    """What the other router says of one pair; inf: no way."""

    drawn_m: float
    """Geodesics along the points that it prints: its own count drops the part of a metre of every piece."""
    moved: bool = False
    """It began or ended at another place, as it does where no road at the node may be used."""


@dataclass(frozen=True)
class Routino:
    """The other router with one file's roads."""

    folder: Path

    @classmethod
    def of(cls, roads: Path, folder: Path) -> Routino:
        """Build its database."""
        if SPLITTER is None or ROUTER is None or not SETTINGS.is_dir():
            pytest.skip("no routino here (Debian package routino)")
        (folder / "profiles.xml").write_text(profile_xml())
        options = [f"--dir={folder}", "--prefix=x", f"--tagging={SETTINGS / 'tagging.xml'}", "--prune-none"]
        subprocess.run([SPLITTER, *options, str(roads)], check=True, capture_output=True)
        return cls(folder)

    def route(self, start: tuple[float, float], goal: tuple[float, float], load: Load) -> Answer:
        """Ask for the shortest way between two nodes given as lon, lat."""
        assert ROUTER is not None
        options = [
            f"--dir={self.folder}", "--prefix=x", f"--profiles={self.folder / 'profiles.xml'}",
            f"--translations={SETTINGS / 'translations.xml'}", "--profile=even", "--transport=hgv", "--shortest",
            "--exact-nodes-only", "--output-text-all", "--output-stdout",
            f"--lon1={start[0]:.7f}", f"--lat1={start[1]:.7f}", f"--lon2={goal[0]:.7f}", f"--lat2={goal[1]:.7f}",
        ]  # fmt: skip
        asked = subprocess.run([ROUTER, *options, *load.theirs()], check=False, capture_output=True, text=True)
        rows = [line.split("\t") for line in asked.stdout.splitlines() if line.startswith((" ", "-"))]
        if not rows:
            assert "compatible with profile" in asked.stderr + asked.stdout, asked.stderr
            return Answer(np.inf)
        lon, lat = [float(row[1]) for row in rows], [float(row[0]) for row in rows]
        off = max(WGS84.inv(lon[0], lat[0], *start)[2], WGS84.inv(lon[-1], lat[-1], *goal)[2])
        return Answer(WGS84.line_length(lon, lat), moved=off > 1.0)


# ------------------------------------------------------------------ the comparison


AGREED = frozenset({"equal", "no way for both", "no open road at an end for both"})
NOT_SHORTEST = "theirs is not the shortest: networkx finds ours, and it is legal"
"""The one cause that is accepted, judged from the pair itself."""


@dataclass
class Tally:
    """Pairs of one file, by what came of them."""

    plain: PlainFile
    pairs: Counter[str] = field(default_factory=Counter)
    ratios: list[float] = field(default_factory=list)
    unlike: list[str] = field(default_factory=list)
    thirds: dict[Load, nx.DiGraph[Stand]] = field(default_factory=dict)

    def take(self, pair: tuple[int, int], load: Load, ours_m: float, theirs: Answer) -> None:
        """Judge one pair."""
        what = verdict(ours_m, theirs)
        if what == "UNEXPLAINED" and ours_m < theirs.drawn_m and self.legal_m(pair, load) == pytest.approx(ours_m):
            what = NOT_SHORTEST
        self.pairs[what] += 1
        if np.isfinite(ours_m) and np.isfinite(theirs.drawn_m) and not theirs.moved:
            self.ratios.append(ours_m / theirs.drawn_m)
        if what not in AGREED:
            told = f"{' '.join(load.theirs()) or 'free'}, node {pair[0]} to {pair[1]}"
            self.unlike.append(f"  {what}: {told}: ours {ours_m:.1f} m, theirs {theirs.drawn_m:.1f} m")

    def legal_m(self, pair: tuple[int, int], load: Load) -> float:
        """Ask networkx over the raw file for the shortest way of which every sign and turn is legal; inf: none is."""
        if load not in self.thirds:
            self.thirds[load] = legal_roads(self.plain, self.law, self.pieces, load)
        graph, (start, goal), found = self.thirds[load], pair, [np.inf]
        for end in [(goal, 0), *((goal, way) for way, via in self.law.told if via == goal)]:
            with suppress(nx.NetworkXNoPath, nx.NodeNotFound):
                found.append(nx.bidirectional_dijkstra(graph, (start, 0), end, weight="metres")[0])
        return min(found)

    @cached_property
    def law(self) -> Turns:
        """Which turns are forbidden."""
        return Turns.of(self.plain)

    @cached_property
    def pieces(self) -> list[Piece]:
        """Measure every piece of a way between two of its nodes."""
        ends = [(way, *pair) for way, nodes in self.plain.way_nodes.items() for pair in pairwise(nodes)]
        places = np.array([(*self.plain.place[one], *self.plain.place[other]) for _, one, other in ends])
        metres = WGS84.inv(*places.T)[2].tolist()
        return [(*one, length) for one, length in zip(ends, metres, strict=True)]


Piece = tuple[int, int, int, float]
"""Way, both nodes, metres."""
Stand = tuple[int, int]
"""A node, and the way by which it is reached where that forbids a turn there, else 0."""


def legal_roads(plain: PlainFile, law: Turns, pieces: Sequence[Piece], load: Load) -> nx.DiGraph[Stand]:
    """Join the nodes of the raw file by the ways that no sign closes to a load, and by the turns that are allowed."""
    graph: nx.DiGraph[Stand] = nx.DiGraph()
    comes: defaultdict[int, list[int]] = defaultdict(list)
    for way, via in law.told:
        comes[via].append(way)
    shut = {way for way, tags in plain.way_tags.items() if any(stops(tags, load))}
    for way, one, other, metres in pieces:
        for tail, head in directions(plain.way_tags[way], one, other) if way not in shut else ():
            end = head, way * ((way, head) in law.told)
            graph.add_edge((tail, 0), end, metres=metres)
            for before in comes[tail]:
                if not law.forbids(before, tail, way):
                    graph.add_edge((tail, before), end, metres=metres)
    return graph


def stops(tags: Mapping[str, str], load: Load) -> Iterator[bool]:
    """Tell of each sign of a way whether it stops a load."""
    for key, size in zip(LIMIT_KEYS, (load.tonnes, load.height_m, load.width_m), strict=True):
        limit = sign(tags.get(key, ""))
        yield limit is not None and limit < size


def directions(tags: Mapping[str, str], one: int, other: int) -> list[tuple[int, int]]:
    """Give the directions in which a piece of a way may be driven."""
    along, against = (one, other), (other, one)
    if tags.get("oneway") == "-1":
        return [against]
    implied = tags.get("junction") in {"roundabout", "circular"} or tags["highway"] == "motorway"
    return [along] if tags.get("oneway") == "yes" or (implied and "oneway" not in tags) else [along, against]


def verdict(ours_m: float, theirs: Answer) -> str:
    """Say what came of a pair."""
    if theirs.moved:
        return "UNEXPLAINED" if np.isfinite(ours_m) else "no open road at an end for both"
    if not np.isfinite(ours_m) or not np.isfinite(theirs.drawn_m):
        return "no way for both" if ours_m == theirs.drawn_m else "REACHED BY ONE ALONE"
    if abs(ours_m - theirs.drawn_m) <= max(NEAR_M, NEAR * theirs.drawn_m):
        return "equal"
    return "UNEXPLAINED"


def ends(roads: RoadTable, plain: PlainFile) -> tuple[list[int], list[int]]:
    """Pick nodes: junctions of three roads or more, and ends of ways with a weight, a height, a width on a sign."""
    degree = np.bincount(np.concatenate([roads.from_node, roads.to_node]), minlength=len(roads.node_id))
    chosen = [(roads.node_id[degree > 2], ANYWHERE)]
    for key in LIMIT_KEYS:
        posted = [plain.way_nodes[way] for way, tags in plain.way_tags.items() if sign(tags.get(key, ""))]
        chosen.append((np.unique([nodes[end] for nodes in posted for end in (0, -1)]), BY_A_SIGN))
    random = np.random.default_rng(SEED)

    def pick() -> list[int]:
        picked = [random.choice(among, min(count, len(among)), replace=False) for among, count in chosen if len(among)]
        return [int(node) for node in np.concatenate(picked)]

    return pick(), pick()


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_shortest_ways_under_limits_equal_those_of_another_router(case: Case, tmp_path: Path) -> None:
    """For every load both reach the same places, over ways within a hundredth; what differs has a cause."""
    for_us, for_them = prepare(case.path(), tmp_path)
    other, ours = Routino.of(for_them, tmp_path), world(for_us, RoadRules(bare_weight="tonnes"))
    tally = Tally(PlainFile.read(for_us))
    starts, goals = ends(ours.roads, tally.plain)
    free, turned_away = ours.metres(starts, goals), 0
    texts = {tags[key] for tags in tally.plain.way_tags.values() for key in LIMIT_KEYS if key in tags}
    assert {text for text in texts if sign(text) is None} <= NO_NUMBER
    for load in case.loads:
        metres = ours.metres(starts, goals, load.ours())
        longer = int((metres > free * (1.0 + NEAR)).sum())
        assert (longer > 0) == load.bites, load
        turned_away += longer
        for (i, start), (k, goal) in product(enumerate(starts), enumerate(goals)):
            if start != goal:
                answer = other.route(tally.plain.place[start], tally.plain.place[goal], load)
                tally.take((start, goal), load, float(metres[i, k]), answer)
    print(  # noqa: T201  seen with -s
        f"\n{case.name}: {dict(tally.pairs)}; {turned_away} sent round or stopped by a sign; ours/theirs "
        f"median {np.median(tally.ratios):.6f}, {min(tally.ratios):.4f} to {max(tally.ratios):.4f}",
        *tally.unlike,
        sep="\n",
    )
    assert tally.pairs["equal"] > LEAST_EQUAL
    assert set(tally.pairs) <= AGREED | {NOT_SHORTEST}, tally.unlike
    assert len(tally.unlike) < MOST_UNLIKE * sum(tally.pairs.values())


# ------------------------------------------------------------------ what every traced route obeys


TANKER = Vehicle(gross_lb=42680.0, axle_lb=24000.0, height_ft=10.5, width_ft=8.5, top_mph=60.0)
"""A loaded tanker of 2,000 gal by the weight that stands in where none is given."""
TANKER_LOAD = Load(tonnes=42680.0 / LB_PER_TONNE, height_m=10.5 / FT_PER_M, width_m=8.5 / FT_PER_M)
SITES, ADDRESSES = 5, 25
MILES_TOLERANCE = 0.001


@dataclass(frozen=True)
class Driven:
    """One leg as it is driven: states in order, and the share of each."""

    states: list[int]
    shares: FloatArray


@pytest.mark.parametrize("case", CASES[:3], ids=lambda case: case.name)
def test_every_traced_route_of_a_loaded_tanker_obeys_every_sign_and_its_miles_add_up(
    case: Case, tmp_path: Path
) -> None:
    """Random sites and addresses of the whole file, with the program's own times, turns and gates.

    By the raw tags no stretch is posted below the tanker or driven against its direction, no turn is a forbidden one,
    no locked gate is passed and nobody turns round in the road; each stretch begins where the last one ended; the
    miles are those of the points.
    """
    path = prepare(case.path(), tmp_path)[0] if case.path().suffix == ".pbf" else case.path()
    roads, raw = read_osm(path)[0], Raw.of(PlainFile.read(path))
    found = random_circuits(roads)
    address, site = (part.astype(np.int32) for part in np.nonzero(found.join >= 0))
    assert len(address) > SITES * ADDRESSES / 4
    state_mi = np.repeat(drawn_mi(roads), 2)
    driven, posted = 0, set()
    for legs, search, inward in zip(
        legs_of(found, address, site), (found.outward, found.inward), (False, True), strict=True
    ):
        miles = measure(search, legs, np.repeat(roads.length_m / M_PER_MI, 2)[:, None], inward=inward)[:, 0]
        assert isinstance(search, Search)
        traced = trace(search, legs, inward=inward)
        for k in range(len(address)):
            leg = drive(traced, search, legs, k, inward=inward)
            assert raw.broken(leg.states, roads) == []
            assert miles[k] == pytest.approx(leg.shares @ state_mi[leg.states], rel=MILES_TOLERANCE, abs=1e-9)
            driven += len(leg.states)
            posted |= raw.signs_on(leg.states, roads)
    print(f"\n{case.name}: {2 * len(address)} legs, {driven} stretches, past {sorted(posted)}")  # noqa: T201


def random_circuits(roads: RoadTable) -> Circuits:
    """Find round trips of the tanker, loaded both ways, between random places on roads that it may use."""
    rules = RoadRules()
    limits, _ = limits_of(roads, rules)
    network = build_network(roads, limits, rules, node_delay_min(roads))
    fleet = Fleet.of(network, limits, minutes_of(roads, limits, rules, TANKER.top_mph), TANKER)
    random = np.random.default_rng(SEED)
    rows = np.unique(np.flatnonzero(fleet.usable) >> 1)

    def places(count: int) -> Spots:
        return Spots.of(At(random.choice(rows, count, replace=False).astype(np.int32), random.random(count)))

    turning = Turning(turnaround_min=np.zeros(SITES), dump_turn_min=3.0, loop_preference_min=1.0)
    return circuits(fleet, fleet, places(SITES), places(ADDRESSES), turning)


def drawn_mi(roads: RoadTable) -> FloatArray:
    """Measure each stretch along its points again, miles."""
    spans = pairwise(roads.coord_start.tolist())
    return np.array([WGS84.line_length(roads.coord_lon[a:b], roads.coord_lat[a:b]) for a, b in spans]) / M_PER_MI


def drive(traced: Traced, search: Search, legs: Legs, k: int, *, inward: bool) -> Driven:
    """Put one traced leg in the order of driving; both ends are driven in part."""
    rows = traced.forest.walk(int(traced.leaf[k]))
    rows = rows if inward else rows[::-1]
    states = [2 * int(traced.forest.segment[row]) + (not traced.forest.forward[row]) for row in rows]
    at_site = float(search.spots.driven.ravel()[legs.row[k]])
    at_house = float(legs.driven[k])
    shares = np.ones(len(states))
    shares[-1] = at_site if inward else at_house
    shares[0] -= at_house if inward else at_site
    return Driven(states, shares)


@dataclass(frozen=True)
class Raw:
    """The file's own tags, asked what a route breaks."""

    plain: PlainFile
    turns: Turns

    @classmethod
    def of(cls, plain: PlainFile) -> Raw:
        """Keep a file and its turn restrictions."""
        return cls(plain, Turns.of(plain))

    def broken(self, states: list[int], roads: RoadTable) -> list[str]:
        """List what a route breaks; nothing, if all is well."""
        faults = [fault for state in states for fault in self._on(state, roads)]
        for one, other in pairwise(states):
            faults += self._between(one, other, roads)
        return faults

    def signs_on(self, states: list[int], roads: RoadTable) -> set[str]:
        """List the signs along a route."""
        return {f"{key}={self.plain.way_tags[way][key]}" for way in roads.way_id[np.array(states) >> 1].tolist()
                for key in LIMIT_KEYS if key in self.plain.way_tags[way]}  # fmt: skip

    def _on(self, state: int, roads: RoadTable) -> Iterator[str]:
        way = int(roads.way_id[state >> 1])
        tags = self.plain.way_tags[way]
        if any(stops(tags, TANKER_LOAD)):
            yield f"way {way} stops it: {tags}"
        if directions(tags, 0, 1) == [(0, 1) if state % 2 else (1, 0)]:
            yield f"way {way} against its direction: {tags}"

    def _between(self, one: int, other: int, roads: RoadTable) -> Iterator[str]:
        head = (roads.to_node, roads.from_node)[one % 2][one >> 1]
        tail = (roads.from_node, roads.to_node)[other % 2][other >> 1]
        if head != tail:
            yield f"a jump from state {one} to state {other}"
        node, ways = int(roads.node_id[head]), roads.way_id[[one >> 1, other >> 1]].tolist()
        if one != other ^ 1 and self.turns.forbids(ways[0], node, ways[1]):
            yield f"a forbidden turn at node {node}: way {ways[0]} to {ways[1]}"
        tags = self.plain.node_tags[node]
        if one != other ^ 1 and tags.get("locked") == "yes" and "barrier" in tags:
            yield f"a locked gate at node {node}"
        if one == other ^ 1 and tags.get("highway") not in TURNING and self._goes_on(head, one >> 1, roads):
            yield f"a turn in the road at node {node}"

    def _goes_on(self, node: int, row: int, roads: RoadTable) -> bool:
        """Tell whether another road for tankers meets an end of a stretch; what a barrier parts does not meet."""
        touches = (roads.from_node == node) | (roads.to_node == node)
        touches[row] = False
        return any(for_tankers(self.plain.way_tags[int(way)]) for way in roads.way_id[touches])


TURNING = ("turning_circle", "turning_loop", "mini_roundabout")
"""Values of `highway` on a node where a truck turns."""


def test_a_ban_on_turning_round_shuts_no_road_that_goes_on(tmp_path: Path) -> None:
    """No U-turn from a way into itself, at a node where the way goes on: straight on stays open."""
    text = street(3).node(4, -71.999, 44.001)
    text.way(10, [1, 2, 3], {"highway": "tertiary"}).way(11, [2, 4], {"highway": "residential"})
    members = [("way", 10, "from"), ("node", 2, "via"), ("way", 10, "to")]
    text.relation(5, members, {"type": "restriction", "restriction": "no_u_turn"})
    path = text.save(tmp_path)
    assert world(path).metres([1], [3]) == pytest.approx(world(path, turns=False).metres([1], [3]))
