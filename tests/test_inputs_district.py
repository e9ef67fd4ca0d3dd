"""The district file: what it may say, and how its faults are told."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path

import pytest

from preplan.errors import Finding, InputError
from preplan.inputs.district_file import KEYS, check_district, read_boundary, read_district
from preplan.inputs.toml_document import key_lines
from preplan.records import ALL_MONTHS
from preplan.rules import Rules
from tests.inputs_folder import FILES, toml, write_folder


def faults(district_file: Path) -> tuple[Finding, ...]:
    with pytest.raises(InputError) as caught:
        read_district(district_file)
    return caught.value.findings


def fault(district_file: Path) -> Finding:
    """Expect exactly one finding."""
    (only,) = faults(district_file)
    return only


def test_a_plain_file_gives_the_defaults(tmp_path: Path) -> None:
    said = read_district(write_folder(tmp_path))
    assert said.district.name == "Millrace"
    assert said.district.date == "2026-05-01"
    assert said.district.rules == Rules()
    assert [(one.name, one.engines, one.tankers) for one in said.district.levels] == [
        ("Level 1", 2, 2),
        ("Level 2", 2, 4),
    ]
    assert (said.district.cards_per, said.district.cards_backup) == ("road", "line")
    assert said.roads.file == tmp_path / "roads.osm"
    assert set(said.tables) == {"addresses", "fill_sites", "stations", "apparatus"}


def test_every_table_of_rules_is_read(tmp_path: Path) -> None:
    text = toml(
        roads='travel = "rule"\nsnap_max_ft = 900\nbare_weight = "tonnes"',
        required_flow='method = "iso"\nrequired_min = "method"\ndwelling_cap = false',
        shuttle="usable_fraction = 1\ndump_places = 2",
        plan='months = "11-3"\nkeep_sites = 10',
        hydrants="credit = [[500, 900], [1000, 200]]",
        apparatus="chassis_lb = 12000",
        cards='per = "address"\nbackup = "sheet"',
        map='tiles = "https://tiles.example/{z}/{x}/{y}.png"',
    )
    district = read_district(write_folder(tmp_path, district_toml=text)).district
    rules = district.rules
    assert (rules.roads.travel, rules.roads.snap_max_ft, rules.roads.bare_weight) == ("rule", 900.0, "tonnes")
    assert (rules.required_flow.method, rules.required_flow.required_min) == ("iso", "method")
    assert rules.required_flow.dwelling_cap is False
    assert (rules.shuttle.usable_fraction, rules.shuttle.dump_places) == (1.0, 2)
    assert isinstance(rules.shuttle.usable_fraction, float)
    assert rules.plan.months == {11, 12, 1, 2, 3}
    assert rules.plan.keep_sites == 10
    assert rules.hydrants.credit == ((500.0, 900.0), (1000.0, 200.0))
    assert rules.apparatus.chassis_lb == 12000.0
    assert (district.cards_per, district.cards_backup) == ("address", "sheet")
    assert district.tiles == ("https://tiles.example/{z}/{x}/{y}.png")


@pytest.mark.parametrize("months", ["[4, 5, 6, 7, 8, 9, 10, 11]", '"4-11"', '"Apr to Nov"'])
def test_months_are_a_span_or_a_list(tmp_path: Path, months: str) -> None:
    district = read_district(write_folder(tmp_path, district_toml=toml(plan=f"months = {months}"))).district
    assert district.rules.plan.months == set(range(4, 12))


def test_an_unknown_key_names_the_nearest_and_its_line(tmp_path: Path) -> None:
    found = fault(write_folder(tmp_path, district_toml=toml(shuttle="usable_fractoin = 0.8")))
    assert found.column == "shuttle.usable_fractoin"
    assert found.row == toml(shuttle="usable_fractoin = 0.8").splitlines().index("usable_fractoin = 0.8") + 1
    assert "'usable_fraction'" in found.remedy


def test_a_key_in_the_wrong_table_is_sent_home(tmp_path: Path) -> None:
    found = fault(write_folder(tmp_path, district_toml=toml(roads="usable_fraction = 0.8")))
    assert "[shuttle]" in found.remedy


def test_a_table_given_for_the_district_file_is_told_so(tmp_path: Path) -> None:
    """Which line of it is no TOML does not matter."""
    path = tmp_path / "addresses.csv"
    for content in (b"address_id,label\n", b"\xff\xfe\x00"):
        path.write_bytes(content)
        assert str(fault(path)) == ("addresses.csv: is no district file; name the .toml file that lists the tables")


def test_a_table_of_another_spelling_beside_the_district_file_is_asked_about(tmp_path: Path) -> None:
    folder = write_folder(tmp_path)
    text = folder.read_text(encoding="utf-8").replace('"addresses.csv"', '"Adresses.CSV"')
    assert "Adresses" in text
    folder.write_text(text, encoding="utf-8")
    assert fault(folder).remedy == "paths are relative to the district file; is 'addresses.csv' meant?"


def test_a_key_like_none_is_answered_with_all_that_are_known(tmp_path: Path) -> None:
    """The nearest of them would be nonsense; long tables are those that `preplan rules` lists."""
    wrong = 'owner = "x"\n'
    text = toml(shuttle="crew = 4").replace("[district]\n", f"[district]\n{wrong}", 1)
    found = {one.column: one.remedy for one in faults(write_folder(tmp_path, district_toml=text))}
    assert found == {
        "district.owner": "known here: name, date, boundary",
        "shuttle.crew": "`preplan rules` lists those",
    }


def test_an_unknown_table_and_an_unknown_level_key(tmp_path: Path) -> None:
    text = toml(shutle="usable_fraction = 0.8") + "engins = 3\n"
    text = text.replace("[[response_levels]]", "[[response_levels]]\ntankrs = 1", 1)
    first, second = faults(write_folder(tmp_path, district_toml=text))
    assert (first.column, first.remedy) == ("shutle", "the nearest known key is 'shuttle'")
    assert (second.column, second.remedy) == ("response_levels.1.tankrs", "the nearest known key is 'tankers'")
    assert second.row == text.splitlines().index("tankrs = 1") + 1


@pytest.mark.parametrize(
    ("table", "line", "rule"),
    [
        ("shuttle", 'fill_gpm = "500"', "must be a number"),
        ("shuttle", "fill_gpm = true", "must be a number"),
        ("shuttle", "fill_gpm = nan", "must be a number below 1e+09"),
        ("shuttle", "fill_gpm = inf", "must be a number below 1e+09"),
        ("shuttle", "fill_gpm = 0", "must be at least 1"),
        ("required_flow", "required_min = 2", "must be at least 10 min"),
        ("shuttle", "usable_fraction = 90", "must be at most 1"),
        ("shuttle", "dump_places = 1.5", "must be a whole number"),
        ("apparatus", "chassis_lb = -1", "must be at least 0"),
        ("required_flow", "dwelling_cap = 1", "must be true or false"),
        ("required_flow", 'method = "guess"', "must be one of: nfpa1142, iso, nfa, iowa, given"),
        ("required_flow", 'required_min = "long"', 'must be a number, or "method"'),
        ("required_flow", 'required_min = "120"', 'must be a number, or "method"'),
        ("plan", 'months = "4-Nov"', "is not months such as"),
        ("plan", "months = [0]", "is not months such as"),
        ("plan", "months = []", "is not months such as"),
        ("hydrants", "credit = [[600, 100], [300, 90]]", "must be pairs [ft, gpm]"),
        ("cards", 'per = "street"', "must be one of: road, address"),
        ("cards", 'backup = "page"', "must be one of: line, sheet"),
        *[
            ("map", f"tiles = {json.dumps(tiles)}", "must be an address of the web with {z}, {x} and {y}")
            for tiles in (
                "somewhere",
                "file:///etc/{z}/{x}/{y}",
                "https://tile.example.org/all.png",
                "https://a b/{z}/{x}/{y}",
                "https://x; script-src */{z}/{x}/{y}",
                'https://x"/{z}/{x}/{y}',
                "javascript:alert({z}{x}{y})",
                "https://tile-{s}.example.org/{z}/{x}/{y}",
                "https://[x/{z}/{x}/{y}",
            )
        ],
        ("roads", "buffer_mi = -2", "must be at least 0"),
    ],
)
def test_a_value_at_fault(tmp_path: Path, table: str, line: str, rule: str) -> None:
    found = fault(write_folder(tmp_path, district_toml=toml(**{table: line})))
    assert found.rule.startswith(rule)
    assert found.column == f"{table}.{line.partition(' ')[0]}"
    assert found.row == toml(**{table: line}).splitlines().index(line) + 1


BACKSLASH = "write / instead of \\, or put the text in single quotes"


@pytest.mark.parametrize(
    ("before", "after", "what", "remedy"),
    [
        ('"addresses.csv"', '"C:\\Users\\me\\a.csv"', "a backslash in a text in double quotes", BACKSLASH),
        ('"addresses.csv"', '"D:\\data.csv"', "a backslash in a text in double quotes", BACKSLASH),
        ('"addresses.csv"', "\u201caddresses.csv\u201d", "curly quotes", 'write straight ones: "..."'),
        ('"addresses.csv"', '"addresses.csv', "a quote that is not closed", "put one at both ends of the text"),
        ('"addresses.csv"', "addresses.csv", "a text without quotes", 'put it in quotes: "..."'),
        ('"addresses.csv"', "'it's.csv'", "an apostrophe in single quotes", 'use double quotes: "..."'),
        ('"addresses.csv"', '"a.csv" ours', "something behind a text in quotes", "put # before a remark"),
        ("2026-05-01", "2026-5-1", "a date of another form", "write it as 2026-05-01"),
        ("2026-05-01", "5/1/2026", "a date of another form", "write it as 2026-05-01"),
        ("2026-05-01", "# soon", "nothing behind =", "write a value, or # before the line to leave it out"),
        ("engines = 2\ntankers = 2", "engines = 2 or 3", "something behind a number", "write the number alone"),
        ("engines = 2\ntankers = 2", "engines = 2,5", "a comma in a number", "write 2000, and 0.85 with a point"),
        ("engines = 2\ntankers = 2", "engines = 02", "a number that begins with 0", "write it without that 0"),
        ("engines = 2\ntankers = 2", "engines = 2.", "a point without digits on both sides", "write 0.5 or 1.0"),
        ("engines = 2\ntankers = 2", "engines = True", "a yes or no of another form", "write true or false, small"),
        ("engines = 2\ntankers = 2", "all engines = 2", "a blank in a key", "write one word, as the others are"),
        ("engines = 2\ntankers = 2", "engines: 2", "a colon where = belongs", "write key = value"),
        ("engines = 2\ntankers = 2", "engines two", "no = in the line", "write key = value, or # before a remark"),
        ("engines = 2\ntankers = 2", "engines = [2", "a [ that is not closed", "write ] behind the last value"),
        ("[files]", "[files", "brackets that do not match", "write [name of the table], or [[response_levels]]"),
        ("[files]", "[district]", "[district] stands twice", "put all its keys under one of the two"),
        ("date = 2026-05-01", 'name = "B"', "name stands in row 2 too", "keep one of the two"),
        (
            "[[response_levels]]", "[response_levels]", "[response_levels] in single brackets",
            "write [[response_levels]] above each level",
        ),
        ('name = "Millrace"', '= "Millrace"', "Invalid statement", "look at this line: texts stand in quotes"),
    ],
)  # fmt: skip
def test_a_slip_of_toml_is_told_with_its_line_and_its_remedy(
    tmp_path: Path, before: str, after: str, what: str, remedy: str
) -> None:
    """In the words of who made it, not of the parser."""
    text = FILES["district.toml"].replace(before, after, 1)
    found = fault(write_folder(tmp_path, district_toml=text))
    assert found.rule == f"is not TOML: {what}"
    assert found.remedy.startswith(remedy)
    assert (
        found.row == text[: text.index(after, text.index("Millrace") if after == "[district]" else 0)].count("\n") + 1
    )


@pytest.mark.parametrize(
    ("first", "last", "column", "remedy"),
    [
        ("date = 2026-06-01\n", "", "date", "it belongs in [district]"),
        ('addresses = "a.csv"\n', "", "addresses", "it belongs in [files]"),
        ("usable_fraction = 0.8\n", "", "usable_fraction", "it belongs in [shuttle]"),
        ("", '[columns]\nlabel = "x"\n', "columns.label", "it belongs in [columns.addresses]"),
        ("", '[columns]\nname = "x"\n', "columns.name", "it belongs in [columns.fill_sites] or [columns.stations]"),
        ("", '[file]\nx = "x"\n', "file", "the nearest known key is 'files'"),
    ],
)
def test_a_key_above_or_beside_its_table_is_sent_home(
    tmp_path: Path, first: str, last: str, column: str, remedy: str
) -> None:
    """Any key of the district file, and any column of a table."""
    found = fault(write_folder(tmp_path, district_toml=first + FILES["district.toml"] + last))
    assert (found.column, found.remedy) == (column, remedy)


def test_a_backslash_that_begins_a_letter_is_told_too(tmp_path: Path) -> None:
    """A backslash and an n are a new line, which TOML takes and no folder has."""
    text = FILES["district.toml"].replace('"addresses.csv"', '"C:\\new\\table.csv"')
    found = fault(write_folder(tmp_path, district_toml=text))
    assert (found.column, found.rule, found.remedy) == ("files.addresses", "is no file", BACKSLASH)


@pytest.mark.parametrize("content", ["address_id,lon,lat\n", "", '{"type": "Point", "coordinates": [0'])
def test_a_boundary_that_is_no_map_is_told_without_a_library_s_words(tmp_path: Path, content: str) -> None:
    (tmp_path / "town.csv").write_text(content)
    text = FILES["district.toml"].replace("[district]\n", '[district]\nboundary = "town.csv"\n')
    found = fault(write_folder(tmp_path, district_toml=text))
    assert (found.row, found.value) == (2, "town.csv")
    assert found.rule == "is no boundary: it is no GeoJSON, or damaged"
    assert found.remedy == "save a polygon as GeoJSON, EPSG:4326"


def test_text_that_is_not_toml_gives_its_line(tmp_path: Path) -> None:
    text = FILES["district.toml"].replace("engines = 2", "engines = two", 1)
    found = fault(write_folder(tmp_path, district_toml=text))
    assert found.row == text.splitlines().index("engines = two") + 1
    assert found.rule.startswith("is not TOML")


def test_text_that_ends_too_soon_gives_its_last_line(tmp_path: Path) -> None:
    found = fault(write_folder(tmp_path, district_toml='[district]\nname = """Mill\n'))
    assert found.row == 2


@pytest.mark.parametrize("written", ["date = 2026-05-01", 'date = "2026-05-01"', "date = 2026-05-01T10:00:00"])
def test_a_date_is_a_date_or_a_text(tmp_path: Path, written: str) -> None:
    text = FILES["district.toml"].replace("date = 2026-05-01", written)
    assert read_district(write_folder(tmp_path, district_toml=text)).district.date == "2026-05-01"


def test_no_date_stays_empty_and_a_wrong_one_is_a_fault(tmp_path: Path) -> None:
    without = FILES["district.toml"].replace("date = 2026-05-01", "")
    assert read_district(write_folder(tmp_path, district_toml=without)).district.date == ""
    wrong = FILES["district.toml"].replace("date = 2026-05-01", 'date = "May 2026"')
    assert fault(write_folder(tmp_path, district_toml=wrong)).value == "May 2026"


def test_a_date_that_is_still_to_come_is_asked_about(tmp_path: Path) -> None:
    """It stands on every page: a 2027 for 2026 would make old data look new for a year."""
    ahead = dt.date.today() + dt.timedelta(days=300)  # noqa: DTZ011 - a calendar's year, nobody's clock
    text = FILES["district.toml"].replace("date = 2026-05-01", f"date = {ahead}")
    found = check_district(write_folder(tmp_path, district_toml=text))
    assert found.district.date == str(ahead)
    (note,) = found.notes
    assert note.startswith(
        f"district.toml: line 3: district.date {ahead} lies ahead of this machine's date: is a digit"
    )


@pytest.mark.parametrize(
    ("rule", "asked"),
    [
        ("fill_hookup_min = 60", "is far from the program's own 1 min: are these seconds? It is taken as it is."),
        ("fill_gpm = 20", "is far from the program's own 500 gpm: is a digit or the unit wrong? It is taken as it is."),
        ("dump_places = 10", "is far from the program's own 1: is a digit wrong? It is taken as it is."),
        ("fill_gpm = 51", ""),
        ("fill_gpm = 4990", ""),
        ("fill_hookup_min = 0", ""),
    ],
)
def test_a_rule_far_from_the_program_s_own_is_taken_and_asked_about(tmp_path: Path, rule: str, asked: str) -> None:
    name, _, value = rule.partition(" = ")
    text = toml(shuttle=rule)
    found = check_district(write_folder(tmp_path, district_toml=text))
    assert getattr(found.district.rules.shuttle, name) == float(value)
    line = text.splitlines().index(rule) + 1
    assert found.notes == ((f"district.toml: line {line}: shuttle.{name} {value} {asked}",) if asked else ())


def test_levels_at_fault(tmp_path: Path) -> None:
    text = FILES["district.toml"]
    levels = text[text.index("[[response_levels]]") :]
    falling = levels.replace("engines = 2", "engines = 1").replace("engines = 1", "engines = 2", 1)
    cases = {
        falling: ("response_levels.2.engines", "is fewer than the 2 of a lower level"),
        levels.replace("engines = 2", "engines = 0", 1): ("response_levels.1.engines", "must be at least 1"),
        levels.replace("Level 2", "Level 1"): ("response_levels.2.name", "is the name of another level too"),
        levels.replace("Level 2", "LEVEL  1"): ("response_levels.2.name", "is the name of another level too"),
        levels.replace("tankers = 4", ""): ("response_levels.2.tankers", "is missing"),
        "": ("response_levels", "at least one level is needed"),
    }
    for changed, (column, rule) in cases.items():
        found = fault(write_folder(tmp_path, district_toml=text.replace(levels, changed)))
        assert (found.column, found.rule) == (column, rule)


def test_a_level_is_held_against_all_below_it(tmp_path: Path) -> None:
    third = '\n[[response_levels]]\nname = "Level 3"\nengines = 2\ntankers = 3\n'
    found = fault(write_folder(tmp_path, district_toml=FILES["district.toml"] + third))
    assert (found.column, found.rule) == ("response_levels.3.tankers", "is fewer than the 4 of a lower level")
    text = FILES["district.toml"].replace("tankers = 4", "tankers = 1") + third.replace("3\n", "1\n")
    assert len(faults(write_folder(tmp_path, district_toml=text))) == 2


def test_every_fault_of_the_file_is_told_at_once(tmp_path: Path) -> None:
    text = toml(shuttle="fill_gpm = 0\nfil_gpm = 3", plan="keep_sites = 0.5", files='closures = "none.csv"')
    text = text.replace('name = "Millrace"', "").replace('file = "roads.osm"', 'file = "roads.txt"')
    columns = {found.column for found in faults(write_folder(tmp_path, district_toml=text))}
    assert columns == {
        "district.name", "roads.file", "files.closures", "shuttle.fill_gpm", "shuttle.fil_gpm", "plan.keep_sites",
    }  # fmt: skip


def test_a_missing_district_file(tmp_path: Path) -> None:
    assert fault(tmp_path / "district.toml").rule == "is not there"


def test_roads_come_from_one_place(tmp_path: Path) -> None:
    file, download = 'file = "roads.osm"', "download = true"
    text = FILES["district.toml"]
    assert fault(write_folder(tmp_path, district_toml=text.replace(file, ""))).rule == "is missing"
    both = fault(write_folder(tmp_path, district_toml=text.replace(file, f"{file}\n{download}")))
    assert both.rule == "stands beside a road file"
    assert fault(write_folder(tmp_path, district_toml=text.replace(file, download))).rule == "needs a boundary"
    other = text.replace(file, 'file = "addresses.csv"')
    assert fault(write_folder(tmp_path, district_toml=other)).rule.startswith("is no road file")


SQUARE = "[[[-72, 44], [-71, 44], [-71, 45], [-72, 45], [-72, 44]]]"


def test_a_download_has_its_boundary(tmp_path: Path) -> None:
    text = FILES["district.toml"].replace('file = "roads.osm"', "download = true\nbuffer_mi = 5")
    text = text.replace("[district]\n", '[district]\nboundary = "b.geojson"\n')
    boundary = f'{{"type": "Polygon", "coordinates": {SQUARE}}}'
    said = read_district(write_folder(tmp_path, district_toml=text, b_geojson=boundary))
    assert (said.roads.download, said.roads.file, said.roads.buffer_mi) == (True, None, 5.0)
    assert said.roads.boundary is not None
    assert said.roads.boundary.shape == (5, 2)
    assert said.roads.boundary.min(axis=0).tolist() == [-72.0, 44.0]
    assert said.boundary_file == tmp_path / "b.geojson"


def test_boundary_in_two_parts_becomes_their_hull_with_a_note(tmp_path: Path) -> None:
    path = tmp_path / "b.geojson"
    other = SQUARE.replace("-71", "-70.2").replace("-72", "-70.5")
    collection = '{"type": "FeatureCollection", "features": [%s]}'
    feature = '{"type": "Feature", "properties": {}, "geometry": {"type": "%s", "coordinates": %s}}'
    path.write_text(collection % (feature % ("MultiPolygon", f"[{SQUARE}, {other}]")))
    notes: list[str] = []
    ring = read_boundary(path, notes)
    assert ring[:, 0].min() == -72.0
    assert ring[:, 0].max() == -70.2
    assert len(notes) == 1


@pytest.mark.parametrize("text", ["nonsense", '{"type": "Point", "coordinates": [1, 2]}', "{}"])
def test_a_boundary_at_fault(tmp_path: Path, text: str) -> None:
    district = toml(district='boundary = "b.geojson"')
    found = fault(write_folder(tmp_path, district_toml=district, b_geojson=text))
    assert found.column == "district.boundary"
    assert found.rule.startswith("is no boundary")


def test_lines_of_keys_in_every_form() -> None:
    text = '# note\n[a]\nx.y = 1\n"quoted key" = 2\n[[b]]\nn = 1\n[[b]]\nn = [\n  1,\n]\n[columns.addresses]\nl = "L"\n'
    lines = key_lines(text)
    assert lines["a", "x", "y"] == 3
    assert lines["a", "quoted key"] == 4
    assert (lines["b", 0, "n"], lines["b", 1], lines["b", 1, "n"]) == (6, 7, 8)
    assert lines["columns", "addresses", "l"] == 12


def test_plan_months_default_is_all_year(tmp_path: Path) -> None:
    assert read_district(write_folder(tmp_path)).district.rules.plan.months == ALL_MONTHS


ODD_VALUES = (
    "1",
    "-1",
    "1.5",
    "nan",
    "true",
    '""',
    '"x"',
    "[]",
    "[1]",
    '["x"]',
    "{}",
    "{ x = 1 }",
    "2026-05-01",
    '"\\u0000"',
)


@pytest.mark.parametrize("table", sorted(KEYS))
def test_any_value_of_any_key_is_read_or_told(tmp_path: Path, table: str) -> None:
    path = write_folder(tmp_path)
    many = table == "response_levels"
    for value in ODD_VALUES:
        lines = [f"[[{table}]]" if many else f"[{table}]", *(f"{key} = {value}" for key in (*KEYS[table], "unknown"))]
        path.write_text("\n".join(lines))
        told = {found.column: found.row for found in faults(path)}
        assert told[f"{table}.1.unknown" if many else f"{table}.unknown"] == len(lines)
    path.write_text(f"{table} = 1\n")
    assert table in {found.column for found in faults(path)}
