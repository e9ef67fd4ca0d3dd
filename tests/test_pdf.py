"""Pages on paper: whole, found by the index, inside the page, the same every time, whatever people typed."""

from __future__ import annotations

import io
import math
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import product
from typing import Any

import numpy as np
import pytest
from pypdf import PageObject, PdfReader

from preplan.plan import Plan
from preplan.plan_cards import CardGroup, Step
from preplan.plan_inputs import Rejected
from preplan.plan_tables import FIRST_CIRCUIT, SECOND_CIRCUIT, Flag
from preplan.records import FeatureTable, ResponseLevel, text_array
from preplan.render import (
    card_facts,
    card_parts,
    card_pdf,
    card_way,
    card_words,
    charts,
    coverage_pdf,
    evidence_pdf,
    paper,
    report_pdf,
    route_pdf,
    scene,
    site_pdf,
    symbols_pdf,
    words,
)
from preplan.render.dispatch import dispatch_csv
from preplan.render.lettering_pdf import lacks_letters
from preplan.render.map_html import map_page
from preplan.render.scene import Box

from .built_sample import built_sample
from .example_plan import example_plan, held_later, other_plan, split_plan
from .pdf_words import pages_of, texts_of, words_of
from .plan_checks import SAMPLE, plan_of
from .test_tables import picked

KINDS = ("cards", "one", "sites", "report")
CAUTION_WORDS = ("estimate for planning", "Confirm roads, bridges, water and access", "incident commander")
LONG = "Überlänge-Ελληνικά-Кириллица" + "x" * 272


INDEX_PAGES = 2
"""Of the example: by road and by status."""


def _draw(kind: str, plan: Plan) -> bytes:
    if kind == "cards":
        return dict(card_pdf.cards(plan))["cards.pdf"]
    if kind == "one":
        return card_pdf.one_card(plan, 2)
    return site_pdf.sites(plan) if kind == "sites" else report_pdf.report(plan)


def _read(file: bytes) -> PdfReader:
    return PdfReader(io.BytesIO(file), strict=True)


@dataclass(frozen=True)
class Run:
    """One run of text on a page, level or sloping, in points."""

    left: float
    base: float
    size: float
    width: float
    level: bool

    def overlaps(self, other: Run) -> bool:
        """Tell whether two level runs cover each other's letters (0.7 of the size above the base line)."""
        return (
            self.left + 0.5 < other.left + other.width
            and other.left + 0.5 < self.left + self.width
            and self.base < other.base + 0.7 * other.size
            and other.base < self.base + 0.7 * self.size
        )


def _runs(page: PageObject) -> list[Run]:
    """List every run of text; its width is measured with the program's own font, so it knows ASCII only."""
    found: list[Run] = []
    font: list[Any] = ["", 0.0]
    fonts: Any = page["/Resources"]["/Font"]  # type: ignore[index]
    bold = {name: "Bold" in str(fonts[name]["/BaseFont"]) for name in fonts}

    def operand(operator: bytes, operands: Any, cm: list[float], tm: list[float]) -> None:
        if operator == b"Tf":
            font[:] = [str(operands[0]), float(operands[1])]
        if operator == b"Tj":
            raw = operands[0]
            said = raw if isinstance(raw, str) else bytes(raw).decode("latin-1")
            placed = np.reshape([*tm[:2], 0, *tm[2:4], 0, *tm[4:], 1], (3, 3))
            a, b, _, _, _, _, x, y, _ = (placed @ np.reshape([*cm[:2], 0, *cm[2:4], 0, *cm[4:], 1], (3, 3))).ravel()
            scale = float(np.hypot(a, b))
            size = float(font[1]) * scale
            width = paper.width_of(said, size, bold=bold[font[0]])
            found.append(Run(float(x), float(y), size, width, level=abs(b) < 1e-6))

    page.extract_text(visitor_operand_before=operand)
    return [run for run in found if run.width > 0]


@pytest.fixture(scope="module")
def plan() -> Plan:
    return example_plan()


def _hostile() -> Plan:
    """Make the example as hard to print as tables allow."""
    plan = example_plan()
    n = len(plan.addresses)
    levels = tuple(ResponseLevel(name=f"Level {k} " + "long name " * 4, engines=9, tankers=9) for k in range(6))

    def six(column: np.ndarray[Any, Any]) -> Any:
        return np.repeat(column[:, :1], 6, axis=1)

    table = plan.levels
    wide = {name: six(getattr(table, name)) for name in table.__slots__}
    flags = tuple(Flag(code, LONG) for code in ("left out", "seasonal", "close", "a new one", "no way", "level short"))
    steps = tuple(Step(road=LONG, miles=7.0, turn="Left on", note="unposted bridge") for _ in range(20))
    groups = tuple(replace(g, road=LONG if g.road else "", out_steps=steps, back_steps=steps, cross_street=LONG)
                   for g in plan.groups)  # fmt: skip
    units = tuple(replace(u, unit_id=f"Unit of a long name {k} {LONG[:30]}", assumed=("loaded_lb",))
                  for k, u in enumerate(plan.units))  # fmt: skip
    sites = tuple(replace(s, name=LONG, connection=LONG, notes=LONG * 3, tested=LONG) for s in plan.sites)
    return replace(
        plan, district=replace(plan.district, name=LONG, levels=levels), levels=replace(table, **wide),
        addresses=replace(plan.addresses, label=text_array([LONG] * n), street=text_array([LONG] * n)),
        answers=replace(plan.answers, flags=(flags,) * n, level=np.minimum(plan.answers.level, 0)),
        seasons=tuple(
            replace(s, **{word: six(getattr(s, word)) for word in ("best_site", "split_site", "uninterrupted_gpm")})
            for s in plan.seasons * 2
        ),
        season_limits=plan.season_limits * 2,
        groups=groups, units=units, sites=sites, site_flags=(flags,) * 3, problems=plan.problems * 90,
        roads=replace(plan.roads, name=text_array([LONG] * len(plan.roads))),
    )  # fmt: skip


def _odd_characters() -> Plan:
    plan = example_plan()
    odd = "a\x00b\n\ud800 \u202eevil\u202c 火災 🚒 مرحبا <b>&amp;</b> %s \\( )"
    n = len(plan.addresses)
    return replace(plan, addresses=replace(plan.addresses, label=text_array([odd] * n), street=text_array([odd] * n)))


def _empty() -> Plan:
    """Make a plan in which nothing is planned: no sites, no groups, no water."""
    plan = example_plan()
    table = plan.levels
    none = {name: np.full_like(getattr(table, name), -1) for name in ("site", "backup", "split", "trip", "backup_trip")}
    return replace(
        plan, sites=(), site_segment=np.empty(0, dtype=np.int32), site_flags=(), groups=(), seasons=(),
        levels=replace(table, **none), features=FeatureTable(), problems=(), stations=(),
        answers=replace(plan.answers, status=text_array(["no route"] * 6), level=np.full(6, -1, dtype=np.int32)),
    )  # fmt: skip


def scaled(share: float) -> Plan:
    """Make all ways shorter or longer, about the middle of the example."""
    plan = example_plan()

    def scaled(lon: Any, lat: Any) -> dict[str, Any]:
        return {"lon": -72.025 + share * (lon + 72.025), "lat": 44.0 + share * (lat - 44.0)}

    roads, places = plan.roads, scaled(plan.roads.coord_lon, plan.roads.coord_lat)
    return replace(
        plan, roads=replace(roads, coord_lon=places["lon"], coord_lat=places["lat"]),
        addresses=replace(plan.addresses, **scaled(plan.addresses.lon, plan.addresses.lat)),
        frontages=replace(plan.frontages, **scaled(plan.frontages.lon, plan.frontages.lat)),
        sites=tuple(replace(s, **scaled(s.lon, s.lat)) for s in plan.sites),
        stations=tuple(replace(s, **scaled(s.lon, s.lat)) for s in plan.stations),
    )  # fmt: skip


PLANS: dict[str, Callable[[], Plan]] = {
    "example": example_plan,
    "hostile": _hostile,
    "odd characters": _odd_characters,
    "empty": _empty,
    "300 ft": lambda: scaled(0.06),
    "40 miles": lambda: scaled(40.0),
    "two fill sites": split_plan,
    "a sheet for the backup": lambda: other_plan(backup=True),
}


@pytest.fixture(scope="module", params=[(kind, name) for name in PLANS for kind in KINDS], ids="-".join)
def drawn(request: pytest.FixtureRequest) -> bytes:
    kind, name = request.param
    return _draw(kind, PLANS[name]())


@pytest.fixture(scope="module")
def pages(drawn: bytes) -> list[PageObject]:
    return list(_read(drawn).pages)


def test_every_page_is_letter_and_says_the_cautions_and_the_date(drawn: bytes, pages: list[PageObject]) -> None:
    for page, said in zip(pages, pages_of(drawn), strict=True):
        assert [float(side) for side in page.mediabox] == [0.0, 0.0, 612.0, 792.0]
        for caution in CAUTION_WORDS:
            assert caution in said
        assert "2026-05-01" in said
        assert "OpenStreetMap contributors" in said


def test_no_text_leaves_the_page_or_is_too_small(pages: list[PageObject]) -> None:
    for page in pages:
        runs = _runs(page)
        assert len(runs) > 5
        for run in runs:
            assert run.size >= 8.0 - 1e-4
            assert run.left >= 36.0 - 1.0
            assert run.base >= 24.0
            if run.level:
                assert run.left + run.width <= 612.0 - 36.0 + 6.0
                assert run.base + run.size <= 792.0 - 30.0


def test_nothing_but_the_footer_stands_in_its_place(pages: list[PageObject]) -> None:
    for page in pages:
        assert len([run for run in _runs(page) if run.base < paper.FOOT_PT - 4.0]) in {4, 5}


def test_every_font_is_embedded(pages: list[PageObject]) -> None:
    for page in pages:
        fonts: Any = page["/Resources"]["/Font"]  # type: ignore[index]
        assert fonts
        for font in fonts.values():
            assert "/FontFile2" in font.get_object()["/FontDescriptor"]


@pytest.mark.parametrize("name", list(PLANS))
@pytest.mark.parametrize("kind", KINDS)
def test_no_line_of_text_covers_another(kind: str, name: str) -> None:
    for page in _read(_draw(kind, PLANS[name]())).pages:
        runs = [run for run in _runs(page) if run.level]
        clash = [(a, b) for at, a in enumerate(runs) for b in runs[:at] if a.overlaps(b)]
        # a map's labels are each written twice, halo and letters, at one place
        assert [pair for pair in clash if (pair[0].left, pair[0].base) != (pair[1].left, pair[1].base)] == []


@pytest.mark.parametrize("kind", ["sites", "report"])
def test_no_text_covers_another_nor_the_footer_on_the_sample_s_pages(kind: str) -> None:
    """Seven bars of the report were drawn where there was room for six, the last one over the cautions."""
    for at, page in enumerate(_read(built_sample().files[f"{kind}.pdf"]).pages, 1):
        runs = [run for run in _runs(page) if run.level]
        clash = [(a, b) for k, a in enumerate(runs) for b in runs[:k] if a.overlaps(b)]
        assert [pair for pair in clash if (pair[0].left, pair[0].base) != (pair[1].left, pair[1].base)] == [], at
        assert len([run for run in runs if run.base < paper.FOOT_PT - 4.0]) in {4, 5}, at


def test_no_text_covers_another_nor_is_cut_on_the_sample_s_cards() -> None:
    """Every ninth page of all of them, the maps' labels and numbers with the rest."""
    pages = _read(built_sample().files["cards.pdf"]).pages
    for at in range(0, len(pages), 9):
        runs = [run for run in _runs(pages[at]) if run.level]
        clash = [(a, b) for k, a in enumerate(runs) for b in runs[:k] if a.overlaps(b)]
        assert [pair for pair in clash if (pair[0].left, pair[0].base) != (pair[1].left, pair[1].base)] == [], at + 1
        edges = paper.LEFT_PT - 0.5, paper.RIGHT_PT + 0.5
        assert [run for run in runs if run.left < edges[0] or run.left + run.width > edges[1]] == [], at + 1


def test_sentences_without_end_stand_whole_behind_the_card_and_cover_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """Set for the whole width, they were printed over the steps of the empty way beside them."""
    sentences = [f"At minute {at} one of too many units pumps into the attack engine." for at in range(18)]
    monkeypatch.setattr("preplan.render.first_minutes.officer_words", lambda *_: " ".join(sentences))
    plan = plan_of(SAMPLE / "district.toml")
    longest = max(plan.groups, key=lambda group: len(group.back_steps))
    content = card_pdf.one_card(plan, longest.lead)
    for page in _read(content).pages:
        runs = [run for run in _runs(page) if run.level]
        clash = [(a, b) for k, a in enumerate(runs) for b in runs[:k] if a.overlaps(b)]
        assert [pair for pair in clash if (pair[0].left, pair[0].base) != (pair[1].left, pair[1].base)] == []
    behind = " ".join(" ".join(pages_of(content)[1:]).split())
    assert [one for one in sentences if one not in behind] == []


@pytest.mark.parametrize("kind", KINDS)
def test_same_plan_same_bytes(kind: str) -> None:
    assert _draw(kind, example_plan()) == _draw(kind, example_plan())


def test_index_comes_first_and_leads_to_every_card(plan: Plan) -> None:
    file = dict(card_pdf.cards(plan))["cards.pdf"]
    reader, index = _read(file), pages_of(file)[0]
    assert len(reader.pages) == INDEX_PAGES + len(plan.groups)
    for address in range(len(plan.addresses)):
        first_words = " ".join(words.where_words(plan, address).split()[:2])
        assert first_words in index
    assert "3 Mill Road H1, 400 ft, counts for 670 gpm (own 1,000)" in index
    links = [note.get_object() for note in reader.pages[0]["/Annots"]]  # type: ignore[attr-defined]
    assert len(links) == np.count_nonzero(plan.answers.status != "hydrant")
    led_to = {reader.get_page_number(link["/Dest"][0].get_object()) for link in links}
    assert led_to == {2, 3, 4, 5}


def test_index_by_status_names_the_pages_of_each_road_s_cards(plan: Plan) -> None:
    file = dict(card_pdf.cards(plan))["cards.pdf"]
    reader, pages = _read(file), pages_of(file)
    said = pages[1]
    assert "not met: 2 Quarry Lane, 2 addresses: page 5 no route: 1" in said
    assert "higher level: 1 Mill Road, 1 address: page 4" in said
    assert said.index("not met: 2") < said.index("no route: 1") < said.index("served: 1") < said.index("hydrant within")
    assert "Quarry Lane 7 to 9" in pages[5 - 1]
    led_to = [reader.get_page_number(note.get_object()["/Dest"][0].get_object()) for note in reader.pages[1]["/Annots"]]  # type: ignore[attr-defined]
    assert led_to == [4, 5, 2, 3]


@pytest.mark.parametrize("count", [60, 400])
def test_the_pages_named_are_those_of_the_cards(plan: Plan, count: int) -> None:
    """The index names pages that begin after it: the one address is on the last of its cards."""
    base = plan.groups[0]
    groups = tuple(replace(base, road=f"Road {k:04d}", first_number=k, last_number=k) for k in range(count))
    road = plan.road.copy()
    road[base.lead] = f"Road {count - 1:04d}"
    pages = pages_of(dict(card_pdf.cards(replace(plan, groups=groups, road=road)))["cards.pdf"])
    first = len(pages) - count
    assert f"card 1 of {count}" in pages[first]
    assert f"Road {count - 1:04d}, 1 address: page {len(pages)}" in pages[first - 1]


def test_the_index_says_whose_road_is_the_nearest_and_where_those_without_one_are(plan: Plan) -> None:
    """Nobody stands under the road of somebody else for want of a road in the table."""
    street, road = text_array(["Mill Road", "", "", "", "", ""]), plan.road.copy()
    ours = replace(plan, addresses=replace(plan.addresses, street=street), road=road)
    said = pages_of(dict(card_pdf.cards(ours))["cards.pdf"])[0]
    assert "</script>(noroadnamed:nearest)" in "".join(said.split())
    assert "12 Mill Road (no road named: nearest)" not in said
    assert "Quarry Lane (no road named: nearest)" in said
    assert said.count("Quarry Lane (no road named: nearest)") == 1  # the heading says it for all
    assert re.search(r"No road name, no cross street near 1 Far Island, grid \d{4} \d{4}", said)
    near = replace(ours, groups=tuple(replace(g, cross_street="Elm Road") for g in ours.groups))
    file = dict(card_pdf.cards(near))["cards.pdf"]
    pages = pages_of(file)
    assert "No road name, near Elm Road" in pages[0]
    assert "No road name, near Elm Road" in [entry.title for entry in _flat(_read(file).outline)]
    assert any(re.search(r"Cross street: Elm Road(;| \d)", page) for page in pages)
    far = replace(ours, groups=tuple(replace(g, cross_street="Elm Road", cross_mi=1.416) for g in ours.groups))
    pages = pages_of(dict(card_pdf.cards(far))["cards.pdf"])
    assert "No road name, no cross street near" in pages[0]
    assert any("Cross street: Elm Road, 1.42 mi" in page for page in pages)


def test_the_index_says_what_a_hydrant_counts_for_and_what_it_gives() -> None:
    """At the end of a long lay much less comes out than at the hydrant."""
    sample = plan_of(SAMPLE / "district.toml")
    reach, rows = sample.near_hydrant, np.flatnonzero(sample.answers.status == "hydrant").tolist()
    assert len(rows) > 1
    said = " ".join(
        " ".join(pages_of(dict(card_pdf.cards(replace(sample, groups=sample.groups[:1])))["cards.pdf"])).split()
    )
    less = 0
    for a in rows:
        counts, own = (
            math.floor(gpm + 1e-6) for gpm in (reach.credited_gpm[a], sample.hydrants.flow_gpm[reach.hydrant[a]])
        )
        less += counts < own
        told = f"ft, counts for {counts:,} gpm" + (f" (own {own:,}" if own != counts else "")
        assert told in said
    assert less
    for guess in (
        "H7, 318 ft, counts for 250 gpm (class C, under 500 gpm: assumed)",
        "H8, 465 ft, counts for 500 gpm (assumed)",
    ):
        assert guess in said


def test_labels_that_are_the_same_are_counted_or_told_apart(plan: Plan) -> None:
    label = text_array(["0 Mill Road", "0 Mill Road", "0 Quarry Lane", "0 Quarry Lane", "1 Far Island", "3 Mill Road"])
    ours = replace(plan, addresses=replace(plan.addresses, label=label))
    file = dict(card_pdf.cards(ours))["cards.pdf"]
    index, by_status, *_ = pages_of(file)
    assert re.search(r"0 Quarry Lane \(2 of these\) (?!near)", index)
    apart = re.findall(r"0 Mill Road near \w+ \w+, grid \d{4} \d{4}|0 Mill Road, grid \d{4} \d{4}", index)
    assert len(set(apart)) == 2
    assert "not met: 2 Quarry Lane, 2 addresses: page" in by_status
    titles = [entry.title for entry in _flat(_read(file).outline)]
    assert len({title for title in titles if title.startswith("0 Mill Road")}) == 2


def test_the_report_says_near_which_road_those_without_one_fall_short(plan: Plan) -> None:
    """A row each for houses without a road's name told a board nothing of where they are."""
    groups = tuple(replace(group, road="", cross_street="Elm Road") for group in plan.groups)
    said = " ".join(pages_of(report_pdf.report(replace(plan, groups=groups))))
    short, longest = "No road name, near Elm Road 2 9 Quarry Lane", "No road name, near Elm Road 1 40 Mill Road"
    assert short in said
    assert longest in said
    assert "Elm Road" not in " ".join(pages_of(report_pdf.report(plan)))


@pytest.mark.parametrize(("gpm", "enough"), [(499.0, 0), (500.0, 1)])
def test_the_report_counts_who_holds_all_that_is_required_from_a_later_minute_on(gpm: float, enough: int) -> None:
    later = held_later(3, from_min=40.2, gpm=gpm)
    said = words_of(report_pdf.report(replace(example_plan(), built_up=later)))
    assert "At 1 of those not met at least a quarter more than that is held from a later minute on" in said
    assert f"; at {enough} of them all that is required" in said


def test_bookmarks_name_roads_and_cards(plan: Plan) -> None:
    outline: Any = _read(dict(card_pdf.cards(plan))["cards.pdf"]).outline
    titles = [entry.title for entry in _flat(outline)]
    assert titles[:2] == ["Index", "Index by status"]
    assert {"Mill Road", "Quarry Lane", "12 Mill Road", "Quarry Lane 7 to 9", "1 Far Island"} <= set(titles)
    report = [entry.title for entry in _flat(_read(report_pdf.report(plan)).outline)]
    assert {"Summary", "Not met: the largest shortfalls in gpm", "Rules in use", "Method and limits"} <= set(report)


def _flat(outline: Any) -> Iterator[Any]:
    for entry in outline:
        if isinstance(entry, list):
            yield from _flat(entry)
        else:
            yield entry


@pytest.mark.parametrize(
    ("page", "told"),
    [
        (1, ["12 Mill Road", "Response level 1", "served", "320 gpm of 250 required", "after that 310 gpm",
             "First water minute 12, full flow asked for from 25.", "Attack: E1 at 10 min",
             "Tankers: 5,000 gal; T1 at 13, T2 at 20 min", "Fill site: E2 at 12 min", "E2 pumps here.",
             "On wheels: 5,000 gal in tankers, 1,750 gal in engines. E1 alone: 6 min at 150 gpm.",
             "US National Grid 18T YP ",
             "Empty tankers arrive heading ", "Leave a lane open",
             "size from the address table",
             "Fill site 1: Mill Pond dry hydrant", "6 in NST", "tested 2025-09-12",
             "Cross street: Quarry Lane", "Hose to the building: 120 ft", "Backup: Fill site 2",
             "190 gpm, does not meet.",
             "December to March: 310 gpm", "44° 00.090' N, 72° 02.160' W", "Verified on the ground by",
             "turn round here (room ASSUMED: check it)"]),
        (2, ["Response level 2", "higher level", "510 gpm of 500 required", "<script>alert(1)</script>",
             "2.5 minutes longer", "Backup: none", "A lower response level does not meet"]),
        (3, ["Quarry Lane 7 to 9", "not met", "250 gpm of 500 required", "No response level meets", "Covers 2:",
             "=HYPERLINK", "640 ft of hose", "April to November only", "Ünïcødé Farm"]),
        (4, ["1 Far Island", "no route", "No response level", "90,000 ft from the nearest road",
             "No fill site serves"]),
    ],
)  # fmt: skip
def test_cards_say_what_an_officer_asks(plan: Plan, page: int, told: list[str]) -> None:
    said = pages_of(dict(card_pdf.cards(plan))["cards.pdf"])[INDEX_PAGES - 1 + page]
    for one in told:
        assert one in said


def test_the_first_answers_stand_in_the_top_third(plan: Plan) -> None:
    page = _read(dict(card_pdf.cards(plan))["cards.pdf"]).pages[INDEX_PAGES]
    placed: dict[str, float] = {}

    def text(said: str, _cm: Any, tm: list[float], _font: Any, _size: float) -> None:
        placed.setdefault(said.strip(), tm[5])

    page.extract_text(visitor_text=text)
    for head in ("WHAT TO CALL", "CAN WE DO IT", "DUMP SITE", "WHERE TANKERS FILL"):
        assert placed[head] > 792.0 * 2 / 3


def test_every_level_is_in_the_table(plan: Plan) -> None:
    said = pages_of(dict(card_pdf.cards(plan))["cards.pdf"])[INDEX_PAGES]
    assert "response level 1 320 310 same meets 1 tankers 160 T1 T2" in said
    assert "response level 2 540 520 380 meets 1 fill site 270 T1 T2" in said


def test_one_card_is_the_card_of_the_address_s_group(plan: Plan) -> None:
    for address in (2, 3):
        (page,) = pages_of(card_pdf.one_card(plan, address))
        assert "Quarry Lane 7 to 9" in page
    (page,) = pages_of(card_pdf.one_card(plan, 5))
    assert "Hydrant within 1,000 ft: no tanker shuttle is planned" in page
    with pytest.raises(IndexError):
        card_pdf.one_card(plan, 6)


def test_above_500_cards_the_set_is_split_and_the_index_says_where(plan: Plan) -> None:
    groups = tuple(
        CardGroup(road=f"Road {k:04d}", addresses=(4,) if k == 501 else (), lead=4, first_number=k, last_number=k,
                  out_steps=(), back_steps=(), cross_street="")
        for k in range(502)
    )  # fmt: skip
    files = dict(card_pdf.cards(replace(plan, groups=groups)))
    assert list(files) == ["cards.pdf", "cards/001.pdf", "cards/002.pdf"]
    assert [len(_read(file).pages) for file in files.values()] == [INDEX_PAGES, 251, 251]
    notes: Any = _read(files["cards.pdf"]).pages[0]["/Annots"]
    links = [note.get_object()["/A"]["/URI"] for note in notes]
    assert links == ["cards/002.pdf#nameddest=card501"]
    assert "1 Far Island" in pages_of(files["cards/002.pdf"])[250]
    assert "002, page 251" in pages_of(files["cards.pdf"])[0]


def test_files_of_cards_are_even_in_number_and_hold_every_card() -> None:
    """Two processes then have as much to draw as each other; none holds more than 500."""
    for count in (501, 999, 1000, 1001, 1499, 15_003):
        size = card_pdf._in_a_file(count)
        files = -(-count // size)
        assert size <= 500
        assert files % 2 == 0
        assert (files - 1) * size < count
    assert card_pdf._in_a_file(500) == 0


def test_the_report_counts_a_backup_only_where_it_is_enough_in_every_month() -> None:
    plan = plan_of(SAMPLE / "district.toml")
    met = [a for a, status in enumerate(plan.answers.status) if status in {"served", "higher level"}]
    cells = {a: (a, int(plan.answers.level[a])) for a in met}
    holds = {
        a: [season.backup_gpm[cell] >= plan.needs.required_gpm[a] for season in plan.seasons]
        for a, cell in cells.items()
    }
    document = paper.Document(plan.district, "report")
    document.begin()
    evidence_pdf.out_of_service(document, plan)
    said = words_of(document.finish())
    always = sum(all(one) for one in holds.values())
    decides = sum(holds[a][int(plan.levels.season[cell])] for a, cell in cells.items())
    assert always < decides
    assert f"With the first fill site out, {always} of {len(met)} " in said
    assert "still met at the same level in every month." in said
    # fill site 1: where in some month it is the first and its backup too little, or one of two
    lost = [
        a for a, cell in cells.items()
        if any(season.split_site[cell] == 0 or (season.best_site[cell] == 0 and not enough)
               for season, enough in zip(plan.seasons, holds[a], strict=True))
    ]  # fmt: skip
    used = [a for a, cell in cells.items() if any(0 in season.sites_of(*cell) for season in plan.seasons)]
    assert f"{words.site_words(plan, 0)} {len(used)} {len(lost)} of {len(used)} " in said


def test_two_processes_draw_the_same_files(plan: Plan) -> None:
    larger = replace(plan, groups=plan.groups * 126)
    assert dict(card_pdf.cards(larger, 2)) == dict(card_pdf.cards(larger, 1))


def test_those_who_fill_at_a_second_site_have_a_sheet_of_their_own_behind_the_card() -> None:
    plan = split_plan()
    texts = pages_of(dict(card_pdf.cards(plan))["cards.pdf"])
    at = next(k for k, said in enumerate(texts) if "TWO FILL SITES" in said)
    card, sheet = texts[at], texts[at + 1]
    assert "T1 fills here; T2 fills at fill site 2: map and way on a sheet behind." in " ".join(card.split())
    assert re.search(r"response level 2 .*1 \+ 2", card)
    assert f"{card_words.where(card_facts.Facts(plan, plan.groups[0]))[0]}, second fill site" in sheet
    for told in (
        "Fill site 2:",
        "For T2 only.",
        "E3 pumps here.",
        "1. Leave the fill site north on Pond Lane",
        "LOADED",
    ):
        assert told in sheet
    assert "continued" in sheet
    assert "second fill site in" not in sheet
    # one that is taken in some months only has them on the sheet too
    never = np.full_like(plan.levels.split, -1)
    winter = tuple(replace(one, split_site=never) if 12 in one.months else one for one in plan.seasons)
    summer = pages_of(dict(card_pdf.cards(replace(plan, seasons=winter)))["cards.pdf"])
    sheet = next(said for said in summer if ", second fill site" in said)
    assert ", second fill site in April to November" in sheet
    assert "SECOND FILL SITE IN APRIL TO NOVEMBER Fill site 2:" in sheet
    assert "DUMP SITE, APR TO NOV" in sheet
    # without a split no such page
    assert not any("second fill site" in page for page in pages_of(_draw("cards", example_plan())))


def test_each_circuit_s_drivers_read_its_own_warnings_and_those_of_the_address() -> None:
    """On card and sheet, and on the pages of the two fill sites: what is shut to one group is not to the other."""
    plan = split_plan()
    first, second = (
        Flag("empty only", f"the {name} bridge (posted 20,000 lb = 10 tons)", circuit=circuit)
        for name, circuit in (("Elm", FIRST_CIRCUIT), ("Oak", SECOND_CIRCUIT))
    )
    flags = (
        first, second, Flag("circuits meet", "0.7 miles of Elm Lane"),
        Flag("narrow road", 1.4, "mi", FIRST_CIRCUIT), Flag("unposted bridges", 3.0, circuit=SECOND_CIRCUIT),
    )  # fmt: skip
    told = replace(plan, answers=replace(plan.answers, flags=(flags, *plan.answers.flags[1:])))
    cards = pages_of(dict(card_pdf.cards(told))["cards.pdf"])
    sites = pages_of(site_pdf.sites(told))
    pairs = (
        (
            next(said for said in cards if "TWO FILL SITES" in said),
            next(said for said in cards if "For T2 only." in said),
        ),
        (
            " ".join(
                said
                for said in sites
                if "fill site 1 of" in said or "Fill site 1: Mill Pond dry hydrant, continued" in said
            ),
            " ".join(
                said for said in sites if "fill site 2 of" in said or re.search(r"Fill site 2: .*, continued", said)
            ),
        ),
    )
    for card, sheet in pairs:
        assert "LOADED: not over the Elm bridge" in card
        assert "LOADED: not over the Elm bridge" not in sheet
        assert "LOADED: not over the Oak bridge" in sheet
        assert "LOADED: not over the Oak bridge" not in card
        for said in (card, sheet):
            assert (
                "Loaded tankers of one circuit meet empties of the other on 0.7 miles of Elm Lane, one truck wide"
                in said
            )
    card, sheet = pairs[0]
    assert "One truck wide for 1.4 miles" in card
    assert "One truck wide for 1.4 miles" not in sheet
    assert "bridges without a posted weight on the round trip: 3" in sheet
    assert "bridges without a posted weight on the round trip: 3" not in card


@pytest.mark.parametrize(("turnaround", "told"), [("through", False), ("loop", True), ("back", True)])
def test_who_drives_through_a_fill_site_is_not_said_to_turn(turnaround: str, told: bool) -> None:
    plan = example_plan()
    trips = replace(plan.trips, turn_at_site=np.ones(6, dtype=np.bool_), turn_at_dump=np.zeros(6, dtype=np.bool_))
    changed = replace(plan, trips=trips, sites=tuple(replace(site, turnaround=turnaround) for site in plan.sites))
    assert changed.turns_at_site(0) == told
    said = " ".join(line.said for line in card_way.back_leg(card_facts.Facts(changed, plan.groups[0]), 300.0))
    assert ("with turning" in said) == told


def test_a_fill_site_without_a_pin_has_no_name_on_the_map(monkeypatch: pytest.MonkeyPatch) -> None:
    """Just out of view its name would seem to be that of the nearest pin: moved outward step by step."""
    plan, pins, named = example_plan(), set[str](), set[str]()
    monkeypatch.setattr(symbols_pdf, "fill_mark", lambda _pen, _site, number, *_: pins.add(number))
    monkeypatch.setattr(charts, "halo_texts", lambda _pen, placed, **_: named.update(name for name, _ in placed))
    drawn = []
    for step in range(160):
        pins.clear()
        named.clear()
        far = replace(plan.sites[1], name="Far Pond", lon=plan.sites[0].lon + 0.0001 * step, lat=plan.sites[0].lat)
        picture = charts.Picture(replace(plan, sites=(plan.sites[0], far, *plan.sites[2:])))
        document = paper.Document(plan.district, "a map")
        document.begin()
        picture.draw(document.pen, Box(60.0, 300.0, 460.0, 600.0), picture.subject((0,), 0, 0, (1,)))
        drawn.append(("Far Pond" in named, "2" in pins))
    assert {(True, True), (False, False)} <= set(drawn) <= {(True, True), (False, True), (False, False)}


@pytest.mark.parametrize("there", [(0.0, -3000.0), (400.0, 3000.0), (1600.0, 5500.0), (3600.0, 0.0)])
@pytest.mark.parametrize(("wide", "high"), [(196.0, 90.0), (196.0, 115.0), (460.0, 115.0)])
def test_the_key_of_a_card_s_map_covers_neither_star_nor_any_drop_that_the_card_names(
    wide: float, high: float, there: tuple[float, float], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The key takes half of a narrow map: a straight trip in its middle leaves no corner, one aside of it does."""
    plan = example_plan()
    picture = charts.Picture(plan)
    here = picture.front_ft[0]
    out = np.array([here + there, here])
    picture.site_ft = here + np.array([there, (2400.0, 300.0), (300.0, 1800.0)])
    subject = route_pdf.Subject((0,), 0, out, site=0, others=(1, 2), site_ft=out[0])
    drawn, keys = dict[str, Box](), list[Box]()

    def fill_mark(_pen: object, _site: object, number: str, x: float, y: float) -> None:
        drawn[number] = Box(x - 9.0, y - 9.0, x + 9.0, y + 17.0)

    monkeypatch.setattr(symbols_pdf, "fill_mark", fill_mark)
    monkeypatch.setattr(symbols_pdf, "star_mark", lambda _pen, x, y: drawn.update(star=Box(x, y, x, y).grown(8.0)))
    monkeypatch.setattr(charts, "draw_key", lambda _pen, _frame, key: keys.append(key))
    document = paper.Document(plan.district, "a map")
    document.begin()
    picture.draw(document.pen, Box(60.0, 300.0, 60.0 + wide, 300.0 + high), subject)
    assert {"1", "star"} <= set(drawn)
    assert [said for said, symbol in drawn.items() if keys[0].meets(symbol)] == []


@pytest.mark.parametrize("far_ft", [0.0, 60.0, 4000.0])
def test_the_star_hides_no_number_of_a_backup_fill_site(far_ft: float, monkeypatch: pytest.MonkeyPatch) -> None:
    """One that lies at the dump site has its drop beside it, and none is moved that can be read."""
    picture = charts.Picture(example_plan())
    here = picture.front_ft[0]
    out = here + np.array([(9000.0, 2000.0), (0.0, 0.0)])
    picture.site_ft = np.array([out[0], here + np.array([far_ft, 0.0]), out[0]])
    drops, stars = dict[str, tuple[float, float]](), list[tuple[float, float]]()
    monkeypatch.setattr(symbols_pdf, "fill_mark", lambda _pen, _site, number, x, y: drops.update({number: (x, y)}))
    monkeypatch.setattr(symbols_pdf, "star_mark", lambda _pen, x, y: stars.append((x, y)))
    document = paper.Document(picture.plan.district, "a map")
    document.begin()
    page = Box(60.0, 300.0, 460.0, 500.0)
    subject = route_pdf.Subject((0,), 0, out, site=0, others=(1, -1), site_ft=out[0])
    picture.draw(document.pen, page, subject)
    assert math.dist(drops["2"], stars[0]) > 14.0
    assert page.holds(Box(*drops["2"], *drops["2"]))
    if far_ft > 1000.0:
        assert drops["2"][1] == pytest.approx(stars[0][1])


def test_a_trip_aside_of_the_middle_of_its_map_keeps_off_the_edge() -> None:
    """As far as it may go to make room for the key: its line, with its casing, is drawn whole."""
    picture = charts.Picture(example_plan())
    here, aside = picture.front_ft[0], 0
    for high, east, down in product((90.0, 115.0), range(-4000, 4001, 500), (500.0, 1500.0, 2500.0)):
        out = here + np.array([(east, 0.0), (east / 3.0, -down), (0.0, 0.0)])
        picture.site_ft = out[:1].repeat(3, axis=0)
        subject = route_pdf.Subject((0,), 0, out, site=0, site_ft=out[0])
        page = Box(0.0, 0.0, 196.0, high)
        frame = picture._set(page, out, subject, 600.0).frame
        middle, box = frame.country, scene.box_of(out)
        aside += abs(middle.left + middle.right - box.left - box.right) > 0.1 * middle.width
        aside += abs(middle.bottom + middle.top - box.bottom - box.top) > 0.1 * middle.height
        assert page.grown(-6.0).holds(scene.box_of(frame.to_page(out))), (high, east, down)
    assert aside > 10


def test_a_second_fill_site_s_page_names_who_drives_there() -> None:
    plan = split_plan()
    text = words_of(site_pdf.sites(plan))
    assert re.search(r"second fill site of 1, backup of", text)
    assert "as second fill site: T2 only" in text
    assert "Leave the fill site north on Pond Lane" in text


def test_index_holds_the_whole_of_a_long_label() -> None:
    by_road, by_status, *_ = pages_of(dict(card_pdf.cards(_hostile()))["cards.pdf"])
    assert LONG in "".join(f"{by_road}{by_status}".split())


def test_further_circuits_are_lists_of_numbered_steps(plan: Plan) -> None:
    """Both legs stand beside each other, so that their heads share a line, and each step begins a new one."""
    text = "\n".join(texts_of(site_pdf.sites(plan)))
    lines = text.partition("Further circuits from here")[2].splitlines()
    heads = [at for at, line in enumerate(lines) if line.startswith("Loaded, fill site to dump site: ")]
    assert len(heads) == 2
    for at in heads:
        assert " Empty, back to the fill site: " in lines[at]
        below = " ".join(lines[at + 1 : at + 6])
        assert len(re.findall(r"(?:^| )1\. ", below)) == 2
        assert "; Left on" not in below


def test_a_site_s_page_says_what_it_gives_and_whom_it_serves(plan: Plan) -> None:
    first, second, *pages = pages_of(site_pdf.sites(plan))
    pages = [f"{first} {second}", *pages]
    assert len(pages) == 3
    for told in (
        "First choice of 4 addresses",
        "Mill Road (2); Quarry Lane (2)",
        "loop",
        "Circuit for Quarry Lane 7 to 9 (2 addresses)",
        "Limits: planned for tankers up to 42,000 lb loaded",
        "Further circuits from here 12 Mill Road",
        "40 Mill Road",
        "lowest posting on the loaded leg 20,000 lb",
        "2.5 min longer, round what is posted",
        "At the dump site: turn round here (room ASSUMED: check it).",
    ):
        assert told in pages[0]
    for told in ("backup of 2", "not tested: assumed rate", "April to November", "back in (assumed)"):
        assert told in pages[1]
    for told in ("OUT OF SERVICE: Fill site 3", "8,000 gal", "No address fills here first"):
        assert told in pages[2]


def test_of_houses_of_one_label_the_card_tells_which_one_its_figures_are_for(plan: Plan) -> None:
    """Five houses '0 Main Street' on one card: their driveways differ by hundreds of feet of hose."""
    group = next(one for one in plan.groups if len(one.addresses) > 1)
    label = plan.addresses.label.copy()
    label[list(group.addresses)] = "0 Main Street"
    alike = replace(plan, addresses=replace(plan.addresses, label=label), groups=(group,))
    told = card_words.where(card_facts.Facts(alike, group))[1]
    feet = words.feet(float(plan.frontages.driveway_ft[group.lead]))
    assert told.endswith(f"figures are for the weakest, 0 Main Street, the one with {feet} of driveway")
    assert "driveway" not in card_words.where(card_facts.Facts(plan, group))[1]


@pytest.mark.parametrize(
    ("miles", "told"), [(0.0, "at the junction with Elm Road;"), (0.5, "junction, 0.50 mi from Elm")]
)
def test_a_dump_site_at_a_junction_names_it(plan: Plan, miles: float, told: str) -> None:
    group = replace(plan.groups[0], cross_street="Elm Road", cross_mi=miles)
    along = plan.frontages.along_ft.copy()
    along[group.lead] = 400.0
    there = replace(plan, frontages=replace(plan.frontages, along_ft=along), groups=(group, *plan.groups[1:]))
    assert told in " ".join(line.said for line in card_words.dump(card_facts.Facts(there, group)))


def test_a_driver_has_his_whole_circuit_on_one_sheet_and_hears_who_fills_elsewhere() -> None:
    """Every circuit of the sample: both legs and what limits them; of two fill sites each names the other."""
    sample = plan_of(SAMPLE / "district.toml")
    sheets = pages_of(site_pdf.sites(sample))
    parts = [[sheet.count(word) for word in ("Loaded, fill", "Empty, back", "Limits: ")] for sheet in sheets]
    assert all(len({*counts}) == 1 for counts in parts)
    assert sum(counts[0] for counts in parts) > 60
    said = " ".join(sheets)
    seconds = set(re.findall(r"as second fill site: ([\w ]+) only", said))
    firsts = set(re.findall(r"only, ([\w ]+) fill at fill site \d+", said))
    assert min(len(seconds), len(firsts)) > 3
    assert seconds & firsts  # the other ones' cards alone have the way: a site's page has some of its circuits
    assert re.search(r"For \d+ of these some tankers fill at a second fill site", said)
    # a warning names units of one answer
    warned = [sheet for sheet in sheets if "loaded weigh" in sheet or "LOADED: not over" in sheet]
    assert warned
    assert all("Whoever else is heavier" in sheet for sheet in warned)


@pytest.mark.parametrize(("count", "told"), [(14, "cards.pdf: Road 0013, page {n}."), (501, "the folder cards:")])
def test_a_site_that_serves_many_says_where_the_cards_of_all_are(plan: Plan, count: int, told: str) -> None:
    """The first circuit and twelve more stand on its page; who drives another must find the card that has it."""
    base = next(group for group in plan.groups if group.road == "Mill Road")
    many = replace(plan, groups=tuple(replace(base, road=f"Road {k:04d}") for k in range(count)))
    said = words_of(site_pdf.sites(many))
    name, file = list(card_pdf.cards(many))[-1]
    last = next(n for n, page in enumerate(pages_of(file), 1) if f"card {count} of {count}" in page)
    assert f"{count - 13} more circuit" in said
    assert told.format(n=last) in said
    volume = f"volume {name[6:9]}, " if "/" in name else ""
    assert f"Road {count - 1:04d}, {volume}page {last}." in said


def test_every_page_of_a_fill_site_names_it(plan: Plan) -> None:
    """A page that lies loose in the truck is of some site."""
    base = next(group for group in plan.groups if group.road == "Mill Road")
    many = replace(plan, groups=tuple(replace(base, road=f"Road {k:04d}") for k in range(14)))
    heads = [page.partition("An estimate for planning")[0] for page in pages_of(site_pdf.sites(many))]
    assert len(heads) > len(plan.sites)
    named = re.compile(r"fill site (\d) of \d|Fill site (\d): .+ continued")
    numbers = [found[1] or found[2] for found in map(named.search, heads) if found]
    assert len(numbers) == len(heads)
    assert numbers == sorted(numbers)


def test_the_report_counts_what_the_plan_holds(plan: Plan) -> None:
    said = words_of(report_pdf.report(plan))
    for told in (
        "higher level 1 of 6", "not met 2 of 6",
        "response level 1 (2 E, 2 T) 1 of 5", "response level 2 (3 E, 2 T) 2 of 5",
        "Addresses not met: 2. Addresses without a route: 1", "500 251 251 249 1 tankers",
        "20,000 lb = 10 tons Mill Road 1",
        "posted weight (unknown, not safe): 1.", "Values that cannot be read: 1",
        "way 103 maxheight = low closes nothing",
        "usable_fraction 0.9", "the 90 % rule", "supply_psi (m)",
        "any one tanker out, 0 of 2", "first fill site out, 0 of 2",
        "no backup fill site: 1", "1,750",
        "Coverage on the map", "Response level 2: 2 of 5 met",
        "Fill site 1: Mill Pond dry hydrant 2 2 of 2 (100 %)",
        "a half to three quarters 2 of 5", "all to 110 %: close 1 of 5", "150 % and more 0 of 5",
    ):  # fmt: skip
        assert told in said


def test_one_of_a_thing_is_no_plural_in_the_report(plan: Plan) -> None:
    few = replace(plan, stations=plan.stations[:1], sites=(plan.sites[0], *plan.sites[1:]))
    out = tuple(replace(site, in_service=at == 0) for at, site in enumerate(plan.sites))
    said = words_of(report_pdf.report(replace(few, sites=out)))
    assert "6 addresses, 3 fill sites, 1 station, " in said
    assert "; of 1 fill site in service 1 has a test date" in said


def test_a_lift_of_ten_feet_that_is_given_is_not_called_a_default(plan: Plan) -> None:
    for given in (True, False):
        sites = tuple(replace(site, lift_ft=10.0, lift_given=given, needs_engine=True) for site in plan.sites)
        said = words_of(site_pdf.sites(replace(plan, sites=sites)))
        assert "needed, lift 10 ft" in said
        assert ("lift 10 ft assumed" in said) is not given


def test_criteria_of_a_rater_are_counted_address_by_address(plan: Plan) -> None:
    found = [(said, mask.tolist()) for said, mask in evidence_pdf.criteria(plan)]
    no, yes = False, True
    assert found == [
        ("250 gpm from 5 min after the first engine on, first level", [no, no, no, no, no, no]),
        ("250 gpm from 5 min after the first engine on, some level", [yes, yes, no, no, no, no]),
        ("250 gpm from 15 min after the first engine on, first level", [yes, no, no, no, no, no]),
        ("250 gpm from 15 min after the first engine on, some level", [yes, yes, yes, yes, no, no]),
        ("the required flow from 15 min after it on, some level", [yes, yes, no, no, no, no]),
        ("a fill site that serves it in every month planned", [yes, yes, yes, yes, no, no]),
        ("the fill site planned within 5 road miles, loaded leg", [yes, yes, yes, yes, no, no]),
        ("any fill site of all these months so near", [yes, yes, yes, yes, no, no]),
        ("fire station, not on request, within 5 road miles", [yes, yes, yes, no, no, yes]),
        ("a tanker there within 5 min of the first engine", [yes, yes, yes, yes, no, no]),
        ("all units there within 15 min of the first engine", [yes, yes, yes, yes, no, no]),
    ]
    far = replace(plan.trips, out_mi=np.where(plan.trips.site == 0, 5.1, plan.trips.out_mi))
    off = dict(evidence_pdf.criteria(replace(plan, trips=far)))
    assert not off["any fill site of all these months so near"].any()  # the other one is seasonal
    slow = plan.arrival_min + np.array([0.0, 0, 0, 3, 6])
    late = dict(evidence_pdf.criteria(replace(plan, arrival_min=slow)))
    assert not late["a tanker there within 5 min of the first engine"].any()
    assert not late["all units there within 15 min of the first engine"].any()


def test_shares_of_the_need_add_up_to_all_planned_addresses(plan: Plan) -> None:
    share, counted = coverage_pdf.shares(plan)
    assert counted.tolist() == [True] * 5 + [False]
    assert share[:5].tolist() == pytest.approx([322 / 250, 514 / 500, 270 / 500, 251 / 500, 0.0])
    flow = plan.levels.uninterrupted_gpm.copy()
    flow[0] = 250.0 - 5e-7  # what meets everywhere else is no shortage of the chart
    assert coverage_pdf.shares(replace(plan, levels=replace(plan.levels, uninterrupted_gpm=flow)))[0][0] == 1.0


def test_a_plan_of_some_months_says_so_on_every_page_on_the_map_and_in_every_row(plan: Plan) -> None:
    """Nobody takes a plan for July for one of the year."""
    rules = replace(plan.district.rules, plan=replace(plan.district.rules.plan, months=frozenset({7})))
    july = replace(plan, district=replace(plan.district, rules=rules))
    for file in (dict(card_pdf.cards(july))["cards.pdf"], site_pdf.sites(july), report_pdf.report(july)):
        assert all("Planned for July only." in page for page in pages_of(file))
    assert "Planned for July only." in map_page(july)
    _, *rows = dispatch_csv(july).decode().splitlines()
    assert all("planned for July only" in row for row in rows)
    assert "Planned for" not in map_page(plan)


def test_the_report_marks_rules_that_the_district_set(plan: Plan) -> None:
    rules = plan.district.rules
    changed = replace(rules, shuttle=replace(rules.shuttle, usable_fraction=0.85))
    ours = replace(plan, district=replace(plan.district, rules=changed))
    said, default = (
        words_of(report_pdf.report(one)) for one in (ours, plan)
    )  # fmt: skip
    assert "usable_fraction * 0.85" in said
    assert "usable_fraction *" not in default


@pytest.mark.parametrize("width", [20.0, 60.0, 300.0])
def test_wrapped_lines_fit_and_lose_nothing(width: float) -> None:
    said = f"short {LONG} and  some more words"
    lines = paper.wrap(said, 9.0, width)
    assert all(paper.width_of(line, 9.0) <= width for line in lines)
    assert "".join(lines).replace(" ", "") == said.replace(" ", "")
    assert len(paper.wrap(said, 9.0, width, most=2)) == 2


@pytest.mark.parametrize(
    ("shares", "told"),
    [
        (
            (0.5, 1.2),
            (
                "April to November: response level 2 meets: 600 gpm of 500 required, from fill site 2 (rate assumed), "
                "with the first alarm."
            ),
        ),
        (
            (1.2, 1.5),
            "April to November: response level 1 meets: 600 gpm of 500 required, from fill site 2 (rate assumed).",
        ),
        (
            (0.5, 0.8),
            (
                "April to November: response level 2 does not meet: 400 gpm of 500 required, "
                "from fill site 2 (rate assumed), with the first alarm."
            ),
        ),
    ],
)
def test_an_address_cut_off_in_some_months_says_what_to_call_in_the_others(
    plan: Plan, shares: tuple[float, float], told: str
) -> None:
    island, (summer, winter) = 4, plan.seasons
    site, flow, need = summer.best_site.copy(), summer.uninterrupted_gpm.copy(), plan.needs.required_gpm.copy()
    site[island], flow[island], need[island] = 1, 500.0 * np.array(shares), 500.0
    ours = replace(
        plan, seasons=(replace(summer, best_site=site, uninterrupted_gpm=flow), winter),
        needs=replace(plan.needs, required_gpm=need),
    )  # fmt: skip
    said = pages_of(card_pdf.one_card(ours, island))[0]
    for sentence in (
        "No response level in December to March",
        told,
        "No tanker shuttle is computed for this address in December to March: no tanker gets here from a fill site",
        "Call by local procedure; count on the water on wheels alone then.",
        "In December to March none: no place on a road",
        "For the other months this card has no way, dump site or table.",
    ):
        assert sentence in said
    never = pages_of(card_pdf.one_card(plan, island))[0]
    assert "None: no place on a road that tankers can use and leave again." in never
    assert "other months" not in never


def test_no_line_ends_with_the_number_of_a_step() -> None:
    said = "6.1 min. 1. Leave the dump site north on Elm Road, 0.9 mi. 2 to 15. Left on Mill Road, 4 mi. 16. Right on"
    for width in range(60, 400, 3):
        assert not [line for line in paper.wrap(said, 8.0, width) if re.search(r"(?<!\w)(\d+|\d+ to|\d+\.)$", line)]


def test_a_text_too_wide_shrinks_before_it_is_cut() -> None:
    said, size = paper.shrunk("A road of middling length", 20.0, 12.0, 220.0, bold=True)
    assert said == "A road of middling length"
    assert 12.0 <= size < 20.0
    said, size = paper.shrunk(LONG, 20.0, 12.0, 220.0, bold=True)
    assert said.endswith("…")
    assert size == 12.0
    assert paper.width_of(said, size, bold=True) <= 220.0


def test_the_report_says_what_the_tables_left_open() -> None:
    """Notes as they stand, and each kind of fault with its count; a row with two faults is one row."""
    faults = [(2, "lon", "is no number"), (2, "lat", "is no number"), (7, "lon", "is no number")]
    rejected = tuple(
        Rejected(file="addresses.csv", row=row, id="", column=column, value="<b>", rule=rule)
        for row, column, rule in faults
    )
    plan = replace(
        example_plan(), notes=("hydrants.csv: longitudes without a sign are taken as west.",), rejected=rejected
    )
    said = words_of(report_pdf.report(plan))
    assert "hydrants.csv: longitudes without a sign are taken as west. 2 rows are not planned" in said
    assert "addresses.csv lon is no number 2 addresses.csv lat is no number 1" in said
    plain = words_of(report_pdf.report(example_plan()))
    assert "nothing in the tables looked odd" in plain


def test_what_loaded_tankers_must_keep_off_stands_first_on_card_and_site(plan: Plan) -> None:
    """With the loaded way what only empties may cross; first to take care of what no sign tells. A neighbour's too."""
    group = next(one for one in plan.groups if len(one.addresses) > 1)
    other = next(a for a in group.addresses if a != group.lead)
    flags = list(plan.answers.flags)
    low = "the Dam Road bridge (no sign, but rated 37,919 lb). T1 54,600 lb loaded weighs more"
    flags[group.lead] = (*flags[group.lead], Flag("empty only", "the Mill Road bridge (posted 32,000 lb = 16 tons)"))
    flags[other] = (Flag("rated below load", low),)
    warned = replace(plan, answers=replace(plan.answers, flags=tuple(flags)))
    (card,) = pages_of(card_pdf.one_card(warned, group.lead))
    loaded, crossing, care = (
        card.index(words)
        for words in (
            "LOADED, fill site to dump site",
            "LOADED: not over the Mill Road bridge (posted 32,000 lb = 16 tons); empty only.",
            f"TAKE CARE • LOADED: not over {low}.",
        )
    )  # fmt: skip
    assert loaded < crossing < card.index("EMPTY, back to the fill site") < care
    site = words_of(site_pdf.sites(warned))
    assert "Mill Road bridge (posted 32,000 lb = 16 tons); empty only." in site
    assert "not over the Dam Road bridge" in site


def test_every_drop_stands_on_the_report_s_map() -> None:
    """Those on one place too: beside each other, none over another."""
    plan = example_plan()
    sites = tuple(replace(plan.sites[0], site_id=f"F{k}") for k in range(12))
    crowded = replace(plan, sites=sites)
    picture, room = charts.Picture(crowded), scene.Room(Box(0.0, 0.0, 540.0, 430.0))
    here = picture.site_ft[0]
    frame = scene.Frame(room.frame, scene.extent(np.array([here]), 540.0 / 430.0, least_ft=3000.0))
    document = paper.Document(plan.district, "a map")
    document.begin()
    placed = list(coverage_pdf._apart(document.pen, frame, picture.site_ft[:1].repeat(12, axis=0), room))
    assert [row for row, *_ in placed] == list(range(12))
    boxes = room.taken
    assert not any(one.meets(other) for at, one in enumerate(boxes) for other in boxes[:at])


def test_bars_of_levels_whose_names_begin_alike_are_told_apart() -> None:
    plan = example_plan()
    names = ("Structure fire, first alarm", "Structure fire, second alarm")
    levels = tuple(replace(level, name=name) for level, name in zip(plan.district.levels, names, strict=True))
    said = words_of(report_pdf.report(replace(plan, district=replace(plan.district, levels=levels))))
    for level in levels:
        assert f"response level {level.name} ({level.engines} E, {level.tankers} T)" in said


def test_what_the_report_s_map_has_no_room_for_is_named() -> None:
    plan = example_plan()
    crowded = replace(plan, sites=tuple(replace(plan.sites[0], site_id=f"F{k:02}") for k in range(60)))
    picture = charts.Picture(crowded)
    page = Box(0.0, 0.0, 175.0, 205.0)
    frame = scene.Frame(page, scene.extent(picture.site_ft[:1], 175.0 / 205.0, least_ft=3000.0))
    drawn = {row + 1 for row, *_ in coverage_pdf._spots(frame, picture.site_ft, scene.Room(page))}
    said = coverage_pdf._beyond(picture, frame)
    left_out = ", ".join(str(n) for n in range(1, 61) if n not in drawn)
    assert left_out
    assert said.endswith(f"No room for: fill sites {left_out}. ")


@pytest.mark.parametrize(("wide_ft", "high_ft", "in_a_row"), [(60e3, 25e3, 2), (60e3, 7e3, 1), (25e3, 30e3, 3)])
@pytest.mark.parametrize("count", [1, 3])
def test_the_report_s_small_maps_have_the_shape_of_the_district(
    wide_ft: float, high_ft: float, in_a_row: int, count: int
) -> None:
    """Never smaller than three in a row of one height, of which a wide district filled a third; nor much higher."""
    spanned = np.array([[0.0, 0.0], [wide_ft, high_ft]])
    beside, wide, high = coverage_pdf._laid_out(count, spanned)
    assert beside == (in_a_row if count > 1 or in_a_row == 3 else 1)
    third = (paper.RIGHT_PT - paper.LEFT_PT - 24.0) / 3.0
    scales = [
        scene.Frame(Box(0.0, 0.0, *size), coverage_pdf._country(spanned, size[0] / size[1])).pt_per_ft
        for size in ((wide, high), (third, 205.0))
    ]
    assert scales[0] >= scales[1] * (1.0 - 1e-9)
    if high_ft < wide_ft / 2.0:
        assert scales[0] > 1.4 * scales[1]
    assert -(-count // beside) * (high + 32.0) <= 300.0


@pytest.mark.parametrize(("far_ft", "shown"), [(115e3, True), (130e3, False)])
def test_the_report_s_maps_leave_out_an_address_only_where_it_lies_far_beyond_the_others(
    far_ft: float, shown: bool
) -> None:
    """Of 800 on a square of 200,000 ft one lies somewhat more, or less, than 0.15 of its side beyond it."""
    points = np.random.default_rng(1).uniform(-100e3, 100e3, (800, 2))
    points[0] = far_ft, 0.0
    spanned = coverage_pdf._spanned(charts.Picture(example_plan()), points)
    assert bool(spanned[:, 0].max() == far_ft) is shown
    assert spanned.min() < -99e3


def test_addresses_beyond_the_edge_are_counted_on_both_of_the_report_s_maps() -> None:
    """One stray point of many would make them maps of nothing, and stands on neither."""
    plan = picked(example_plan(), [0] * 400)
    lon = plan.addresses.lon.copy()
    lon[7] = -70.0
    document = paper.Document(plan.district, "report")
    document.begin()
    coverage_pdf.coverage(document, charts.Picture(replace(plan, addresses=replace(plan.addresses, lon=lon))))
    said = words_of(document.finish())
    assert said.count("1 address beyond the edge of the map.") == 2


def test_the_report_lists_the_fill_sites_whose_lift_or_water_is_taken_for_granted() -> None:
    plan = example_plan()
    first, second, third = plan.sites
    sites = (
        replace(first, needs_engine=True, lift_given=False, storage_gal=None),
        replace(second, kind="hydrant", needs_engine=False, lift_given=False, storage_gal=None),
        replace(third, needs_engine=True, lift_given=True, storage_gal=9000.0),
    )
    said = words_of(report_pdf.report(replace(plan, sites=sites)))
    assert "Fill sites where a lift of 10 ft is assumed: 1." in said
    assert "Fill sites whose water is not known, taken as enough: 1." in said


def test_needs_of_many_sizes_are_put_together_and_none_is_left_out() -> None:
    """A method whose rate follows the area gives each building a need of its own."""
    needs = np.array([100.2, 249.9, 250.0, 250.4, 499.0, 3100.0] + [600.0 + k / 7 for k in range(90)])
    most, step = evidence_pdf._sizes(needs, np.ones(len(needs), dtype=np.bool_))
    assert step == 250.0
    assert most.tolist()[:6] == [250.0] * 3 + [500.0] * 2 + [3250.0]
    few, one = evidence_pdf._sizes(needs, np.arange(len(needs)) < 6)
    assert (one, few[:6].tolist()) == (1.0, [101.0, 250.0, 250.0, 251.0, 499.0, 3100.0])


def test_the_flows_for_a_rater_are_not_told_as_the_least_of_every_month() -> None:
    """The months that decide are those in which the plan holds least, not those that hold least so soon."""
    said = words_of(report_pdf.report(example_plan()))
    assert "in others less may be there so early" in said
    assert "Flows are those of the worst season" not in said


def test_no_heading_ends_a_page_and_no_row_begins_one_alone() -> None:
    """Whatever stands above a heading with a line of text and a table, and above the last rows of a long one."""
    plan = example_plan()
    for above in range(0, 640, 7):
        document = paper.Document(plan.district, "report")
        document.begin()
        document.y -= float(above)
        document.heading("A heading", keep=paper.TABLE_PT)
        document.flow("Some words about what follows. " * 6)
        document.table(("a", "b"), [(f"row {k}", "long words " * 9) for k in range(14)], (100.0, 200.0))
        pages = pages_of(document.finish())
        assert next(page for page in pages if "A heading" in page).count("row ") >= 1
        assert all(page.count("row ") >= 2 for page in pages if "row 13" in page)
        assert all("Some words" not in page or page.count("Some words") == 6 for page in pages)


def test_every_table_of_the_report_begins_on_the_page_of_its_heading(monkeypatch: pytest.MonkeyPatch) -> None:
    """Wherever the pages end: a head at the top of a page says of its figures only what columns are called."""
    plan, headed, begun, document = (
        example_plan(),
        list[tuple[str, int]](),
        list[tuple[int, str, int]](),
        paper.Document,
    )
    heading, table, row = document.heading, document.table, document._row

    def noted_heading(self: paper.Document, said: str, *given: Any, **named: Any) -> None:
        heading(self, said, *given, **named)
        headed.append((said, self.page))

    def noted_table(self: paper.Document, head: Any, rows: Any, widths: Any) -> None:
        begun.append((len(headed), head[0], 0))
        table(self, head, rows, widths)

    def noted_row(self: paper.Document, cells: Any, widths: Any, *, bold: bool = False, keep: float = 0.0) -> None:
        row(self, cells, widths, bold=bold, keep=keep)
        if not bold and not begun[-1][-1]:
            begun[-1] = (*begun[-1][:2], self.page)

    monkeypatch.setattr(document, "heading", noted_heading)
    monkeypatch.setattr(document, "table", noted_table)
    monkeypatch.setattr(document, "_row", noted_row)
    monkeypatch.setattr(coverage_pdf, "coverage", lambda *_: None)
    for foot_pt in np.arange(paper.FOOT_PT, paper.FOOT_PT + 260.0, 11.0).tolist():
        monkeypatch.setattr(paper, "FOOT_PT", foot_pt)
        report_pdf.report(plan)
    parted = {(headed[at - 1][0], first) for at, first, page in begun if page and page != headed[at - 1][1]}
    assert parted == set()
    assert len({at for at, *_ in begun}) == len(begun)  # each has a heading of its own


def test_the_index_names_the_level_of_a_card_that_meets_with_none(plan: Plan) -> None:
    """In brackets, since it does not meet; the card speaks of it."""
    index = pages_of(_draw("cards", plan))[0]
    group = next(one for one in plan.groups if str(plan.answers.status[one.lead]) == "not met")
    level = plan.district.levels[int(plan.answers.level[group.lead])].name.removeprefix("Level ")
    assert re.search(rf"not met \({level}\) ", index)
    assert "(level): none meets, it holds most" in index


def test_no_short_paragraph_is_parted_by_a_page_s_end() -> None:
    for above in range(560, 680, 3):
        document = paper.Document(example_plan().district, "report")
        document.begin()
        document.y -= float(above)
        document.flow("Some words about what follows. " * 9)
        counts = [page.count("Some words") for page in pages_of(document.finish())]
        assert max(counts) == 9


def test_a_map_s_note_says_what_its_marks_mean_and_nothing_else() -> None:
    plan = example_plan()
    out = replace(plan, sites=tuple(replace(site, in_service=False) for site in plan.sites))
    for drawn, crossed in ((plan, False), (out, True)):
        picture, document = charts.Picture(drawn), paper.Document(plan.district, "a map")
        document.begin()
        card_parts.draw_map(
            document.pen, picture, Box(36.0, 300.0, 576.0, 600.0), picture.subject((0, 1), 0, 0, (1, 2))
        )
        said = pages_of(document.finish())[0]
        assert "Solid line: loaded, to the star." in said
        assert "Drops: fill sites" in said
        assert "Small symbols: this card's addresses, by status." in said
        assert ("crossed: out of service" in said) == crossed
        assert "Pointed tags" not in said  # without steps there are none


def test_a_leg_from_a_place_to_itself_is_not_drawn_and_a_ring_road_is(plan: Plan) -> None:
    picture = charts.Picture(plan)
    row = int(np.flatnonzero(plan.roads.length_m[plan.forest.segment] > 200.0)[0])
    along = picture.stretch(int(plan.forest.segment[row]), forward=bool(plan.forest.forward[row]))
    early, late = (scene.cut(along, 0.0, feet)[-1] for feet in (150.0, 400.0))
    assert picture.leg(plan.forest, [row], late, late) is None
    assert picture.leg(plan.forest, [row], late, late + 1.0) is None
    part = picture.leg(plan.forest, [row], early, late)
    assert part is not None
    assert float(scene.legs(part).sum()) == pytest.approx(250.0, abs=1.0)
    back = picture.leg(plan.forest, [row], late, early)
    assert back is not None
    assert len(back) == len(along)


def test_all_letters_come_back_of_a_document_that_has_more_than_a_font_part_holds() -> None:
    """A font part holds 256 characters: others go another way, and the text that a pen keeps must not hide that."""
    letters = [one for one in map(chr, range(0x21, 0x500)) if one.isalpha() and not lacks_letters(one)][:400]
    assert len(letters) == 400
    document = paper.Document(example_plan().district, "letters")
    document.begin()
    texts = ["".join(letters[at : at + 20]) for at in range(0, 400, 20)]
    for _ in range(2):  # the second time all are known
        for at, text in enumerate(texts):
            document.pen.text(40.0, 700.0 - 14.0 * at, text)
    (said,) = texts_of(document.finish())
    assert all(text in said for text in texts)


def test_the_report_counts_what_other_months_add_to_backups_and_bridges() -> None:
    """The table counts the months that decide: who reads it as the year misses a backup, or a bridge to ask about."""
    plan = other_plan(backup=False)
    stand_in = plan.levels.backup.copy()
    stand_in[1] = 1
    winter = replace(plan.seasons[1], backup_site=stand_in)
    none = np.full(len(plan.trips), -1, dtype=np.int32)
    leaves = np.array([0, 2, 1, 2, 2, 2], dtype=np.int32), np.array([3, 5, 4, 5, 5, 5], dtype=np.int32)
    unposted = plan.limits.unposted_bridge.copy()
    unposted[1] = True
    then = replace(
        plan,
        seasons=(plan.seasons[0], winter),
        limits=replace(plan.limits, unposted_bridge=unposted),
        trips=replace(plan.trips, out_leaf=none, back_leaf=none),
        sheet_trips=replace(plan.sheet_trips, out_leaf=leaves[0], back_leaf=leaves[1]),
    )
    said = words_of(report_pdf.report(then))
    assert "In months that do not decide others stand in: fill site 2 in December to March, 1 more." in said
    assert "Bridges without a posted weight on chosen round trips road loaded trips other months" in said
    assert "uses at least one in the months that decide:" in said
    assert "others stand in" not in words_of(report_pdf.report(plan))
