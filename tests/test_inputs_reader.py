"""A whole district read at once."""

from __future__ import annotations

import cProfile
from pathlib import Path

import pyogrio
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from preplan.errors import Finding, InputError
from preplan.inputs.reader import counted, read_inputs
from preplan.inputs.table_specs import SPECS
from preplan.records import text_array
from tests.inputs_folder import FILES, toml, write_folder
from tests.shared_data import shared


def findings(district_file: Path) -> tuple[Finding, ...]:
    with pytest.raises(InputError) as caught:
        read_inputs(district_file)
    return caught.value.findings


def test_a_faultless_district(tmp_path: Path) -> None:
    read = read_inputs(write_folder(tmp_path))
    assert read.addresses.address_id.tolist() == ["A1", "A10", "A2"]
    assert [site.site_id for site in read.sites] == ["S1", "S2"]
    assert [station.station_id for station in read.stations] == ["H1"]
    assert [unit.unit_id for unit in read.units] == ["E1", "T1"]
    assert (len(read.hydrants), read.closures, read.rejected, read.notes) == (0, (), (), ())
    assert read.rows == {"addresses": 3, "fill_sites": 2, "stations": 1, "apparatus": 2}
    assert read.files == {
        "district": tmp_path / "district.toml",
        "roads": tmp_path / "roads.osm",
        **{role: tmp_path / f"{role}.csv" for role in read.rows},
    }


def test_a_blank_that_does_not_break_is_a_blank_in_an_id(tmp_path: Path) -> None:
    """Text copied from a page has such: the unit's station was none of the list that named it."""
    read = read_inputs(
        write_folder(
            tmp_path,
            stations_csv="station_id,name,lon,lat\nStation\u00a01,Headquarters,-72.02,44.00\n",
            apparatus_csv="unit_id,station_id,kind\nE  1,Station 1,engine\nT1,Station\u00a01,tanker\n",
        )
    )
    assert [(unit.unit_id, unit.station_id) for unit in read.units] == [("E 1", "Station 1"), ("T1", "Station 1")]


def test_no_layer_and_no_table_of_addresses_is_two_tables(tmp_path: Path) -> None:
    """Addresses read as hydrants, too, would all have one at the door."""
    for name, at in (("SitePoints", -72.01), ("HydrantPoints", -72.02)):
        pyogrio.raw.write(
            tmp_path / "county.gpkg", shapely.to_wkb([shapely.Point(at, 44.01)]),
            [text_array(["1"]), text_array(["12 Mill Road"])], ["objectid", "label"], layer=name,
            geometry_type="Point", crs="EPSG:4326", append=name == "HydrantPoints",
        )  # fmt: skip
    text = toml(files='hydrants = "county.gpkg"').replace("addresses.csv", "county.gpkg")
    (found,) = findings(write_folder(tmp_path, district_toml=text))
    assert (found.file, found.value) == ("county.gpkg", "SitePoints")
    assert found.rule == "is read for addresses and for hydrants"
    (found,) = findings(
        write_folder(
            tmp_path,
            district_toml=toml(files='hydrants = "addresses.csv"'),
            addresses_csv="id,label,lon,lat\n1,12 Mill Road,-72.01,44.01\n",
        )
    )
    assert (found.file, found.value) == ("addresses.csv", "")


def test_optional_tables_and_mapped_headers(tmp_path: Path) -> None:
    text = toml(files='hydrants = "h.csv"\nclosures = "c.csv"\nbridges = "b.csv"\ncandidates = "roads.osm"')
    text += '[columns.addresses]\nlabel = "Where it is"\n'
    read = read_inputs(
        write_folder(
            tmp_path,
            district_toml=text,
            addresses_csv=FILES["addresses.csv"].replace("label", "Where it is"),
            h_csv="hydrant_id,lon,lat,flow_gpm\nh1,-72,44,900\n",
            b_csv="bridge_id,lon,lat,owner\nb1,-72,44,3\n",
            c_csv="closure_id,kind,way_id\nc1,closed,5\n",
        )
    )
    assert read.addresses.label.tolist()[1] == "7 Quarry Lane"
    assert (len(read.hydrants), read.closures[0].way_id) == (1, 5)
    assert read.notes == ("roads.osm: the candidates are not read for a plan.",)
    assert read.files["hydrants"] == tmp_path / "h.csv"
    assert "candidates" not in read.files
    assert read.bridges.owner.tolist() == ["Town or Township Highway Agency"]


def test_ten_faults_of_five_files_in_one_error(tmp_path: Path) -> None:
    text = toml(shuttle="fil_gpm = 3", plan='months = "13"', files='hydrants = "none.csv"')
    line = {words: number for number, words in enumerate(text.splitlines(), 1)}
    found = findings(
        write_folder(
            tmp_path,
            district_toml=text,
            addresses_csv=FILES["addresses.csv"].replace("label", "what"),
            fill_sites_csv="site_id,name,kind,lon,lat,positions\nS1,Pond,well,-72,44,1\nS2,,draft,-72,44,0\n",
            stations_csv="station_id,name,lon,lat\nH1,Headquarters,0,0\n",
            apparatus_csv="unit_id,station_id,kind,tank_gal\nE1,H9,engine,\nT1,H1,tanker,0\n",
        )
    )
    assert {(one.file, one.row, one.column) for one in found} == {
        ("district.toml", line["fil_gpm = 3"], "shuttle.fil_gpm"),
        ("district.toml", line['months = "13"'], "plan.months"),
        ("district.toml", line['hydrants = "none.csv"'], "files.hydrants"),
        ("addresses.csv", 1, "label"),
        ("fill_sites.csv", 2, "kind"),
        ("fill_sites.csv", 3, "name"),
        ("fill_sites.csv", 3, "positions"),
        ("stations.csv", 2, "lon, lat"),
        ("apparatus.csv", 2, "station_id"),
        ("apparatus.csv", 3, "tank_gal"),
    }
    assert len(found) == 10


def with_faulty_rows(faulty: int, good: int) -> str:
    lines = [f"B{i},,-72,44" for i in range(faulty)] + [f"G{i},{i + 1} Mill Road,-72.{i:03},44" for i in range(good)]
    return "\n".join(["address_id,label,lon,lat", *lines]) + "\n"


def test_a_fifth_of_the_rows_may_be_rejected(tmp_path: Path) -> None:
    read = read_inputs(write_folder(tmp_path, addresses_csv=with_faulty_rows(2, 8)))
    assert len(read.addresses) == 8
    assert [(one.file, one.row, one.id, one.column) for one in read.rejected] == [
        ("addresses.csv", 2, "B0", "label"),
        ("addresses.csv", 3, "B1", "label"),
    ]
    assert read.rows["addresses"] == 10


def test_more_than_a_fifth_refuses_the_table(tmp_path: Path) -> None:
    found = findings(write_folder(tmp_path, addresses_csv=with_faulty_rows(30, 100)))
    assert found[0].rule == "30 of 130 rows are at fault, more than 20%"
    assert {one.row for one in found[1:21]} == set(range(2, 22))
    assert [str(one) for one in found[21:]] == ["addresses.csv, column label: 10 more rows likewise: is empty"]


def test_whoever_mends_hears_of_every_fault_at_once(tmp_path: Path) -> None:
    """One bad address stops nothing; beside what stops the run it is told all the same."""
    bad = "unit_id,station_id,kind\nE1,H1,engine\nT1,H1,rocket\n"
    found = findings(write_folder(tmp_path, addresses_csv=with_faulty_rows(1, 8), apparatus_csv=bad))
    assert {(one.file, one.row) for one in found} == {("addresses.csv", 2), ("apparatus.csv", 3)}


def test_the_share_counts_rows_not_faults(tmp_path: Path) -> None:
    rows = with_faulty_rows(1, 5).replace("B0,,-72,44", "B0,,,")  # three faults in one of six rows
    read = read_inputs(write_folder(tmp_path, addresses_csv=rows))
    assert [one.column for one in read.rejected] == ["label", "lon", "lat"]


def test_hydrants_have_their_own_share(tmp_path: Path) -> None:
    text = toml(files='hydrants = "h.csv"')
    found = findings(write_folder(tmp_path, district_toml=text, h_csv="hydrant_id,lon,lat\nh1,-72,44\nh2,-72,94\n"))
    assert found[0].file == "h.csv"
    assert found[0].rule.startswith("1 of 2 rows are at fault")


@pytest.mark.parametrize("role", ["addresses", "fill_sites", "stations", "apparatus"])
def test_a_table_without_rows_is_a_fault(tmp_path: Path, role: str) -> None:
    header = FILES[f"{role}.csv"].splitlines()[0]
    found = findings(write_folder(tmp_path, **{f"{role}_csv": header + "\n"}))
    assert (f"{role}.csv", "has no rows below its header") in {(one.file, one.rule) for one in found}


def test_a_missing_table_is_one_finding(tmp_path: Path) -> None:
    (found,) = findings(write_folder(tmp_path, stations_csv=None))
    assert (found.column, found.value, found.rule) == ("files.stations", "stations.csv", "is no file")


def test_no_tanker_in_service(tmp_path: Path) -> None:
    apparatus = "unit_id,station_id,kind,tank_gal,in_service\nE1,H1,engine,1000,yes\nT1,H1,tanker,2000,no\n"
    (found,) = findings(write_folder(tmp_path, apparatus_csv=apparatus))
    assert found.rule == "no tanker is in service"


def test_reading_twice_gives_the_same(tmp_path: Path) -> None:
    path = write_folder(tmp_path)
    first, second = read_inputs(path), read_inputs(path)
    assert (first.sites, first.units, first.notes) == (second.sites, second.units, second.notes)
    assert first.addresses.address_id.tolist() == second.addresses.address_id.tolist()


@pytest.mark.parametrize(
    ("district", "addresses", "sites", "units"),
    [("vt_essex_south", 3375, 21, 14), ("vt_franklin_qc", 3788, 13, 13), ("usvi_st_john", 3589, 7, 15)],
)
def test_real_districts_are_read_whole(district: str, addresses: int, sites: int, units: int) -> None:
    read = read_inputs(shared("districts", district, "district.toml"))
    assert len(read.addresses) + len({one.row for one in read.rejected}) == addresses
    assert len(read.addresses) == addresses
    assert (len(read.sites), len(read.units)) == (sites, units)
    assert read.addresses.address_id.tolist() == sorted(read.addresses.address_id.tolist())
    assert all("loaded_lb" not in unit.assumed for unit in read.units)


def test_rows_are_checked_by_columns_and_not_one_by_one(tmp_path: Path) -> None:
    """What is called grows with the rows by few calls a row; how long it takes is for `bench_inputs`."""
    calls = []
    for count in (2_000, 20_000):
        rows = "".join(f"A{i},{i % 4000 + 1} Mill Road,-72.{i:05},44.{i:05},50 ft,7,V\n" for i in range(count))
        path = write_folder(
            tmp_path, addresses_csv="address_id,label,lon,lat,length_ft,occupancy_hazard,construction\n" + rows
        )
        with cProfile.Profile() as profile:
            read = read_inputs(path)
        assert len(read.addresses) == count
        calls.append(sum(one.callcount for one in profile.getstats()))
    assert (calls[1] - calls[0]) / 18_000 < 50.0  # of Python and of C; 22 when this was written


CELLS = st.sampled_from([
    "", "x", "=1", "0", "-5", "-72", "44", "200", "nan", "1e308", "yes", "engine", "tanker", "tank", "cistern", "H1",
    "POINT (1 2)", "POINT EMPTY", '"LINESTRING (1 2, 3 4)"', "4-11", "closed", "max_lb", '"2,000 gal"', "AA", "V",
])  # fmt: skip


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(role=st.sampled_from(sorted(SPECS)), data=st.data())
def test_any_table_is_read_or_its_faults_are_told(tmp_path: Path, role: str, data: st.DataObject) -> None:
    names = SPECS[role].names
    lines = data.draw(st.lists(st.lists(CELLS, min_size=len(names), max_size=len(names)), max_size=4))
    text = "\n".join(",".join(line) for line in [list(names), *lines]) + "\n"
    district = toml(files=f'{role} = "{role}.csv"') if f"{role}.csv" not in FILES else FILES["district.toml"]
    path = write_folder(tmp_path, district_toml=district, **{f"{role}_csv": text})
    try:
        read = read_inputs(path)
    except InputError as error:
        # a row of the apparatus may name a station that is at fault in the stations table
        assert {found.file for found in error.findings} <= {f"{role}.csv", "apparatus.csv"}  # noqa: PT017
    else:
        assert read.rows[role] == sum(any(line) for line in lines)


def test_text_that_is_no_table_at_all(tmp_path: Path) -> None:
    for content in (b"\x00\x01\x02\xff\xfe", b"PK\x03\x04" + bytes(range(256)), b"\xff\xfe", "\u2028".encode()):
        path = write_folder(tmp_path)
        (tmp_path / "stations.csv").write_bytes(content)
        assert {one.file for one in findings(path)} == {"stations.csv"}


def test_a_table_wholly_at_fault_names_some_rows_and_counts_the_rest(tmp_path: Path) -> None:
    """Hundreds of lines hide what is one mistake; a header that is not read may be what it is."""
    rows = "".join(f"U{k},H1,{'crane' if k < 30 else 'engine'},{'x' if k >= 30 else 1000}\n" for k in range(36))
    table = f"unit_id,station_id,kind,tank_gal\n{rows}".replace("\n", ",a\n").replace("tank_gal,a", "tank_gal,function")
    with pytest.raises(InputError) as raised:
        read_inputs(write_folder(tmp_path, apparatus_csv=table))
    said = [(one.row, one.column, one.rule) for one in raised.value.findings]
    assert [row for row, _, _ in said[:20]] == list(range(2, 22))
    assert said[20:] == [
        (None, "kind", "10 more rows likewise: is not one of"),
        (None, "tank_gal", "6 more rows likewise: is not a number of gal"),
        (None, "", "columns that are not read: 'function'."),
    ]


def test_rows_that_repeat_the_ids_of_other_rows_are_counted_together() -> None:
    """Each names the row it repeats; a line for each hid all other faults."""
    found = [
        Finding(file="a.csv", row=i + 100, column="address_id", value=f"x{i}", rule=f"is already used in row {i}: why")
        for i in range(2, 6)
    ]
    (one,) = counted(found)
    assert str(one) == "a.csv, column address_id: 4 more rows likewise: is already used in another row"
