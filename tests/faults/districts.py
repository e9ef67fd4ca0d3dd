"""Faults of the district file, and of what its tables say together."""

from __future__ import annotations

import os
from pathlib import Path

from tests.faults.planting import DEEP, Fault, Plant, add, after, both, road_file, swap, table
from tests.faults.small import TABLES


def rule(table_name: str, line: str) -> Plant:
    """Write a rule."""
    if table_name == "roads":
        return swap('file = "roads.osm"', f'file = "roads.osm"\n{line}')
    return add(f"[{table_name}]\n{line}")


FILES_HEAD = '[files]\naddresses = "addresses.csv"'
OUT_OF_SERVICE = "site_id,name,kind,lon,lat,in_service\nS1,Mill Pond,dry hydrant,-72.0,44.0,no\n"
SUMMER = "site_id,name,kind,lon,lat,months\nS1,Mill Pond,dry hydrant,-72.0,44.0,6-8\n"
ONE_SOURCE = TABLES["fill_sites.csv"].replace("storage_gal\n", "storage_gal,source_id\n").replace(
    "loop,\n", "loop,,lake\n").replace("50000\n", "50000,lake\n")  # fmt: skip


def unread(role: str, name: str) -> Plant:
    """Name another file for a table."""
    return swap(f'{role} = "{role}.csv"', f'{role} = "{name}"')


def outside(name: str) -> Plant:
    """Put the addresses outside the district's folder and name them there."""
    return both(
        lambda d: d.files.update({"addresses.csv": None}),
        unread("addresses", name),
        after(lambda f: (f.parent / "elsewhere.csv").write_text(TABLES["addresses.csv"], encoding="utf-8")),
    )


def _linked(folder: Path) -> None:
    (folder / "real.csv").write_text(TABLES["addresses.csv"], encoding="utf-8")
    (folder / "addresses.csv").symlink_to("real.csv")


DISTRICTS = (
    Fault("a name that is a number", 2, swap('name = "Millrace"', "name = 5")),
    Fault("a name that is empty", 2, swap('name = "Millrace"', 'name = "  "')),
    Fault("no name", 2, swap('name = "Millrace"\n', "")),
    Fault("a date that is none", 2, swap("2026-05-01", '"soon"')),
    Fault("a date that is a list", 2, swap("2026-05-01", "[2026, 5, 1]")),
    Fault("a date of the year 1", 2, swap("2026-05-01", "0001-01-01")),
    Fault("a date of another century", 2, swap("2026-05-01", "2206-05-01")),
    Fault("a table that is a number", 2, lambda d: setattr(d, "toml", "files = 5\n" + d.toml.replace(
        FILES_HEAD, 'addresses_of = "x"'))),
    Fault("a file that is a number", 2, swap('"addresses.csv"', "7")),
    Fault("a file that is empty", 2, swap('"addresses.csv"', '""')),
    Fault("a file that is a list", 2, swap('"addresses.csv"', '["addresses.csv"]')),
    Fault("no files at all", 2, lambda d: setattr(d, "toml", d.toml.replace(FILES_HEAD, "[file]"))),
    Fault("unknown keys and tables", 2, both(add("[extras]\nx = 1"), rule("roads", "snap_ft = 5"))),
    Fault("no response level", 2, lambda d: setattr(d, "toml", d.toml.partition("[[response_levels]]")[0])),
    Fault("levels as a table", 2, lambda d: setattr(
        d, "toml", d.toml.partition("[[response_levels]]")[0] + "[response_levels]\nengines = 2\n")),
    Fault("levels out of order", 2, swap("tankers = 3", "tankers = 1")),
    Fault("two levels of one name", 2, swap('"Level 2"', '"Level 1"')),
    Fault("a level without engines", 2, swap("engines = 3\n", "")),
    Fault("a level of less than nobody", 2, swap("tankers = 2", "tankers = -2")),
    Fault("a level of half an engine", 2, swap("engines = 2", "engines = 2.5")),
    Fault("a level of a billion tankers: short of units, and so flagged", 0, swap(
        "tankers = 3", "tankers = 900000000")),
    Fault("a level of more than a number", 2, swap("tankers = 3", f"tankers = {'9' * 5000}")),
    Fault("levels without a tanker", 0, both(swap("tankers = 2", "tankers = 0"), swap("tankers = 3", "tankers = 0"))),
    Fault("no tanker", 2, lambda d: d.files.update({"apparatus.csv": "\n".join(
        line for line in TABLES["apparatus.csv"].splitlines() if "tanker" not in line)})),
    Fault("no engine", 2, table("apparatus", *((f"E{i},H1,engine", f"E{i},H1,tanker") for i in (1, 2)), (
        "E3,H1,engine,750", "E3,H1,tanker,750"))),
    Fault("no unit in service", 2, lambda d: d.files.update({"apparatus.csv": "unit_id,station_id,kind,in_service\n"
                                                            "E1,H1,engine,no\nT1,H1,tanker,no\n"})),
    Fault("a unit of a station that is not there", 2, table("apparatus", ("T1,H1", "T1,H9"))),
    Fault("no fill site in service", 2, lambda d: d.files.update({"fill_sites.csv": OUT_OF_SERVICE})),
    Fault("no fill site in service, and no roads either: the first is said before any road is read", 2, both(
        lambda d: d.files.update({"fill_sites.csv": OUT_OF_SERVICE}),
        road_file("planet.osm", lambda _: b"<osm"))),
    Fault("no fill site in the months that are planned", 2, both(
        lambda d: d.files.update({"fill_sites.csv": SUMMER}), add('[plan]\nmonths = "11-3"'))),
    Fault("fill sites in some months only: the months without are no route", 0, lambda d: d.files.update(
        {"fill_sites.csv": SUMMER})),
    Fault("every fill site on one source: no backup", 0, lambda d: d.files.update({"fill_sites.csv": ONE_SOURCE})),
    Fault("every fill site off the roads", 2, table("fill_sites", ("-72.0,44.0", "-72.0,44.2"), (
        "-72.05,44.01", "-72.05,44.3"))),
    Fault("every fill site in use off the roads", 2, table(
        "fill_sites", ("storage_gal\n", "storage_gal,in_service\n"), ("loop,\n", "loop,,no\n"),
        ("-72.05,44.01,600", "-72.05,44.3,600"), ("50000\n", "50000,yes\n"))),
    Fault("one fill site off the roads: told, and planned without", 0, table(
        "fill_sites", ("-72.05,44.01", "-72.05,44.3"))),
    Fault("every station off the roads", 2, table("stations", ("44.0002", "44.2"))),
    Fault("one's own station off the roads", 2, both(table("stations", ("\nH1", "\nH2,Mill,-72.03,45.0002\nH1")), table(
        "apparatus", ("T3,H1", "T3,H2")))),
    Fault("a neighbour's station off the roads: told, and planned without", 0, both(
        table("stations", ("44.0002", "44.0002,own"), ("lon,lat\n", "lon,lat,aid\nH2,Mill,-72.03,45.0002,automatic\n")),
        table("apparatus", ("T3,H1", "T3,H2")))),
    Fault("longitudes without their minus signs in every table", 2, both(
        table("addresses", *((f"-72.0{i}", f"72.0{i}") for i in range(1, 10))),
        table("fill_sites", ("-72.0,", "72.0,"), ("-72.05", "72.05")), table("stations", ("-72.02", "72.02")))),
    Fault("months that are none", 2, add("[plan]\nmonths = []")),
    Fault("months beyond December", 2, add('[plan]\nmonths = "11-13"')),
    Fault("a share of 90", 2, rule("shuttle", "usable_fraction = 90")),
    Fault("a time below zero", 2, rule("shuttle", "dump_setup_min = -1")),
    Fault("a time that is no number", 2, rule("shuttle", "dump_setup_min = nan")),
    Fault("a time without end", 2, rule("shuttle", "dump_setup_min = inf")),
    Fault("a number beyond reason", 2, rule("shuttle", "intake_gpm = 1e308")),
    Fault("a rate of nothing", 2, rule("shuttle", "intake_gpm = 0")),
    Fault("yes for a number", 2, rule("shuttle", "dump_places = true")),
    Fault("a rate in quotes", 2, rule("shuttle", 'fill_gpm = "500 gpm"')),
    Fault("no place to dump", 2, rule("shuttle", "dump_places = 0")),
    Fault("a method of nobody", 2, rule("required_flow", 'method = "guess"')),
    Fault("a flow that holds for no time", 2, rule("required_flow", "required_min = 0")),
    Fault("a top speed of a walker", 2, rule("roads", "top_mph = 1")),
    Fault("addresses and stations that may lie one foot from a road", 2, rule("roads", "snap_max_ft = 1")),
    Fault("a flow that holds for five days", 2, rule("required_flow", "required_min = 7200")),
    Fault("a tanker of 600 mph", 2, rule("roads", "top_mph = 600")),
    Fault("addresses that may lie anywhere", 2, rule("roads", "snap_max_ft = 1e8")),
    Fault("trucks of three metres", 2, rule("apparatus", "height_ft = 3.2")),
    Fault("a tank that is all dead water", 2, rule("shuttle", "dead_water_fraction = 1.0")),
    Fault("more pressure left than the pump gives", 2, rule("shuttle", "supply_residual_psi = 200")),
    Fault("a pump that gives less than must be left", 2, rule("shuttle", "supply_psi = 20")),
    Fault("no trip kept", 2, add("[plan]\nkeep_sites = 0")),
    Fault("hydrant credit that falls in distance", 2, rule("hydrants", "credit = [[600, 1], [300, 2]]")),
    Fault("hydrant credit of words", 2, rule("hydrants", 'credit = ["near"]')),
    Fault("tiles of a script", 2, add('[map]\ntiles = "javascript:alert(1)//{z}{x}{y}"')),
    Fault("roads neither read nor asked for", 2, swap('file = "roads.osm"', "")),
    Fault("roads read and asked for", 2, rule("roads", "download = true")),
    Fault("roads asked for without a boundary", 2, swap('file = "roads.osm"', "download = true")),
    Fault("a header that the table does not have", 2, add('[columns.addresses]\nlabel = "SITEADDR"')),
    Fault("one header for two columns", 0, add('[columns.addresses]\nlabel = "label"\naddress_id = "label"')),
    Fault("a column that nobody knows", 2, add('[columns.addresses]\nlable = "label"')),
    Fault("brackets in brackets without end", 2, add("x = " + "[" * DEEP)),
    Fault("tables in tables without end", 2, add("[" + "a." * 5000 + "a]\nb = 1")),
    Fault("a number of five thousand digits", 2, rule("shuttle", "dump_places = " + "7" * 5000)),
    Fault("a key twice", 2, add('[cards]\nper = "road"\nper = "road"')),
    Fault("a district file with a zero byte", 2, swap("Millrace", "Mill\0race")),
    Fault("a district file with a lone surrogate", 2, swap("Millrace", "Mill\ud800race")),
    Fault("a name with a surrogate by its number", 2, swap("Millrace", "Mill\\ud800race")),
    Fault("a name that turns round the line", 0, swap("Millrace", "Mill\\u202erace \\u0000")),
    Fault("a file on the web", 2, unread("addresses", "https://localhost/addresses.csv")),
    Fault("a file in a reader's own network", 2, unread("addresses", "/vsicurl/http://localhost/addresses.gpkg")),
    Fault("a file named with a zero byte", 2, unread("addresses", "addresses\\u0000.csv")),
    Fault("a file of ten thousand letters", 2, unread("addresses", "a" * 10_000 + ".csv")),
    Fault("the folder itself", 2, unread("addresses", ".")),
    Fault("a device for a table", 2, unread("addresses", "/dev/zero")),
    Fault("a table from the folder above: read", 0, outside("../elsewhere.csv")),
    Fault("a table through a link: read", 0, both(
        lambda d: d.files.update({"addresses.csv": None}), after(_linked))),
    Fault("a table that links to itself", 2, both(
        lambda d: d.files.update({"addresses.csv": None}),
        after(lambda f: (f / "addresses.csv").symlink_to("addresses.csv")))),
    Fault("a table that never ends", 2, both(
        lambda d: d.files.update({"addresses.csv": None}),
        after(lambda f: (f / "addresses.csv").symlink_to("/dev/zero")))),
    Fault("a table that waits for somebody to write", 2, both(
        lambda d: d.files.update({"addresses.csv": None}), after(lambda f: os.mkfifo(f / "addresses.csv")))),
)  # fmt: skip
