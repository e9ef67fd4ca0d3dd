"""Tables that lie elsewhere than the others: signs, exchanged numbers, one point, and what is only noted."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from preplan.errors import InputError
from preplan.inputs.reader import read_inputs
from tests.inputs_folder import FILES, toml, write_folder

HYDRANTS = toml(files='hydrants = "h.csv"')
BOUNDED = toml(district='boundary = "b.geojson"')


def faults(folder: Path, **changed: str | None) -> list[str]:
    with pytest.raises(InputError) as caught:
        read_inputs(write_folder(folder, **changed))
    return str(caught.value).splitlines()


def ring(*corners: tuple[float, float]) -> str:
    return json.dumps({"type": "Polygon", "coordinates": [[*corners, corners[0]]]})


@pytest.mark.parametrize("role", ["addresses", "fill_sites", "stations"])
def test_a_whole_table_without_its_minus_signs_is_named(tmp_path: Path, role: str) -> None:
    (said,) = faults(tmp_path, **{f"{role}_csv": FILES[f"{role}.csv"].replace("-72", "72")})
    assert said.startswith(f"{role}.csv, column lon: '72.0")
    assert "lacks the minus sign of western longitudes, by " in said
    assert "; write -72.0" in said
    for other in {"addresses", "fill_sites", "stations"} - {role}:
        assert f"{other}.csv" in said


def test_a_district_across_the_180th_meridian_is_told_that_it_cannot_be_planned(tmp_path: Path) -> None:
    """It lacks no minus sign: who wrote one would move a house to the other side."""
    rows = "".join(f"B{k},{k} Mill Road,{-179.99 + 0.001 * k:.3f},44.0\n" for k in range(8))
    table = f"address_id,label,lon,lat\n{rows}B8,8 Mill Road,179.985,44.0\nB9,9 Mill Road,179.99,44.0\n"
    table += "B10,10 Mill Road,179.99,44.0\n"
    said = faults(tmp_path, addresses_csv=table)
    across = [one for one in said if "lies on the other side of the 180th meridian" in one]
    assert len(across) == 3
    assert not any("lacks the minus sign" in one for one in said)


def test_a_whole_table_south_of_the_equator_is_named(tmp_path: Path) -> None:
    (said,) = faults(tmp_path, addresses_csv=FILES["addresses.csv"].replace(",44.", ",-44."))
    assert said.startswith("addresses.csv, column lat: '-44.02' in the middle of the table: has the wrong sign")
    assert said.endswith("write 44.02, and the others likewise, unless it is those that are turned")


@pytest.mark.parametrize(
    ("corners", "remedy"),
    [
        (((43.9, -72.1), (44.1, -72.1), (44.1, -71.9), (43.9, -71.9)), "longitude first"),
        (
            ((72.1, 43.9), (71.9, 43.9), (71.9, 44.1), (72.1, 44.1)),
            "with the other sign of lon: western ones have a minus",
        ),
    ],
)
def test_a_boundary_that_holds_no_address(
    tmp_path: Path, corners: tuple[tuple[float, float], ...], remedy: str
) -> None:
    (said,) = faults(tmp_path, district_toml=BOUNDED, b_geojson=ring(*corners))
    assert said.startswith("b.geojson: holds none of the 3 addresses: it reaches from lon ")
    assert said.endswith(remedy)


def test_a_boundary_of_another_place_is_noted(tmp_path: Path) -> None:
    elsewhere = ring((-73.1, 43.9), (-73.0, 43.9), (-73.0, 44.1), (-73.1, 44.1))
    (note,) = read_inputs(write_folder(tmp_path, district_toml=BOUNDED, b_geojson=elsewhere)).notes
    assert note.startswith("b.geojson: holds none of the 3 addresses: it reaches from lon -73.1, lat 43.9 to lon -73")


def test_a_boundary_that_holds_some_address_is_no_fault(tmp_path: Path) -> None:
    around = ring((-72.015, 43.9), (-71.9, 43.9), (-71.9, 44.1), (-72.015, 44.1))
    (note,) = read_inputs(write_folder(tmp_path, district_toml=BOUNDED, b_geojson=around)).notes
    assert note.startswith("b.geojson: 2 of the 3 addresses lie outside it and are planned all the same")
    whole = ring((-72.1, 43.9), (-71.9, 43.9), (-71.9, 44.1), (-72.1, 44.1))
    assert read_inputs(write_folder(tmp_path, district_toml=BOUNDED, b_geojson=whole)).notes == ()


def test_addresses_of_several_streets_on_one_point_are_asked_about(tmp_path: Path) -> None:
    """A search for addresses gives the middle of a town for those that it does not know."""
    rows = [f"B{i},{i} {'Mill' if i % 2 else 'Elm'} Road,-72.0101,44.0101" for i in range(1, 6)]
    rows += [f"C{i},{i} Oak Road,-72.0{i}11,44.0111" for i in range(1, 6)]
    notes = read_inputs(write_folder(tmp_path, addresses_csv="\n".join(["address_id,label,lon,lat", *rows]))).notes
    assert (
        sum("'-72.0101, 44.0101' is the place of 5 addresses of 2 streets, '1 Mill Road' among" in n for n in notes)
        == 1
    )
    one_street = [row.replace("Elm", "Mill") for row in rows]  # a house of five flats
    table = "\n".join(["address_id,label,lon,lat", *one_street])
    assert not any("is the place of" in note for note in read_inputs(write_folder(tmp_path, addresses_csv=table)).notes)


@pytest.mark.parametrize(
    ("lon", "said"),
    [
        ("72.01", "bridges.csv, column lon: '72.01' in the middle of the table: lacks the minus sign of western"),
        ("-75.01", "bridges.csv, column lon, lat: none of the 1 bridges lies within 50 mi of any address, so none"),
    ],
)
def test_bridges_that_lie_elsewhere_are_told(tmp_path: Path, lon: str, said: str) -> None:
    """Beyond the mapped roads none is used, so one that is closed was driven over."""
    table = f"bridge_id,lon,lat,status\nB,{lon},44.01,K\n"
    path = write_folder(tmp_path, district_toml=toml(files='bridges = "bridges.csv"'), bridges_csv=table)
    try:
        notes = list(read_inputs(path).notes)
    except InputError as error:
        notes = [str(one) for one in error.findings]
    assert any(note.startswith(said) for note in notes)


def test_addresses_far_from_all_else_are_a_fault(tmp_path: Path) -> None:
    """Feet of a grid that were taken for metres lie 780 mi off; the run stopped at the roads and doubted them."""
    (said,) = faults(tmp_path, addresses_csv=FILES["addresses.csv"].replace(",-72.", ",-56."))
    assert said.startswith(
        "addresses.csv, column lon, lat: '-56.02, 44.02' in the middle of the table: lies over 150 mi"
    )
    assert "from every place of fill_sites.csv and stations.csv; is a map layer's coordinate system" in said


def test_few_fill_sites_of_two_decimals_are_asked_about(tmp_path: Path) -> None:
    """A district has four ponds where it has hundreds of addresses; off by half a mile they lie on other roads."""
    rows = [f"S{i},Pond {i},draft,-72.0{i},44.0{i}" for i in range(1, 5)]
    table = "\n".join(["site_id,name,kind,lon,lat", *rows])
    (note,) = [n for n in read_inputs(write_folder(tmp_path, fill_sites_csv=table)).notes if "decimals" in n]
    assert note.startswith("fill_sites.csv, column lon, lat: no place here has more than 2 decimals")


def test_places_of_two_decimals_are_asked_about(tmp_path: Path) -> None:
    rows = [f"B{i},{i} Mill Road,-72.0{i % 9 + 1},44.0{i % 7 + 1}" for i in range(1, 13)]
    table = "\n".join(["address_id,label,lon,lat", *rows])
    (note,) = [n for n in read_inputs(write_folder(tmp_path, addresses_csv=table)).notes if "decimals" in n]
    assert "addresses.csv, column lon, lat: no place here has more than 2 decimals of a degree, some 3,643 ft" in note
    three = table.replace("-72.01,", "-72.012,")
    (note,) = [n for n in read_inputs(write_folder(tmp_path, addresses_csv=three)).notes if "decimals" in n]
    assert "more than 3 decimals of a degree, some 364 ft" in note
    finer = table.replace("-72.01,", "-72.0123,")
    assert not any("decimals" in n for n in read_inputs(write_folder(tmp_path, addresses_csv=finer)).notes)


def test_addresses_all_on_one_point_are_no_plan(tmp_path: Path) -> None:
    rows = [f"B{i},{i} Mill Road,-72.01,44.01" for i in range(1, 21)]
    (said,) = faults(tmp_path, addresses_csv="\n".join(["address_id,label,lon,lat", *rows]))
    assert said.startswith(
        "addresses.csv, column lon, lat: '-72.01, 44.01' is the place of all 20 addresses; give each"
    )
    rows[0] = rows[0].replace("72.01", "72.02")
    assert len(
        read_inputs(write_folder(tmp_path, addresses_csv="\n".join(["address_id,label,lon,lat", *rows]))).addresses
    )


def test_hydrants_of_another_place_are_noted(tmp_path: Path) -> None:
    head = "hydrant_id,lon,lat,class\n"
    read = read_inputs(write_folder(tmp_path, district_toml=HYDRANTS, h_csv=head + "h1,-71.01,44,A\nh2,-71.02,44,A\n"))
    (note,) = read.notes
    assert note.startswith("h.csv, column lon, lat: none of the 2 hydrants lies within 5 mi of any address, so none")
    read = read_inputs(write_folder(tmp_path, district_toml=HYDRANTS, h_csv=head + "h1,-71.01,44,A\nh2,-72.02,44,A\n"))
    assert read.notes == ()
