"""The national grid against published pairs of coordinates and grid references."""

from __future__ import annotations

import math

import pytest

from preplan.render.us_grid import grid_words


@pytest.mark.parametrize(
    ("lat", "lon", "reference"),
    [
        # published converter output in the tests of open-source converters of this grid, cut to 10 m
        (35.028056, -111.023333, "12S VD 9787 7615"),
        (38.897778, -77.036389, "18S UJ 2340 0740"),
        (55.751667, 37.617778, "37U DB 1324 7930"),
        (40.7128, -74.006, "18T WL 8395 0735"),
        (38.8895, -77.0352, "18S UJ 2348 0648"),
        (-45.0, -70.0, "19G DL 2118 1656"),
        (78.2, 15.6, "33X WG 1369 8076"),
        (48.24949, 16.41450, "33U XP 0500 4499"),
        # the worked example of an encyclopaedia's article on the grid: 4Q FJ 1234 6789, a touch inside the square
        (21.409842, -157.916081 + 5e-7, "4Q FJ 1234 6789"),
    ],
)
def test_grid_is_the_published_one(lat: float, lon: float, reference: str) -> None:
    assert grid_words(lon, lat) == reference


@pytest.mark.parametrize(("lon", "lat"), [(0.0, 85.0), (0.0, -81.0), (math.nan, 44.0), (-72.0, math.nan)])
def test_where_there_is_no_grid_nothing_is_said(lon: float, lat: float) -> None:
    assert grid_words(lon, lat) == ""


def test_every_band_and_column_has_a_letter() -> None:
    for lat in range(-80, 84):
        for lon in range(-180, 180, 2):
            zone, square, east, north = grid_words(lon + 0.1, lat + 0.1).split()
            assert 2 <= len(zone) <= 3
            assert square.isalpha()
            assert "I" not in zone[-1] + square
            assert "O" not in zone[-1] + square
            assert (len(east), len(north)) == (4, 4)
