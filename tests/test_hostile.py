"""Other people's text that wants to run: in every field of every input, through the real command, into every output."""

from __future__ import annotations

import csv
import io
import os
import re
import socket
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import openpyxl
import pytest
from pypdf import PdfReader
from pypdf.generic import ArrayObject, DictionaryObject, IndirectObject, StreamObject
from typer.testing import CliRunner

from preplan.cli import app
from preplan.roads import memory
from tests.faults.small import SmallDistrict, write_small_district
from tests.osm_text import OsmText
from tests.pdf_words import words_of

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

RUN = "window.ran=(window.ran||0)+1"
PAYLOADS = (
    f"<script>{RUN}</script>",
    f"</script><script>{RUN}</script>",
    f"<img src=x onerror='{RUN}'>",
    f'"><img src=x onerror="{RUN}">',
    f"'><svg onload='{RUN}'>",
    f'" onmouseover="{RUN}" x="',
    f"' autofocus onfocus='{RUN}' x='",
    f"</style><script>{RUN}</script><style>",
    f"</title></textarea></svg><script>{RUN}</script>",
    f"<!--><script>{RUN}</script-->",
    f"<iframe srcdoc='<script>parent.{RUN}</script>'></iframe>",
    f"<a href='javascript:{RUN}' id='planMap'>x</a>",
    "<base href='http://127.0.0.1:9/'>",
    "<meta http-equiv=refresh content='0;url=http://127.0.0.1:9/'>",
    "<link rel=stylesheet href=http://127.0.0.1:9/x.css>",
    f"<math><mtext><style><img src=x onerror='{RUN}'></style></mtext></math>",
    f"&lt;script&gt;{RUN}&lt;/script&gt;",
    f"{{{{constructor.constructor('{RUN}')()}}}}",
    f"${{{RUN}}}`+{RUN}+`",
    f"\\u003cscript\\u003e{RUN}\\u003c/script\\u003e",
    f"]]><script>{RUN}</script><![CDATA[",
    f"{{% raw %}}{{{{ {RUN} }}}}{{% endraw %}}",
    "<font size=72>x</font><br/><img src='/etc/hostname' width=100 height=100/>",
    "<para><a href='http://127.0.0.1:9/'>x</a></para>",
    "=cmd|'/c calc'!A1",
    '=HYPERLINK("http://127.0.0.1:9/","x")',
    "+1+cmd|' /C calc'!A0",
    "-2+3",
    "@SUM(1+1)*cmd|' /C calc'!A0",
    'DDE ("cmd";"/C calc";"x")',
    "../../../../climbed",
    "/var/climbed",
    "{{ cycler.__init__.__globals__.os.environ.__setitem__('PREPLAN_RAN', '1') }}",
    "{{ 7 * 'q,' }}",
    "C:\\climbed",
    "%s%s%n{0}{__class__}",
)  # fmt: skip
"""What is tried: scripts, ways out of attributes and elements, templates, formulas, markup of paper, paths."""
FORMULA = re.compile(r"[=+\-@\t\r]")
SET = {
    "addresses.csv", "levels.csv", "seasons.csv", "trips.csv", "tankers.csv", "dispatch.csv", "cards.csv",
    "rejected.csv", "addresses.xlsx", "map.html",
    "cards.pdf", "sites.pdf", "report.pdf", "preplan.gpkg", "fill_sites.gpx", "fill_sites.kml", "run.json",
}  # fmt: skip
"""Every file of a set: names are the program's own, whatever the ids say."""


def rows(header: str, lines: list[list[object]]) -> str:
    """Write a table with quotes where they are needed."""
    text = io.StringIO()
    out = csv.writer(text, lineterminator="\n")
    out.writerow(header.split(","))
    out.writerows(lines)
    return text.getvalue()


def safe_id(number: int, payload: str) -> str:
    """Make an id of a payload: one that starts like a formula is refused as an id, so it stands behind a letter."""
    return f"i{number} {payload}"


def hostile_district() -> SmallDistrict:
    """Put every payload into every kind of text there is, one a row."""
    one = SmallDistrict()
    each = list(enumerate(PAYLOADS))
    spots = [(round(-72.0 - 0.09 * i / len(PAYLOADS), 6), 44.0004) for i, _ in each]
    one.files["addresses.csv"] = rows(
        "address_id,label,lon,lat,street,occupancy,length_ft,width_ft,height_ft",
        [[safe_id(i, p), p, *spots[i], p, p, 30, 25, 20] for i, p in each],
    )
    one.files["fill_sites.csv"] = rows(
        "site_id,name,kind,lon,lat,fill_gpm,connection,notes,source_id",
        [[safe_id(i, p), p, "dry hydrant", spots[i][0], 44.0, 900, p, p, safe_id(i, p)] for i, p in each],
    )
    one.files["stations.csv"] = rows(
        "station_id,name,lon,lat", [[safe_id(i, p), p, spots[i][0], 44.0] for i, p in each]
    )
    kinds = ("engine", "tanker")
    one.files["apparatus.csv"] = rows(
        "unit_id,station_id,kind,tank_gal",
        [[safe_id(i, p), safe_id(i, p), kinds[i % 2], 1500 + i] for i, p in each],
    )
    one.files["hydrants.csv"] = rows(
        "hydrant_id,lon,lat,flow_gpm", [[safe_id(i, p), -72.3, 44.2, 500] for i, p in each]
    )
    one.toml = one.toml.replace('"Millrace"', _toml(" ".join(PAYLOADS[:12])))
    one.toml = one.toml.replace('"Level 1"', _toml(PAYLOADS[3])).replace('"Level 2"', _toml(PAYLOADS[4]))
    one.toml = one.toml.replace('apparatus = "', 'hydrants = "hydrants.csv"\napparatus = "')
    _hostile_roads(one.roads)
    one.mill_road["name"] = PAYLOADS[1]
    one.tower_lane["maxweight"] = PAYLOADS[2]
    return one


def _hostile_roads(text: OsmText) -> None:
    """Draw side roads named and tagged by the payloads, each off a node of Mill Road."""
    for i, payload in enumerate(PAYLOADS):
        text.node(100 + i, round(-72.0 - 0.01 * (i % 10) + 0.0001 * i, 6), 44.002)
        tags = {"highway": "residential", "name": payload, "ref": payload, "maxheight": payload, "surface": payload}
        text.way(200 + i, [1 + i % 10, 100 + i], tags)


def _toml(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Build the hostile district in a folder whose name and whose files' names are hostile too."""
    folder = tmp_path_factory.mktemp("hostile")
    home = folder / "<img src=x onerror=alert(1)> & 'co'"
    one = hostile_district()
    name = "<svg onload=window.ran=1>;=1+1.csv"
    one.files[name] = one.files.pop("addresses.csv")
    one.toml = one.toml.replace("addresses.csv", name)
    district = one.write(home)
    result = CliRunner().invoke(app, ["build", str(district), "--out", str(folder / "out")])
    assert result.exit_code == 0, (result.stderr[-2000:], result.exception)
    assert sorted(path.name for path in folder.iterdir()) == sorted([home.name, "out", "out.cache"])
    return folder / "out"


def test_no_text_is_a_template(built: Path) -> None:
    """The map is put together by templates: a text with their braces stands there as it is."""
    assert "PREPLAN_RAN" not in os.environ
    page = (built / "map.html").read_text(encoding="utf-8")
    assert "q,q,q,q,q,q,q," not in page
    assert "{{ 7 * &#x27;q,&#x27; }}" in page


def test_ids_and_names_never_become_paths(built: Path) -> None:
    names = {path.relative_to(built).as_posix() for path in built.rglob("*") if path.is_file()}
    assert {name for name in names if not re.fullmatch(r"cards/\d{3}\.pdf", name)} == SET


def test_the_card_of_a_hostile_id_is_named_by_its_row(built: Path, tmp_path: Path) -> None:
    district = hostile_district().write(tmp_path / "district")
    climbing = next(safe_id(i, p) for i, p in enumerate(PAYLOADS) if p.startswith("../"))
    result = CliRunner().invoke(app, ["card", str(district), climbing, "--out", str(tmp_path / "out")])
    assert result.exit_code == 0, result.stderr
    row = PAYLOADS.index("../../../../climbed") + 2
    assert [path.name for path in (tmp_path / "out").iterdir()] == [f"card-row-{row}.pdf"]
    assert (built / "cards.pdf").exists()


# --------------------------------------------------------------------------- the map, in a real browser


def opened(browser: Browser, url: str, asked: list[str], said: list[str], *, scripts: bool = True) -> Page:
    """Open a page with the network on, so that whatever asks for something is seen to ask."""
    page = browser.new_page(java_script_enabled=scripts, viewport={"width": 1280, "height": 900})
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("dialog", lambda dialog: said.append(dialog.message))
    page.goto(url)
    if scripts:
        page.wait_for_selector("body.ready")
    return page


FOREIGN = """() => [...document.querySelectorAll("*")].filter((one) =>
  ["IFRAME", "OBJECT", "EMBED", "BASE", "LINK", "FONT", "MATH", "PARA"].includes(one.tagName.toUpperCase())
  || (one.tagName === "IMG" && one.getAttribute("src") === "x")
  || (one.tagName === "META" && one.httpEquiv === "refresh")
  || [...one.attributes].some((a) => a.name.startsWith("on") || /^\\s*javascript:/i.test(a.value))
).map((one) => one.outerHTML.slice(0, 200))"""
"""Lists elements that no page of this program has."""


def test_nothing_runs_in_the_map(built: Path, browser: Browser) -> None:
    """Open it, search for every payload, open every address and fill site: nothing runs, and the text is shown."""
    asked: list[str] = []
    said: list[str] = []
    url = (built / "map.html").as_uri()
    page = opened(browser, url, asked, said)
    shown = 0
    for payload in PAYLOADS:
        page.fill("#search", payload)
        hits = page.locator("#found [role=option]").all()
        mine = [hit for hit in hits if payload in hit.inner_text()]
        (mine or hits)[-1].click()  # roads come first, addresses last
        shown += payload in page.inner_text("#panel-body h2")
        for button in page.locator("#panel-body button").all()[:2]:
            button.click()
        page.hover("#search")
    assert shown > 0.8 * len(PAYLOADS), "the panel shows what was searched for, as text"
    page.click("#map_plan")
    assert page.evaluate(FOREIGN) == []
    assert page.evaluate("() => window.ran") is None
    assert said == []
    assert asked == [url]
    page.close()


def test_nothing_runs_with_scripts_off(built: Path, browser: Browser) -> None:
    asked: list[str] = []
    said: list[str] = []
    page = opened(browser, (built / "map.html").as_uri(), asked, said, scripts=False)
    assert PAYLOADS[0] in page.inner_text("body"), "the table of fill sites shows the text as it is"
    assert page.title()
    assert len(asked) == 1
    assert said == []
    page.close()


def test_the_battery_would_be_seen(built: Path, browser: Browser, tmp_path: Path) -> None:
    """Left as they are in a page without a policy, some payloads run, and the checks above see them."""
    path = tmp_path / "bare.html"
    path.write_text(f"<body class='ready'>{''.join(PAYLOADS[:3])}</body>", encoding="utf-8")
    asked: list[str] = []
    page = opened(browser, path.as_uri(), asked, [])
    page.wait_for_function("() => window.ran >= 2")
    assert page.evaluate(FOREIGN) != []
    assert len(asked) > 1
    page.close()
    assert built.exists()


# --------------------------------------------------------------------------- paper, tables, other programs


def _objects(value: Any, seen: set[int]) -> Iterator[DictionaryObject]:
    """Walk every dictionary of a PDF."""
    if isinstance(value, IndirectObject):
        if value.idnum in seen:
            return
        seen.add(value.idnum)
        value = value.get_object()
    if isinstance(value, DictionaryObject):
        yield value
        for one in value.values():
            yield from _objects(one, seen)
    elif isinstance(value, ArrayObject):
        for one in value:
            yield from _objects(one, seen)


ACTS = {"/JS", "/JavaScript", "/AA", "/OpenAction", "/URI", "/Launch", "/EmbeddedFiles", "/RichMedia"}
"""Keys of a PDF by which something happens."""


def test_paper_holds_text_and_nothing_that_acts(built: Path) -> None:
    """No script, no link, no file and no picture that a text asked for; the text itself stands there."""
    texts = []
    for path in sorted(built.rglob("*.pdf")):
        reader = PdfReader(path)
        for one in _objects(reader.trailer, set()):
            assert not ACTS & set(one), (path.name, ACTS & set(one))
            assert one.get("/S") not in {"/URI", "/Launch", "/JavaScript", "/GoToR", "/SubmitForm"}, path.name
            assert not (isinstance(one, StreamObject) and one.get("/Subtype") == "/Image"), path.name
        texts.append("".join(words_of(path.read_bytes()).split()))
    whole = "".join(texts)
    for payload in (PAYLOADS[0], PAYLOADS[2], "<fontsize=72>"):
        assert "".join(payload.split())[:20] in whole, payload


def test_no_cell_runs_as_a_formula(built: Path) -> None:
    for path in built.glob("*.csv"):
        for row in csv.reader(io.StringIO(path.read_text(encoding="utf-8"))):
            running = [cell for cell in row if FORMULA.match(cell) and not re.fullmatch(r"-?\d+(\.\d+)?", cell)]
            assert running == [], path.name
    book = openpyxl.load_workbook(built / "addresses.xlsx")
    seen = 0
    for sheet in book:
        for cells in sheet.iter_rows():
            for cell in cells:
                assert cell.data_type != "f", (sheet.title, cell.coordinate)
                assert cell.hyperlink is None, (sheet.title, cell.coordinate)
                seen += str(cell.value).startswith(("=", "+", "@", "'="))
    assert seen > 0, "the payloads are in the workbook, as text"


def test_waypoints_are_text(built: Path) -> None:
    """Files of waypoints are sound XML; a description that another program may show as HTML holds none."""
    for name in ("fill_sites.gpx", "fill_sites.kml"):
        tree = ET.fromstring((built / name).read_bytes())  # noqa: S314 - our own file
        tags = [(one.tag.rpartition("}")[2].lower(), one.text or "") for one in tree.iter()]
        assert {tag for tag, _ in tags}.isdisjoint({"script", "img", "svg", "iframe"})
        shown = [text for tag, text in tags if tag == "description"]
        if name.endswith(".kml"):
            assert not [text for text in shown if re.search(r"<[a-z!/]", text, re.IGNORECASE)], name


# --------------------------------------------------------------------------- the network, memory, caches


@pytest.mark.parametrize("command", [["build"], ["check"], ["card", "G1"]], ids=lambda words: words[0])
def test_nothing_is_asked_of_the_network(command: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """With every socket refused, all commands work on a district that names its files."""

    def refuse(*_: object, **__: object) -> NoReturn:
        raise AssertionError("the network was asked")

    for name in ("connect", "connect_ex", "sendto"):
        monkeypatch.setattr(socket.socket, name, refuse)
    for name in ("getaddrinfo", "gethostbyname", "create_connection"):
        monkeypatch.setattr(socket, name, refuse)
    monkeypatch.chdir(tmp_path)
    district = write_small_district(tmp_path / "district")
    result = CliRunner().invoke(app, [command[0], str(district), *command[1:]])
    assert result.exit_code == 0, result.stderr


def test_a_download_is_made_only_where_it_is_asked_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[object] = []

    def refuse(url: object, *_: object, **__: object) -> NoReturn:
        asked.append(url)
        raise OSError("no network here")

    monkeypatch.setattr("urllib.request.urlopen", refuse)
    one = SmallDistrict()
    result = CliRunner().invoke(app, ["build", str(one.write(tmp_path / "a")), "--out", str(tmp_path / "x")])
    assert result.exit_code == 0
    assert asked == []
    one.toml = one.toml.replace('file = "roads.osm"', "download = true").replace(
        "date = 2026-05-01", 'date = 2026-05-01\nboundary = "boundary.geojson"'
    )
    one.files["boundary.geojson"] = (
        '{"type":"Polygon","coordinates":[[[-72.1,43.9],[-71.9,43.9],[-71.9,44.1],[-72.1,44.1],[-72.1,43.9]]]}'
    )
    result = CliRunner().invoke(app, ["build", str(one.write(tmp_path / "b")), "--out", str(tmp_path / "y")])
    assert result.exit_code == 2
    assert "means that the road server cannot be reached" in result.stderr
    assert len(asked) == 1


@pytest.mark.parametrize("name", ["roads.osm", "roads.graphml"])
def test_a_road_file_too_large_for_the_memory_left_is_refused_unread(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Before a byte of it is read; what is wanted, what is free and what to do are said."""
    one = SmallDistrict(toml=SmallDistrict().toml.replace("roads.osm", name))
    one.files |= {"roads.osm": None, name: b"<graphml" + b" " * 2_000_000}
    district = one.write(tmp_path / "district")
    monkeypatch.setattr(memory, "free_bytes", lambda: 1_500_000)
    result = CliRunner().invoke(app, ["build", str(district), "--out", str(tmp_path / "out")])
    assert result.exit_code == 2
    assert f"{name}: may take 0.0 GB of memory to read, and 0.0 GB are free" in result.stderr
    assert not (tmp_path / "out").exists()


def test_memory_that_is_left_is_counted() -> None:
    """A machine has between a megabyte and a petabyte; a file wants at least its own size."""
    free = memory.free_bytes()
    assert free is None or 1e6 < free < 1e15
    assert memory.wanted_bytes(Path(__file__)) > Path(__file__).stat().st_size


def test_a_cache_that_somebody_wrote_is_data_or_nothing(tmp_path: Path) -> None:
    """A pickle, an archive of pickles, a text: each is as if nothing were kept, and is replaced."""
    district = write_small_district(tmp_path / "district")
    out = tmp_path / "out"
    assert CliRunner().invoke(app, ["build", str(district), "--out", str(out)]).exit_code == 0
    (kept,) = (tmp_path / "out.cache").iterdir()
    before = (out / "addresses.csv").read_bytes()
    ran = tmp_path / "ran"
    pickle = f"cos\nsystem\n(S'touch {ran}'\ntR.".encode()
    for content in (pickle, b"\x93NUMPY\x01\x00v\x00{'descr': '|O', 'fortran_order': False, 'shape': (), }\n" + pickle):
        kept.write_bytes(content)
        assert CliRunner().invoke(app, ["build", str(district), "--out", str(out)]).exit_code == 0
        assert kept.read_bytes()[:2] == b"PK"
        assert (out / "addresses.csv").read_bytes() == before
    assert not ran.exists()
