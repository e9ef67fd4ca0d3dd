"""Driving on the left is told once, where it is known, and never elsewhere."""

from __future__ import annotations

from pathlib import Path

import pytest

from preplan.roads.driving_side import side_problems
from tests.osm_text import street


@pytest.mark.parametrize(
    ("lon", "lat", "tags", "told"),
    [
        (-64.75, 18.33, {}, True),  # St John
        (-1.5, 52.5, {}, True),
        (1.6, 50.7, {}, False),  # Boulogne
        (-72.0, 44.0, {}, False),
        (-72.0, 44.0, {"driving_side": "left"}, True),
        (-66.1, 18.2, {}, False),  # Puerto Rico
    ],
)
def test_left_is_told_by_place_or_by_tag(
    tmp_path: Path, lon: float, lat: float, tags: dict[str, str], told: bool
) -> None:
    town = street(3, lon=lon, lat=lat).way(10, [1, 2], {"highway": "tertiary"})
    found = side_problems(town.way(11, [2, 3], {"highway": "tertiary"} | tags).roads(tmp_path))
    way = "way 11" if tags else "way 10"
    assert [(one.code, one.osm_id) for one in found] == ([("keeps left", way)] if told else [])
