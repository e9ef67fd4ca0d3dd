"""The kept roads: what comes back is what was put in, and anything doubtful is nothing."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import fields, replace
from io import BytesIO
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

from preplan.records import FeatureTable, RoadTable, TurnRestriction
from preplan.roads import cache
from preplan.roads.cache import key_of, load, save
from tests.road_builder import draw
from tests.shared_data import shared

ROADS = draw(
    {"a": (0, 0), "b": (500, 0), "c": (500, 400)},
    [
        ("a", "b", {"name": "Chemin de l'\u00c9glise", "ref": "US 2;VT 114", "maxweight": "3 st"}),
        ("b", "c", {"highway": "track", "via": [(510, 100), (490, 200)]}),
    ],
    cut=["c"],
    node_tags={"b": {"barrier": "gate", "note": "\u2603"}},
    restrictions=(
        TurnRestriction(relation_id=9, kind="no_left_turn", from_way=101, to_way=102, via_node=2),
        TurnRestriction(
            relation_id=10, kind="no_u_turn", from_way=101, to_way=101, via_node=None, via_ways=(102,), exempt=("hgv",)
        ),
    ),
).roads
ROADS = replace(ROADS, newest="2026-05-01")
FEATURES = FeatureTable(
    building_rings=(np.array([[0.0, 0], [1, 0], [1, 1], [0, 0]]), np.array([[5.0, 5], [6, 5], [5, 5]])),
    water_rings=(np.array([[2.0, 2], [3, 2], [2, 2]]),),
    island_rings=(np.array([[2.1, 2], [2.2, 2], [2.1, 2]]),),
    island_water=np.array([0], dtype=np.int32),
    coast_lines=(np.array([[4.0, 2], [4.2, 2], [4.1, 3]]),),
    hydrant_lonlat=np.array([[-72.0, 44.5]]),
)


def same(one: object, other: object) -> bool:
    """Compare records field by field, arrays with their types."""
    if isinstance(one, np.ndarray):
        return isinstance(other, np.ndarray) and one.dtype == other.dtype and np.array_equal(one, other)
    if isinstance(one, RoadTable | FeatureTable):
        return all(same(getattr(one, of.name), getattr(other, of.name)) for of in fields(one))
    if isinstance(one, tuple):
        return isinstance(other, tuple) and len(one) == len(other) and all(map(same, one, other))
    if isinstance(one, Mapping):
        return isinstance(other, Mapping) and dict(one) == dict(other)
    return one == other


@pytest.mark.parametrize("features", [FEATURES, FeatureTable()])
def test_what_was_kept_comes_back(tmp_path: Path, features: FeatureTable) -> None:
    save(tmp_path / "new" / "folder", "key", ROADS, features)
    kept = load(tmp_path / "new" / "folder", "key")
    assert kept is not None
    assert same(kept[0], ROADS)
    assert same(kept[1], features)


def test_another_key_or_an_empty_folder_is_nothing(tmp_path: Path) -> None:
    assert load(tmp_path, "key") is None
    save(tmp_path, "key", ROADS, FEATURES)
    assert load(tmp_path, "other key") is None
    assert load(tmp_path / "elsewhere", "key") is None


def test_another_format_is_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    save(tmp_path, "key", ROADS, FEATURES)
    monkeypatch.setattr(cache, "FORMAT", "preplan roads 0")
    assert load(tmp_path, "key") is None


def test_saving_again_replaces_and_leaves_nothing_beside(tmp_path: Path) -> None:
    save(tmp_path, "key", ROADS, FEATURES)
    save(tmp_path, "key 2", ROADS, FeatureTable())
    assert len(list(tmp_path.iterdir())) == 1
    assert load(tmp_path, "key") is None
    kept = load(tmp_path, "key 2")
    assert kept is not None
    assert kept[1].building_rings == ()


def test_equal_roads_are_kept_as_equal_bytes(tmp_path: Path) -> None:
    for name in ("one", "two"):
        save(tmp_path / name, "key", ROADS, FEATURES)
    (one,), (two,) = ((tmp_path / name).iterdir() for name in ("one", "two"))
    assert one.read_bytes() == two.read_bytes()


def test_a_failed_save_leaves_what_was_there(tmp_path: Path) -> None:
    save(tmp_path, "key", ROADS, FEATURES)
    broken = replace(ROADS, name=np.array([None, 3], dtype=np.object_))
    with pytest.raises(AttributeError):
        save(tmp_path, "key", broken, FEATURES)
    assert load(tmp_path, "key") is not None
    assert len(list(tmp_path.iterdir())) == 1


def test_a_damaged_file_is_nothing_or_whole(tmp_path: Path) -> None:
    """Flip one bit anywhere, or cut the file short: what is read is right or None, and nothing is raised."""
    save(tmp_path, "key", ROADS, FEATURES)
    (file,) = tmp_path.iterdir()
    whole = file.read_bytes()
    rng = np.random.default_rng(3)
    lost = 0
    for position in rng.integers(0, len(whole), 150).tolist():
        broken = bytearray(whole)
        broken[position] ^= 1 << int(rng.integers(8))
        file.write_bytes(broken)
        kept = load(tmp_path, "key")
        lost += kept is None
        assert kept is None or (same(kept[0], ROADS) and same(kept[1], FEATURES))
    assert lost > 75
    for length in rng.integers(0, len(whole) - 1, 20).tolist():
        file.write_bytes(whole[:length])
        assert load(tmp_path, "key") is None


def test_a_file_of_another_kind_is_nothing(tmp_path: Path) -> None:
    save(tmp_path, "key", ROADS, FEATURES)
    (file,) = tmp_path.iterdir()
    array = BytesIO()
    np.save(array, np.arange(3))
    for content in (array.getvalue(), b"", b"PK\x03\x04", b"\x93NUMPY\x01\x00", json.dumps({"key": "key"}).encode()):
        file.write_bytes(content)
        assert load(tmp_path, "key") is None


def changed(file: Path, **members: npt.NDArray[np.generic]) -> None:
    """Write a kept file again with some members changed."""
    with np.load(file) as archive:
        stored = {name: archive[name] for name in archive.files}
    with file.open("wb") as out:
        np.savez(out, allow_pickle=True, **(stored | members))


@pytest.mark.parametrize(
    "member",
    [
        {"from_node": np.array([0, 99], dtype=np.int32)},
        {"to_node": np.array([0, -1], dtype=np.int32)},
        {"tag_row": np.array([0, 2], dtype=np.int32)},
        {"length_m": np.array([1.0])},
        {"length_m": np.array([1.0, 2.0], dtype=np.float32)},
        {"coord_start": np.array([0, 2, 7], dtype=np.int32)},
        {"node_lon": np.array([1.0])},
        {"way_tags": np.frombuffer(b"[", dtype=np.uint8)},
        {"name": np.array(["a", "b"], dtype=np.object_)},
    ],
)
def test_a_file_that_contradicts_itself_or_holds_a_pickle_is_nothing(
    tmp_path: Path, member: dict[str, npt.NDArray[np.generic]]
) -> None:
    save(tmp_path, "key", ROADS, FEATURES)
    (file,) = tmp_path.iterdir()
    changed(file)
    assert load(tmp_path, "key") is not None
    changed(file, **member)
    assert load(tmp_path, "key") is None


def test_the_key_follows_content_and_salt_not_the_name(tmp_path: Path) -> None:
    one, two = tmp_path / "one.osm", tmp_path / "two.osm"
    one.write_bytes(b"roads")
    two.write_bytes(b"roads")
    assert key_of(one, "v1") == key_of(two, "v1")
    assert key_of(one, "v1") != key_of(one, "v2")
    two.write_bytes(b"roads!")
    assert key_of(one, "v1") != key_of(two, "v1")


def test_a_real_county_is_read_back_whole(tmp_path: Path) -> None:
    from preplan.roads.source import read_osm

    roads, features = read_osm(shared("districts", "vt_essex_south", "roads.osm.bz2"))
    save(tmp_path, "key", roads, features)
    kept = load(tmp_path, "key")
    assert kept is not None
    assert same(kept[0], roads)
    assert same(kept[1], features)
