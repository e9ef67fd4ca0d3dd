"""Whole districts with anything in them, through the whole command: pages or findings, and no page of nonsense."""

from __future__ import annotations

import csv
import io
import json
import os
import random
import shutil
import warnings
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given

from preplan.build import Built, build_district
from preplan.errors import InputError
from preplan.inputs.district_file import KEYS
from tests.faults.pages import NOT_NUMBERS, not_numbers
from tests.faults.small import SmallDistrict
from tests.fuzzing import NASTY, SEEDS, by_chance, cases, mutated_cells, mutated_lines
from tests.test_fuzz import _EVERY_COLUMN as EVERY_COLUMN
from tests.test_fuzz import _FILES as FILES

TAGS = (
    "highway", "name", "ref", "oneway", "maxspeed", "maxweight", "maxheight", "maxwidth", "maxaxleload", "access",
    "motor_vehicle", "hgv", "bridge", "surface", "smoothness", "tracktype", "width", "lanes", "junction", "service",
    "access:conditional", "maxweight:conditional", "maxspeed:forward", "seasonal", "barrier", "locked", "ford",
)  # fmt: skip
VALUES = (
    *NASTY, "motorway", "primary", "residential", "track", "service", "living_street", "-1", "30 mph", "50", "3 st",
    "10", "private", "destination", "permit", "roundabout", "gate", "gravel", "impassable", "grade5", "driveway",
)  # fmt: skip


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Give one folder for all cases, on a disk that nobody waits for: lasting through a power cut is tested apart."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(os, "fsync", lambda _handle: None)
        yield tmp_path_factory.mktemp("whole")


def some_district(draw: random.Random) -> SmallDistrict:
    """Change tables, rules, tags and the course of the roads of the small district, a little of each."""
    district = SmallDistrict(toml=FILES, files=dict(EVERY_COLUMN))
    for name in draw.sample(sorted(EVERY_COLUMN), draw.randint(0, 2)):
        district.files[name] = mutated_cells(EVERY_COLUMN[name], draw, 2)
    if draw.random() < 0.5:
        keys = [key for names in KEYS.values() for key in names]
        district.toml = mutated_lines(FILES, draw, keys, 1)
    if draw.random() < 0.4:
        table = draw.choice(("shuttle", "required_flow", "plan", "hydrants", "apparatus", "cards"))
        district.toml += f"[{table}]\n{draw.choice(KEYS[table])} = {draw.choice(RULE_VALUES)}\n"
    for tags in (district.mill_road, district.tower_lane):
        for key in draw.sample(TAGS, draw.randint(0, 3)):
            tags[key] = _in_xml(draw.choice(VALUES))
    _more_roads(district, draw)
    return district


RULE_VALUES = (
    "0", "0.1", "0.5", "1", "2", "5", "20", "50", "100", "150", "1000", "100000", "900000000", "true", "false",
    '"method"', '"given"', '"iso"', '"iowa"', '"nfa"', '"address"', '"4-11"', '"7"', "[[0, 0]]", "[[500, 250]]",
)  # fmt: skip


def _more_roads(district: SmallDistrict, draw: random.Random) -> None:
    """Draw further ways among the nodes there are and some near them, and a turn restriction or two."""
    for i in range(draw.randint(0, 4)):
        near = (-72.0 - 0.1 * draw.random(), 44.0 + 0.02 * draw.random() - 0.01)
        lon, lat = draw.choice([near, near, (-72.0, 44.0), (180.0, -90.0), (-72.05, 44.0)])
        tags = {draw.choice(TAGS): _in_xml(draw.choice(VALUES))} if draw.random() < 0.4 else {}
        district.roads.node(30 + i, round(lon, 7), round(lat, 7), **{k.replace(":", "__"): v for k, v in tags.items()})
    for i in range(draw.randint(0, 4)):
        nodes = [draw.choice([*range(1, 11), 20, *range(30, 35), 99]) for _ in range(draw.randint(1, 5))]
        tags = {"highway": "residential"} | {draw.choice(TAGS): _in_xml(draw.choice(VALUES)) for _ in "ab"}
        district.roads.way(50 + i, nodes, tags)
    for i in range(draw.randint(0, 2)):
        members = [("way", draw.choice((10, 11, 50, 51)), "from"), ("node", draw.randint(1, 10), "via"),
                   ("way", draw.choice((10, 11, 50, 51)), "to")]  # fmt: skip
        kind = draw.choice(("no_left_turn", "no_u_turn", "only_straight_on", "no_entry", "x"))
        district.roads.relation(70 + i, members, {"type": "restriction", "restriction": kind})


def _in_xml(text: str) -> str:
    """Leave out what XML cannot hold, so that the roads are read; broken files have tests of their own."""
    return "".join(one for one in text if one.isprintable() or one in "\u202e\ufeff\u2028")[:200]


def built(district: Path, out: Path) -> Built | None:
    """Build with every page, or take the findings; warnings and everything else that is raised fail the test."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            return build_district(district, out, lambda _stage, _share: None)
        except InputError as error:
            findings = error.findings
    assert findings
    assert all(one.file and one.rule for one in findings)
    assert not out.exists()
    return None


@cases(0.03, every=70)
@given(seed=SEEDS)
def test_any_district_gives_pages_or_findings(place: Path, seed: int) -> None:
    draw = by_chance(seed)
    out = place / "out"
    for folder in (out, place / "out.cache", place / "district"):
        shutil.rmtree(folder, ignore_errors=True)
    district = some_district(draw)
    done = built(district.write(place / "district"), out)
    if done is None:
        return
    for account in done.accounts.values():
        assert sum(account.values()) == 2 * account["rows"], "each row in exactly one place"
    files = {path.relative_to(out).as_posix(): path.read_bytes() for path in out.rglob("*") if path.is_file()}
    rows = list(csv.DictReader(io.StringIO(files["addresses.csv"].decode())))
    assert len(rows) == sum(json.loads(files["run.json"])["counts"]["status"].values())
    written = "".join(path.read_text(encoding="utf-8", errors="replace") for path in district_files(place))
    # what somebody wrote may stand on a page: only numbers that none wrote are nonsense
    pages = files if not NOT_NUMBERS.search(written) else {k: v for k, v in files.items() if k in PLAIN_TABLES}
    assert not_numbers(pages) == []


PLAIN_TABLES = ("addresses.csv", "levels.csv", "trips.csv")
"""Tables whose columns of other people's texts are known by name."""


def district_files(place: Path) -> list[Path]:
    return [path for path in (place / "district").iterdir() if path.is_file()]
