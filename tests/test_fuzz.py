"""Any bytes at all into every reader: an answer or a finding, never anything else; and every row in one place."""

from __future__ import annotations

import functools
import gzip
import io
import json
import tempfile
import zipfile
from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import osmium
import pytest
from hypothesis import given

from preplan.errors import Finding, InputError
from preplan.inputs.district_file import KEYS, read_boundary, read_district
from preplan.inputs.reader import read_inputs
from preplan.inputs.table_file import read_table
from preplan.inputs.table_specs import SPECS
from preplan.plan_inputs import Inputs
from preplan.records import RoadTable
from preplan.roads.barriers import part_at_barriers
from preplan.roads.limits import limits_of
from preplan.roads.network import build_network, restriction_problems
from preplan.roads.source import read_graphml, read_osm
from preplan.roads.speeds import minutes_of, node_delay_min, speed_problems
from preplan.rules import RoadRules
from tests.faults.built import layer, workbook
from tests.faults.graphs import graph_text
from tests.faults.shapes import AROUND, GOOD_POINTS, polygon
from tests.faults.small import TABLES, TOML, SmallDistrict
from tests.fuzzing import SEEDS, by_chance, cases, mutated, mutated_cells, mutated_lines, mutated_xml
from tests.plan_checks import SAMPLE
from tests.shared_data import shared

REAL = ("osm/nh_hudson.osm.bz2", "osm/nm_taos_forest.osm.bz2", "osm/ca_felton.osm.bz2")
"""Real extracts whose pieces are mutated, where they are there."""
PIECE_WAYS = 25
"""Ways of a piece of a road file: small, so that thousands are read in a minute."""


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give one folder for all cases: each overwrites the last."""
    return tmp_path_factory.mktemp("fuzz")


# --------------------------------------------------------------------------- roads


@functools.cache
def pieces() -> tuple[bytes, ...]:
    """Cut small pieces out of road files as XML: the sample's, and real ones where they are there."""
    files = [SAMPLE / "roads.osm.gz"]
    for name in REAL:
        try:
            files.append(shared(*name.split("/")))
        except pytest.skip.Exception:
            continue
    return tuple(piece for file in files for piece in _cut(file))


def _cut(file: Path) -> list[bytes]:
    """Cut a road file into pieces of some ways, the nodes they name, and the relations of those ways."""
    ways: list[str] = []
    nodes: dict[int, str] = {}
    relations: list[str] = []
    things: Iterable[Any] = osmium.FileProcessor(str(file)).with_locations()
    for one in things:
        tags = "".join(f'<tag k="{_safe(tag.k)}" v="{_safe(tag.v)}"/>' for tag in one.tags)
        if one.is_node() and tags:
            nodes[one.id] = f'<node id="{one.id}" version="1" lat="{one.lat}" lon="{one.lon}">{tags}</node>'
        elif one.is_way() and ("highway" in one.tags or len(ways) % 5 == 0):
            refs = "".join(f'<nd ref="{node.ref}"/>' for node in one.nodes)
            own = [
                f'<node id="{n.ref}" version="1" lat="{n.lat}" lon="{n.lon}"/>' for n in one.nodes if n.location.valid()
            ]
            listed = [nodes.get(node.ref, text) for node, text in zip(one.nodes, own, strict=False)]
            ways.append("\n".join([*listed, f'<way id="{one.id}" version="1">{refs}{tags}</way>']))
        elif one.is_relation() and "restriction" in one.tags:
            rows = "".join(
                f'<member type="{_KINDS[m.type]}" ref="{m.ref}" role="{_safe(m.role)}"/>' for m in one.members
            )
            relations.append(f'<relation id="{one.id}" version="1">{rows}{tags}</relation>')
    steps = range(0, min(len(ways), 8 * PIECE_WAYS), PIECE_WAYS)
    head = ['<?xml version="1.0"?>', '<osm version="0.6">']
    return ["\n".join([*head, *ways[at : at + PIECE_WAYS], *relations[:5], "</osm>\n"]).encode() for at in steps]


_KINDS = {"n": "node", "w": "way", "r": "relation"}


def _safe(text: str) -> str:
    return text.replace("&", "&amp;").replace('"', "&quot;").replace("<", "&lt;")


def road_faults(roads: RoadTable) -> list[str]:
    """Name what is not sound of what was read, or of what the rooms behind make of it."""
    rules = RoadRules()
    roads, parted = part_at_barriers(roads, rules.bare_weight)
    limits, problems = limits_of(roads, rules, ())
    limited = {
        name: getattr(limits, name)
        for name in ("max_lb", "max_axle_lb", "max_height_ft", "max_width_ft", "penalty_min")
    }
    network = build_network(roads, limits, rules, node_delay_min(roads))
    minutes = minutes_of(roads, limits, rules, 60.0)
    told = (*parted, *problems, *speed_problems(roads), *restriction_problems(roads))
    holds = {
        "some road": len(roads) > 0,
        "lengths": bool((np.isfinite(roads.length_m) & (roads.length_m >= 0.0)).all()),
        "places": bool((np.abs(roads.coord_lon) <= 180.0).all() and (np.abs(roads.coord_lat) <= 90.0).all()),
        # comparing is false of what is no number
        **{name: bool((values >= 0.0).all()) for name, values in limited.items()},
        "turns": not np.isnan(network.arc_min).any(),
        "minutes": bool((minutes >= 0.0).all()),
        "problems that name their rule": all(problem.rule for problem in told),
    }
    return [name for name, sound in holds.items() if not sound]


def tried(read: Callable[[], object]) -> tuple[object, list[str]]:
    """Read, or take the refusal and name what is wrong with it; anything else that is raised fails the test."""
    try:
        return read(), []
    except InputError as error:
        findings = error.findings
    faults = [] if findings else ["refused without a finding"]
    return None, faults + ["a finding without its file or rule" for one in findings if not (one.file and one.rule)]


@cases(0.5, every=150)
@given(seed=SEEDS)
def test_mutated_road_files(place: Path, seed: int) -> None:
    """Pieces of real extracts with other values, elements and bytes."""
    draw = by_chance(seed)
    path = place / "roads.osm"
    path.write_bytes(mutated_xml(draw.choice(pieces()), draw))
    read, faults = tried(lambda: read_osm(path))
    assert faults == []
    assert not isinstance(read, tuple) or road_faults(read[0]) == []


@functools.cache
def packed(name: str) -> bytes:
    """Pack a piece as the ending of a name says."""
    with tempfile.TemporaryDirectory() as folder:
        source, target = Path(folder) / "roads.osm", Path(folder) / name
        source.write_bytes(pieces()[0])
        if name.endswith(".pbf"):
            with osmium.SimpleWriter(str(target)) as writer:
                for thing in osmium.FileProcessor(str(source)):
                    writer.add(thing)
        else:
            target.write_bytes(gzip.compress(source.read_bytes()))
        return target.read_bytes()


@cases(0.05, every=100)
@given(seed=SEEDS)
def test_mutated_packed_road_files(place: Path, seed: int) -> None:
    """Packed files with other bytes, which hardly ever open, and mutated pieces that are packed whole, which may."""
    draw = by_chance(seed)
    name = draw.choice(("roads.osm.pbf", "roads.osm.gz"))
    path = place / name
    whole = name.endswith(".gz") and draw.random() < 0.8
    path.write_bytes(gzip.compress(mutated_xml(draw.choice(pieces()), draw)) if whole else mutated(packed(name), draw))
    read, faults = tried(lambda: read_osm(path))
    assert faults == []
    assert not isinstance(read, tuple) or road_faults(read[0]) == []


def test_mutations_leave_some_files_to_read(place: Path) -> None:
    """Else what is asked of roads that are read would be asked of none."""
    opened = 0
    for seed in range(40):
        draw = by_chance(seed)
        path = place / "roads.osm.gz"
        path.write_bytes(gzip.compress(mutated_xml(draw.choice(pieces()), draw)))
        opened += isinstance(tried(functools.partial(read_osm, path))[0], tuple)
    assert 4 <= opened <= 36


@cases(0.02, every=60)
@given(seed=SEEDS)
def test_mutated_saved_graphs(place: Path, seed: int) -> None:
    draw = by_chance(seed)
    path = place / "roads.graphml"
    path.write_bytes(mutated_xml(graph_text().replace(b"><", b">\n<"), draw))
    read, faults = tried(lambda: read_graphml(path))
    assert faults == []
    assert not isinstance(read, RoadTable) or road_faults(read) == []


# --------------------------------------------------------------------------- tables


def row_faults(read: Inputs) -> list[str]:
    """Name the tables of which a row is not in exactly one place, and numbers that are none."""
    faults = []
    for role, table in (("addresses", read.addresses), ("hydrants", read.hydrants)):
        out = {one.row for one in read.rejected if one.file.startswith(role)}
        faults += [f"rows of {role}"] * (len(table) + len(out) != read.rows.get(role, 0))
    both = set(read.addresses.row.tolist()) & {r.row for r in read.rejected if r.file.startswith("addresses")}
    faults += [f"row {row} planned and rejected" for row in sorted(both)]
    placed = np.isfinite(read.addresses.lon) & np.isfinite(read.addresses.lat)
    faults += ["an address without its place"] * int((~placed).sum())
    records: tuple[Any, ...] = (*read.sites, *read.stations, *read.units)
    for record in records:
        numbers = [getattr(record, name) for name in record.__slots__]
        faults += [str(record)] * any(not np.isfinite(one) for one in numbers if isinstance(one, float))
    return faults


_HYDRANTS = "hydrant_id,lon,lat,flow_gpm\nh1,-72.01,44.0,500\nh2,-72.02,44.0,AA\nh3,-72.03,44.0,\n"
_CLOSURES = "closure_id,kind,way_id,lon,lat,value,months,note\nc1,max_lb,10,,,20000,11-3,ice\nc2,closed,,-72.0,44,,,\n"
_BUILDING = "Mill Road,dwelling,30,25,20,750,1,7,V,no,no,,,120"
_EVERY_COLUMN = {
    "addresses.csv": "address_id,label,lon,lat,street,occupancy,length_ft,width_ft,height_ft,floor_area_sqft,stories,"
    "occupancy_hazard,construction,exposure,sprinklered,required_gpm,required_gal,driveway_ft\n"
    + "".join(f"G{i},{i} Mill Road,-72.0{i},44.0004,{_BUILDING}\n" for i in range(1, 9)),
    "fill_sites.csv": "site_id,name,kind,lon,lat,fill_gpm,site_gpm,tested,positions,source_id,storage_gal,refill_gpm,"
    "low_gpm,turnaround,lift_ft,needs_engine,months,in_service,connection,notes\n"
    "S1,Pond,draft,-72.0,44.0,900,900,2025-09-01,2,lake,,,,loop,8,yes,4-11,yes,6 in NST,ice\n"
    "S2,Tower,tank,-72.05,44.01,600,600,,1,,50000,20,300,through,,no,,,,\n",
    "stations.csv": "station_id,name,lon,lat,turnout_min,staffed,aid,max_engines,max_tankers\n"
    "H1,Headquarters,-72.02,44.0002,6,no,own,,\nH2,Neighbour,-72.04,44.0,2,yes,automatic,1,1\n",
    "apparatus.csv": "unit_id,station_id,kind,tank_gal,pump_gpm,dump_gpm,intake_gpm,self_fill_gpm,loaded_lb,empty_lb,"
    "axle_lb,height_ft,width_ft,max_mph,portable_tank_gal,usable_fraction,supply_hose_ft,supply_hose_in,in_service\n"
    "E1,H1,engine,1000,1250,,,,38000,28000,22000,10,8.5,55,,,1000,5,yes\nE2,H2,engine,750,1000,,,,,,,,,,,,,,\n"
    "T1,H1,tanker,2000,,1000,1000,,36000,18000,20000,10,8.5,55,2500,0.9,,,yes\n"
    "T2,H2,pumper-tanker,1800,500,,,,,,,,,,,,,,\nT3,H1,tanker,3000,,,,350,,,,,,,,1,,,\n",
    "hydrants.csv": _HYDRANTS,
    "closures.csv": _CLOSURES,
}  # fmt: skip
_FILES = TOML.replace("[roads]", 'hydrants = "hydrants.csv"\nclosures = "closures.csv"\n\n[roads]')


@cases(0.2, every=120)
@given(seed=SEEDS)
def test_mutated_tables(place: Path, seed: int) -> None:
    """Cells, rows, headers and bytes of every table of a district; each column is there."""
    draw = by_chance(seed)
    district = SmallDistrict(toml=_FILES, files=dict(_EVERY_COLUMN))
    for name in draw.sample(sorted(_EVERY_COLUMN), draw.randint(1, 3)):
        text = mutated_cells(_EVERY_COLUMN[name], draw)
        content = text.encode("utf-8", "surrogatepass")
        district.files[name] = mutated(content, draw, 3) if draw.random() < 0.2 else content
    path = district.write(place / "tables")
    read, faults = tried(lambda: read_inputs(path))
    assert faults == []
    assert not isinstance(read, Inputs) or row_faults(read) == []


@cases(0.1, every=250)
@given(seed=SEEDS)
def test_mutated_district_files(place: Path, seed: int) -> None:
    draw = by_chance(seed)
    keys = [key for names in KEYS.values() for key in names]
    text = mutated_lines(_FILES + "[shuttle]\n[required_flow]\n[plan]\n[hydrants]\n", draw, keys, 5)
    content = text.encode()
    path = place / "district.toml"
    path.write_bytes(mutated(content, draw, 2) if draw.random() < 0.3 else content)
    assert tried(lambda: read_district(path))[1] == []


@functools.cache
def table_files() -> dict[str, bytes]:
    """Write one address table in every kind of file."""
    rows = [line.split(",") for line in TABLES["addresses.csv"].splitlines()]
    text = TABLES["addresses.csv"].encode()
    archive = io.BytesIO()
    with zipfile.ZipFile(archive, "w") as packed_file:
        packed_file.writestr("addresses.csv", text)
    points = [(-72.0 - 0.01 * i, 44.0004) for i in range(1, 7)]
    found = {
        "addresses.xlsx": workbook({"addresses": [list(row) for row in rows]}),
        "addresses.csv.gz": gzip.compress(text),
        "addresses.zip": archive.getvalue(),
        "addresses.csv": text.decode().encode("utf-16"),
    }
    with tempfile.TemporaryDirectory() as folder:
        for name in ("addresses.gpkg", "addresses.geojson"):
            layer(Path(folder) / name, points, "EPSG:4326")
            found[name] = (Path(folder) / name).read_bytes()
    return found


@cases(0.1, every=150)
@given(seed=SEEDS)
def test_mutated_table_files(place: Path, seed: int) -> None:
    """Bytes of workbooks, archives, map layers and other dresses of a table."""
    draw = by_chance(seed)
    name = draw.choice(sorted(table_files()))
    path = place / name
    path.write_bytes(mutated(table_files()[name], draw))
    assert tried(lambda: read_table(path, "addresses", name))[1] == []


@cases(0.03, every=100)
@given(seed=SEEDS)
def test_mutated_boundaries(place: Path, seed: int) -> None:
    """A boundary read is a ring of degrees; what is none is refused by its reader's own word for it."""
    draw = by_chance(seed)
    text = json.dumps(draw.choice([polygon(*AROUND), GOOD_POINTS[0], {"type": "FeatureCollection", "features": [
        {"type": "Feature", "properties": {}, "geometry": polygon(*AROUND)}]}]))  # fmt: skip
    (place / "boundary.geojson").write_bytes(mutated(text.encode(), draw, 3))
    district = TOML.replace("[files]", 'boundary = "boundary.geojson"\n\n[files]')
    (place / "bounded.toml").write_text(district, encoding="utf-8")
    notes: list[str] = []
    read, faults = tried(lambda: read_district(place / "bounded.toml"))
    assert faults == []
    if read:
        ring = read_boundary(place / "boundary.geojson", notes)
        assert len(ring) >= 4
        assert (np.abs(ring) <= [180.0, 90.0]).all()


def test_what_is_not_sound_is_named(tmp_path: Path) -> None:
    """Else the questions above would be asked in vain."""
    (tmp_path / "roads.osm").write_bytes(pieces()[0])
    roads = read_osm(tmp_path / "roads.osm")[0]
    assert road_faults(roads) == []
    assert "lengths" in road_faults(replace(roads, length_m=-roads.length_m))
    assert road_faults(replace(roads, coord_lat=roads.coord_lat + 90.0)) == ["places"]
    read = read_inputs(SmallDistrict().write(tmp_path / "small"))
    assert row_faults(read) == []
    assert row_faults(replace(read, rows={**read.rows, "addresses": 99})) == ["rows of addresses"]
    unit = replace(read.units[0], tank_gal=np.nan)
    assert row_faults(replace(read, units=(unit, *read.units[1:]))) == [str(unit)]

    def refused() -> None:
        raise InputError([Finding(file="", rule="a rule", remedy="none")])

    assert tried(refused) == (None, ["a finding without its file or rule"])


def test_every_table_is_fuzzed() -> None:
    assert {name.removesuffix(".csv") for name in _EVERY_COLUMN} >= {role for role in SPECS if role in _FILES}
