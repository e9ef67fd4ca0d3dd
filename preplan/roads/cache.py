"""The prepared roads, kept between runs as data: one file of plain arrays, never a pickle.

Texts are UTF-8 bytes with offsets, tags are JSON, all inside one NumPy archive, which checks every member by its
CRC. A file that is damaged, foreign, of another format or of other roads reads as None.
"""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
import tokenize
import zipfile
import zlib
from collections.abc import Mapping, Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from preplan.records import FeatureTable, FloatArray, RoadTable, TextArray, TurnRestriction, text_array

FORMAT = "preplan roads 7"
"""Changes whenever what is stored changes, or what the reader makes of a road file."""
_FILE = "roads.npz"
_ARRAYS = {
    "way_id": np.int64, "from_node": np.int32, "to_node": np.int32, "length_m": np.float64, "tag_row": np.int32,
    "coord_start": np.int32, "coord_lon": np.float64, "coord_lat": np.float64,
    "node_id": np.int64, "node_lon": np.float64, "node_lat": np.float64, "node_cut": np.bool_,
}  # fmt: skip
_TEXTS = ("name", "ref", "highway")
_SHAPES = ("building_rings", "water_rings", "island_rings", "stream_lines", "coast_lines")
_FEATURE_ARRAYS = ("hydrant_lonlat", "island_water")
_DAMAGED = (
    OSError, ValueError, KeyError, TypeError, EOFError, NotImplementedError, MemoryError, SyntaxError,
    tokenize.TokenError, zipfile.BadZipFile, zlib.error,
)  # fmt: skip
"""What reading a damaged archive was seen to raise, or may."""

_Stored = Mapping[str, npt.NDArray[Any]]


def key_of(path: Path, salt: str) -> str:
    """Name the content of a road file: SHA-256 of its bytes, of the format kept here, and of a salt."""
    with path.open("rb") as file:
        content = hashlib.file_digest(file, "sha256").hexdigest()
    return hashlib.sha256(f"{FORMAT}\n{content}\n{salt}".encode()).hexdigest()


def save(folder: Path, key: str, roads: RoadTable, features: FeatureTable) -> None:
    """Keep the prepared roads in a folder, in place of what was kept there; whole or not at all.

    Raises
    ------
    OSError
        If the folder cannot be written; what was kept before is intact.
    """
    folder.mkdir(parents=True, exist_ok=True)
    stored = {"format": _bytes(FORMAT), "key": _bytes(key), **_pack_roads(roads), **_pack_features(features)}
    handle, name = tempfile.mkstemp(dir=folder, prefix=f".{_FILE}.")
    temporary = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            np.savez(file, allow_pickle=False, **stored)
        temporary.replace(folder / _FILE)
    finally:
        temporary.unlink(missing_ok=True)


def load(folder: Path, key: str) -> tuple[RoadTable, FeatureTable] | None:
    """Read the roads kept in a folder; None where there are none, or not whole, or not those of the key."""
    try:
        with (folder / _FILE).open("rb") as file, np.load(file, allow_pickle=False) as archive:
            if _text(archive["format"]) != FORMAT or _text(archive["key"]) != key:
                return None
            stored = {name: archive[name] for name in archive.files}
        roads, features = _unpack_roads(stored), _unpack_features(stored)
    except _DAMAGED:
        return None
    return (roads, features) if _fits(roads) else None


def _pack_roads(roads: RoadTable) -> dict[str, npt.NDArray[Any]]:
    stored: dict[str, npt.NDArray[Any]] = {name: getattr(roads, name) for name in _ARRAYS}
    for name in _TEXTS:
        stored |= _pack_texts(name, getattr(roads, name))
    stored["way_tags"] = _json([dict(tags) for tags in roads.way_tags])
    stored["node_tags"] = _json([[node, dict(tags)] for node, tags in roads.node_tags.items()])
    stored["restrictions"] = _json(
        [[r.relation_id, r.kind, r.from_way, r.to_way, r.via_node, r.via_ways, r.exempt] for r in roads.restrictions]
    )
    stored["newest"] = _bytes(roads.newest)
    return stored


def _unpack_roads(stored: _Stored) -> RoadTable:
    columns: dict[str, Any] = {name: stored[name].astype(of, casting="no", copy=False) for name, of in _ARRAYS.items()}
    columns |= {name: _unpack_texts(name, stored) for name in _TEXTS}
    return RoadTable(
        **columns,
        way_tags=tuple(json.loads(_text(stored["way_tags"]))),
        node_tags={int(node): tags for node, tags in json.loads(_text(stored["node_tags"]))},
        restrictions=tuple(
            TurnRestriction(
                relation_id=relation, kind=kind, from_way=start, to_way=end, via_node=node,
                via_ways=tuple(ways), exempt=tuple(exempt),
            )
            for relation, kind, start, end, node, ways, exempt in json.loads(_text(stored["restrictions"]))
        ),
        newest=_text(stored["newest"]),
    )  # fmt: skip


def _pack_features(features: FeatureTable) -> dict[str, npt.NDArray[Any]]:
    stored: dict[str, npt.NDArray[Any]] = {name: getattr(features, name) for name in _FEATURE_ARRAYS}
    for name in _SHAPES:
        shapes: Sequence[FloatArray] = getattr(features, name)
        stored[name] = np.concatenate([np.empty((0, 2)), *shapes])
        stored[f"{name}.start"] = _starts([len(shape) for shape in shapes])
    return stored


def _unpack_features(stored: _Stored) -> FeatureTable:
    fields: dict[str, Any] = {name: stored[name] for name in _FEATURE_ARRAYS}
    for name in _SHAPES:
        starts = stored[f"{name}.start"].tolist()
        fields[name] = tuple(stored[name][start:stop] for start, stop in pairwise(starts))
    return FeatureTable(**fields)


def _pack_texts(name: str, texts: TextArray) -> dict[str, npt.NDArray[Any]]:
    encoded = [text.encode() for text in texts]
    return {name: _bytes(b"".join(encoded)), f"{name}.start": _starts([len(text) for text in encoded])}


def _unpack_texts(name: str, stored: _Stored) -> TextArray:
    everything, starts = stored[name].tobytes(), stored[f"{name}.start"].tolist()
    return text_array([everything[start:stop].decode() for start, stop in pairwise(starts)])


def _fits(roads: RoadTable) -> bool:
    """Tell whether the columns belong together: one length, and no index beyond its table."""
    count, nodes = len(roads), len(roads.node_id)
    columns = (roads.from_node, roads.to_node, roads.tag_row, roads.length_m, roads.name, roads.ref, roads.highway)
    of_nodes = (roads.node_lon, roads.node_lat, roads.node_cut)
    indices = ((roads.from_node, nodes), (roads.to_node, nodes), (roads.tag_row, len(roads.way_tags)))
    return (
        all(len(column) == count for column in columns)
        and all(len(column) == nodes for column in of_nodes)
        and all(np.all((index >= 0) & (index < size)) for index, size in indices)
        and len(roads.coord_start) == count + 1
        and len(roads.coord_lon) == len(roads.coord_lat) == int(roads.coord_start[-1])
        and bool(np.all(np.diff(roads.coord_start) >= 0))
    )


def _starts(lengths: list[int]) -> npt.NDArray[np.int64]:
    return np.concatenate([[0], np.cumsum(lengths)]).astype(np.int64)


def _json(value: list[Any]) -> npt.NDArray[np.uint8]:
    return _bytes(json.dumps(value, ensure_ascii=False, separators=(",", ":")))


def _bytes(text: str | bytes) -> npt.NDArray[np.uint8]:
    return np.frombuffer(text if isinstance(text, bytes) else text.encode(), dtype=np.uint8)


def _text(stored: npt.NDArray[Any]) -> str:
    return stored.tobytes().decode()
