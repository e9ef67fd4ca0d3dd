"""The sample's map page as an officer works it at night: what stands first, what is drawn, what stays, what prints."""

from __future__ import annotations

import io
import re
import unicodedata
from collections import Counter
from dataclasses import replace
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from pypdf import PdfReader

from preplan.months import month_words
from preplan.plan import Plan
from preplan.plan_tables import FIRST_ALARM_IN, NOT_THIS_WAY, SECOND_CIRCUIT, Flag, later_gpm
from preplan.records import ALL_MONTHS
from preplan.render import backups, card_pdf, crew, first_minutes, map_html, words
from preplan.render.card_facts import Facts
from preplan.render.card_seasons import other_jobs, season_words, seasons_alone
from preplan.render.circuits import in_other_months
from preplan.render.first_minutes import officer_words, then_at_once
from preplan.render.limit_places import _lowest, posted_words, site_limits, weight_words
from preplan.render.map_answers import flag_said
from preplan.render.us_grid import grid_words
from tests.browser import Opened, opened, page_source, written
from tests.plan_checks import SAMPLE, plan_of

if TYPE_CHECKING:
    from pathlib import Path

    from playwright.sync_api import Browser, Page

TIMES = "\N{MULTIPLICATION SIGN}"
SPLIT = "354 Beaver Meadow Rd"


@pytest.fixture(scope="module")
def plan() -> Plan:
    return plan_of(SAMPLE / "district.toml")


@pytest.fixture(scope="module")
def file_url(sample_url: str) -> str:
    return sample_url


def choose(page: Page, words: str) -> None:
    page.fill("#search", words)
    page.keyboard.press("Enter")


def number_of(plan: Plan, label: str) -> int:
    return int(np.flatnonzero(plan.addresses.label == label)[0])


def turn_off(page: Page, *sites: str) -> None:
    page.click("#what-if")
    for site in sites:
        page.get_by_label(site).uncheck()


# --------------------------------------------------------------------------- what if


def test_a_condition_that_goes_off_never_leaves_trips_shorter_than_planned(wide: Opened) -> None:
    page = wide.page
    page.click("#what-if")
    page.get_by_role("button", name="Snow").click()
    for _ in range(8):
        page.get_by_label("Shorter round trips").click()
    # what is pressed holds: a button that says 1.40 beside a factor of 1.00 would be believed
    assert page.inner_text("#road-factor") == f"Round trips {TIMES} 1.40 (assumption)"
    page.get_by_role("button", name="Snow").click()
    assert page.inner_text("#road-factor") == f"Round trips {TIMES} 1.00 (assumption)"
    page.get_by_role("button", name="Snow").click()
    assert page.inner_text("#road-factor") == f"Round trips {TIMES} 1.40 (assumption)"


def test_the_second_site_of_a_split_off_shows_its_loss(wide: Opened) -> None:
    page = wide.page
    turn_off(page, "7, Sumac Hill tank")
    assert "The changes touch what" in written(page)
    choose(page, SPLIT)
    said = written(page, "section.what-if")
    assert re.search(r"Response level 2: steady flow \d+ gpm \(as planned 504 gpm\) does not meet", said)


def test_the_circuit_of_a_what_if_is_drawn_and_not_that_to_a_site_that_is_off(wide: Opened) -> None:
    page = wide.page
    choose(page, SPLIT)
    assert page.inner_text("#drawn") == "Drawn: fill site 8, one of two, response level 2"
    turn_off(page, "8, Tannery Road bridge")
    choose(page, SPLIT)
    site = re.search(r"Response level 2: .*?Fill site\s+(\d+),", written(page, "section.what-if"), re.DOTALL)
    assert site is not None
    assert site[1] != "8"
    assert page.inner_text("#drawn").endswith(f"what if, fill site {site[1]}, response level 2")


def test_what_depends_on_what_is_the_plan_s_in_a_what_if_too(wide: Opened) -> None:
    page = wide.page
    for asked in ("unit T11", "fill site 2", "Fiddlehead Road"):
        turn_off(page, "1, Gristmill")
        choose(page, asked)
        assert "Numbers of the plan, not of the what-if." in written(page), asked
        page.click("#banner button")
        choose(page, asked)
        assert "Numbers of the plan" not in written(page), asked


def test_the_banner_counts_many_changes_and_sorts_a_few(browser: Browser, file_url: str) -> None:
    page = opened(browser, file_url, width=390).page
    turn_off(page, "11, Quarry Hole", "4, Thornapple bridge")
    assert "fill sites 4, 11 off" in page.inner_text("#banner")
    for site in ("1, Gristmill", "8, Tannery"):
        page.get_by_label(site).uncheck()
    assert "4 fill sites off" in page.inner_text("#banner")
    assert "Fill sites 1, 4, 8, 11 off." in written(page)
    banner = page.locator("#banner").bounding_box()
    assert banner is not None
    assert banner["height"] < 85


def test_the_banner_says_all_that_is_changed_on_a_small_screen(browser: Browser, file_url: str) -> None:
    page = opened(browser, file_url, width=390).page
    turn_off(page, "4, Thornapple bridge")
    for name in ("Snow", "T11"):
        page.locator("#panel-body label, #panel-body button", has_text=name).first.click()
    said = page.locator("#banner p")
    told = rf"fill site 4 off; T11 out; snow, round trips {TIMES} 1\.\d\d \(assumption\)\."
    assert re.search(told, said.inner_text())
    assert said.evaluate("(one) => one.scrollHeight <= one.clientHeight"), "nothing is cut"
    box, shown = said.bounding_box(), page.locator(".folium-map").bounding_box()
    assert box is not None
    assert shown is not None
    assert box["height"] < 120
    assert shown["height"] > 160, "the map stays"


# --------------------------------------------------------------------------- one address


def test_the_level_that_is_called_stands_first_and_the_others_are_folded(wide: Opened) -> None:
    page = wide.page
    choose(page, SPLIT)
    assert page.locator("#panel-body .level").first.locator("h3").inner_text() == "Response level 2"
    folded = page.locator("#panel-body details.level")
    assert folded.count() == 2
    assert folded.locator("dl").first.is_visible() is False
    assert "does not meet the required" in written(page, "#panel-body details.level summary >> nth=0")
    tops = page.evaluate(
        """() => [".level.meets", "ul.flags", "details.level"].map(
          (one) => document.querySelector(`#panel-body ${one}`).getBoundingClientRect().top)"""
    )
    assert tops == sorted(tops)
    facts = page.locator("#panel-body .level").first.locator("dt").all_inner_texts()
    assert facts[0] == "Attack engine"
    assert "Tankers, fill site" in facts[:5]


def test_who_comes_only_when_asked_for_is_said_as_on_the_card(wide: Opened, plan: Plan) -> None:
    choose(wide.page, SPLIT)
    said = crew.request_words(plan, number_of(plan, SPLIT), 1)
    assert said
    assert wide.page.locator("#panel-body strong", has_text=said).count() == 1


def test_the_months_are_told_apart_as_on_the_card(wide: Opened, plan: Plan) -> None:
    level = np.maximum(plan.answers.level, 0)
    told = [(a, season_words(plan, a, int(level[a]))) for a in range(len(plan.addresses)) if plan.answers.level[a] >= 0]
    some = [(a, lines) for a, lines in told if lines]
    assert len(some) > 3
    for a, lines in (some[0], some[-1]):
        choose(wide.page, str(plan.addresses.address_id[a]))
        bold = [
            text.replace("\N{NO-BREAK SPACE}", " ")
            for text in wide.page.locator("#panel-body p > strong").all_inner_texts()
        ]
        assert all(f"{line}." in bold for line in lines)


def test_an_address_that_tankers_reach_in_some_months_says_so_as_its_card_does(wide: Opened, plan: Plan) -> None:
    """The map said 'no route' of houses that are served for seven months of the year."""
    apart = [(group, group.lead) for group in plan.groups if plan.months_without(group.lead)]
    seasonal = [(group, a) for group, a in apart if plan.answers.level[a] < 0]
    assert len(seasonal) > 2
    for group, address in seasonal[:3]:
        choose(wide.page, str(plan.addresses.address_id[address]))
        said = wide.page.inner_text("#panel-body").replace("\u00a0", " ")
        without = month_words(plan.months_without(address))
        assert f"No route in {without}: no way for a loaded tanker is known then." in said
        assert f"No fill site delivers here at any response level in {without}." in said
        for line in seasons_alone(plan, [address], group.others):
            assert line in said
        sheet = next(other for other in group.others if other.tankers)
        assert all(plan.units[unit].unit_id in said for unit in sheet.tankers)
        assert f"fill site {sheet.site + 1}" in said


def test_who_lays_hose_is_not_called_idle_and_what_must_come_at_once_is_said(wide: Opened, plan: Plan) -> None:
    """Of every address of the sample whose level shown has such a line on its card."""
    seen = [0, 0]
    for a in np.flatnonzero(plan.answers.level >= 0).tolist():
        level = int(plan.answers.level[a])
        jobs = dict(crew.crew_words(plan, a, level))
        at_once = "Call it with the first alarm" in officer_words(plan, a)
        first = "with the first alarm: called on arrival it holds" if at_once else ""
        if "hose" not in jobs and not first:
            continue
        choose(wide.page, str(plan.addresses.address_id[a]))
        said = wide.page.inner_text("#panel-body").replace("\u00a0", " ")
        if "hose" in jobs:
            seen[0] += 1
            assert f"Lays hose\n{jobs['hose'].split(' at ')[0]}" in said, a
        if first:
            seen[1] += 1
            assert first in wide.page.inner_text("#panel-body").replace("\u00a0", " "), a
    assert min(seen) > 1


def test_engines_have_their_minutes_and_a_gravity_tank_needs_none(wide: Opened, plan: Plan) -> None:
    page = wide.page
    choose(page, SPLIT)
    said = written(page)
    a = number_of(plan, SPLIT)
    jobs = dict(crew.crew_words(plan, a, 1))
    assert jobs["attack"].removesuffix(" min") in said
    fill = next(words for job, words in jobs.items() if job.startswith("fill site"))
    assert fill.removesuffix(" min") in said
    assert jobs["dump site"].removesuffix(" min") in said
    assert re.search(r"Engine at second fill site\s+none is needed", said)
    assert "Leave a lane open" in said
    assert re.search(r"Cross street\s+\w+", said)
    assert grid_words(float(plan.addresses.lon[a]), float(plan.addresses.lat[a])) in said
    assert "fill site 7, round trip" in said
    assert "F07" not in said


def test_arrivals_and_calls_are_those_of_the_cards(wide: Opened, plan: Plan) -> None:
    """Rounded up once, and for all addresses of a card alike."""
    packed = wide.page.evaluate(
        f"""() => {{
          {page_source("map_decode.js")}
          const told = (a) => [addresses.id(a), answers.attackMin[a], answers.callBy[a]];
          return [...Array(addresses.count).keys()].map(told);
        }}"""
    )
    told = {address_id: (attack, by) for address_id, attack, by in packed}
    early = 0
    for group in plan.groups:
        by = plan.answers.called_by_min([group.lead, *group.addresses])
        # where none meets 0 says that a late call brings less at one of the card's addresses
        none = plan.answers.status[group.lead] == "not met" and first_minutes.less_called_later(plan, group.addresses)
        for a in group.addresses:
            arrival = float(plan.answers.first_arrival_min[a])
            attack, called = told[str(plan.addresses.address_id[a])]
            assert attack == (int(words.need(arrival)) if np.isfinite(arrival) else -1)
            assert called == (by if np.isfinite(by) else 0 if none else -1)
            early += int(plan.answers.call_by_min[a] > by)
    assert early > 5, "no card has addresses that could be called for later by themselves"


def test_a_circuit_button_leaves_panel_and_focus_where_they_are(wide: Opened) -> None:
    page = wide.page
    choose(page, SPLIT)
    one = page.locator("button", has_text="Circuit to backup").first
    one.scroll_into_view_if_needed()
    before = page.evaluate("() => document.getElementById('panel-body').scrollTop")
    one.click()
    assert page.evaluate("() => document.getElementById('panel-body').scrollTop") == before > 0
    assert page.evaluate("() => document.activeElement.textContent").startswith("Circuit to backup")
    assert one.get_attribute("aria-pressed") == "true"
    assert page.locator("[data-circuit][aria-pressed=true]").count() == 1
    assert page.inner_text("#drawn").startswith("Drawn: backup, fill site ")


@pytest.mark.parametrize("opener", ["#legend", "#lists", "#what-if"])
def test_there_is_a_way_back_to_the_address(wide: Opened, opener: str) -> None:
    page = wide.page
    choose(page, SPLIT)
    page.click(opener)
    page.get_by_role("button", name=f"Back to {SPLIT}").click()
    assert page.inner_text("#panel-body h2") == SPLIT
    assert page.input_value("#search") == SPLIT


def test_a_gap_says_that_it_is_of_a_call_on_arrival(plan: Plan) -> None:
    flag = Flag("gap", 0.1, "min")
    assert flag_said(plan, flag, "on arrival") == (
        "Less water than is asked for: 0.1 minutes in all, if this level is called on arrival."
    )
    assert flag_said(plan, flag, "at dispatch") == "Less water than is asked for: 0.1 minutes in all."
    two = Flag("two fill sites", "T11 at F07, round trip 8 min")
    assert "T11 at fill site 7, round trip 8 min" in flag_said(plan, two)


def in_two_seasons(spring_lb: float, else_lb: float) -> Any:
    """Make a bridge that is rated and low, and a road that has a weight posted from March to May and one else."""

    def limits(pounds: float) -> SimpleNamespace:
        return SimpleNamespace(
            rated=np.array([True, False]), max_lb=np.array([72091.0, pounds]), max_axle_lb=np.array([np.nan, np.inf]),
            max_height_ft=np.array([10.0, np.nan]), max_width_ft=np.array([np.inf, np.nan]), unread={},
        )  # fmt: skip

    return SimpleNamespace(
        seasons=[SimpleNamespace(months=(3, 4, 5)), SimpleNamespace(months=(6, 7, 8, 9, 10, 11, 12, 1, 2))],
        season_limits=[limits(spring_lb), limits(else_lb)], forest=SimpleNamespace(segment=np.array([0, 1])),
    )  # fmt: skip


def test_what_is_posted_and_what_is_rated_are_parted() -> None:
    roads = in_two_seasons(spring_lb=20000.0, else_lb=np.inf)
    assert posted_words(roads, 0) == "10.0 ft high; rated 72,091 lb"
    roads.season_limits[1].unread = {0: frozenset({"max_width_ft", "max_lb"})}
    assert posted_words(roads, 0) == "weight unknown, 10.0 ft high, width unknown; rated 72,091 lb"
    assert posted_words(roads, 1) == "20,000 lb = 10 tons, March to May"


def test_a_limit_that_is_higher_in_other_months_is_told_with_both() -> None:
    """Who drives there in July reads what holds then."""
    roads = in_two_seasons(spring_lb=24000.0, else_lb=30000.0)
    both = "24,000 lb = 12 tons, March to May; 30,000 lb = 15 tons, June to February"
    assert posted_words(roads, 1) == both
    assert weight_words(roads, 1) == f"posted {both}"
    assert posted_words(roads, 1, short=True) == "24,000 lb, Mar to May; 30,000 lb, Jun to Feb"
    roads.season_limits[0].max_height_ft[1] = 10.58
    assert posted_words(roads, 1) == f"{both}; 10.5 ft high, March to May"
    roads.season_limits[1].rated[1] = True
    assert weight_words(roads, 1) == "posted 24,000 lb = 12 tons, March to May; rated 30,000 lb, June to February"
    assert posted_words(in_two_seasons(spring_lb=24000.0, else_lb=24000.0), 1) == "24,000 lb = 12 tons"


def test_the_lowest_limit_of_a_leg_is_told_for_each_season() -> None:
    """The months of a sheet alone: one that holds in all of them is told without."""
    roads = in_two_seasons(spring_lb=24000.0, else_lb=30000.0)
    assert _lowest(roads, [0, 1], ALL_MONTHS) == (
        "posting 24,000 lb = 12 tons, March to May; posting 30,000 lb = 15 tons, June to February"
    )
    assert _lowest(roads, [0, 1], (6, 7)) == "posting 30,000 lb = 15 tons"
    assert _lowest(in_two_seasons(spring_lb=20000.0, else_lb=np.inf), [1], (6, 7)) == ""
    assert _lowest(roads, [0], ALL_MONTHS) == "rating 72,091 lb"


# --------------------------------------------------------------------------- filter


def test_a_filter_is_told_as_long_as_it_hides_something(wide: Opened, plan: Plan) -> None:
    page = wide.page
    assert not page.is_visible("#filtered")
    page.get_by_label("served (").uncheck()
    page.click("#close")
    count = len(plan.addresses) - int((plan.answers.status == "served").sum())
    told = f"Filter: {count:,} of {len(plan.addresses):,} addresses shown. Hidden: served."
    assert page.inner_text("#filtered p") == told
    page.click("#lists")
    page.locator("#panel-body button", has_text="1, Gristmill Road hydrant").click()
    assert "of them on the map: the filter hides the others" in written(page)
    page.click("#filtered button")
    assert not page.is_visible("#filtered")


# --------------------------------------------------------------------------- keyboard, night


def test_the_keyboard_goes_from_the_search_into_the_panel_and_escape_closes_it(wide: Opened) -> None:
    page = wide.page
    choose(page, SPLIT)
    for _ in range(2):
        page.keyboard.press("Tab")
    assert page.evaluate("() => document.activeElement.closest('#panel-body') !== null")
    page.keyboard.press("Escape")
    assert not page.is_visible("aside")
    assert page.evaluate("() => document.activeElement.id") == "search"
    assert page.get_attribute("#map_plan", "role") == "region"
    assert page.get_attribute("#map_plan", "aria-label")


def test_the_keyboard_goes_on_in_the_panel_when_what_was_pressed_is_gone(wide: Opened) -> None:
    page = wide.page
    focused = "() => document.activeElement.tagName + ' ' + document.activeElement.textContent"
    page.focus("#lists")
    page.keyboard.press("Enter")
    assert page.evaluate(focused) == "BUTTON Lists"
    page.locator("#panel-body ul.served button").first.focus()
    page.keyboard.press("Enter")
    assert page.evaluate(focused) == f"H2 {page.text_content('#panel-body h2')}"
    page.click("#what-if")
    page.locator("#banner button").focus()
    page.keyboard.press("Enter")
    assert page.evaluate(focused) == "H2 Legend and filter"


def test_what_is_not_met_has_a_wide_white_rim_by_night(browser: Browser, file_url: str) -> None:
    rims = []
    for dark in (False, True):
        page = opened(browser, file_url, dark=dark).page
        rims.append(
            page.evaluate(
                """() => {
                  const rows = [...document.querySelectorAll("#panel-body .legend li")];
                  const canvas = rows.find((one) => one.textContent.startsWith("not met")).querySelector("canvas");
                  const { data } = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
                  let white = 0;
                  for (let k = 0; k < data.length; k += 4) if (data[k] > 250 && data[k + 3] > 250) white += 1;
                  return white;
                }"""
            )
        )
    assert rims[1] > 1.5 * rims[0]


def test_names_of_roads_never_hide_a_symbol(browser: Browser, file_url: str, plan: Plan) -> None:
    """Whatever is written of roads is written before the symbols of the addresses are drawn."""
    found = browser.new_page(viewport={"width": 1280, "height": 900}, offline=True)
    found.add_init_script(
        """window.drawn = [];
        for (const name of ["fillText", "drawImage"]) {
          const before = CanvasRenderingContext2D.prototype[name];
          CanvasRenderingContext2D.prototype[name] = function (what, ...rest) {
            if (this.canvas.className.includes("chart")) window.drawn.push(name === "fillText" ? what : "symbols");
            return before.call(this, what, ...rest);
          };
        }"""
    )
    found.goto(file_url)
    found.wait_for_selector("body.ready")
    drawn = found.evaluate("() => window.drawn")
    names = set(plan.roads.name.tolist()) | set(plan.roads.ref.tolist())
    last_name = max(k for k, what in enumerate(drawn) if what in names)
    assert last_name < max(k for k, what in enumerate(drawn) if what == "symbols")
    found.close()


def test_the_building_s_side_is_the_card_s(wide: Opened, plan: Plan) -> None:
    page = wide.page
    said = 0
    level = plan.answers.level
    for a in np.flatnonzero((level >= 0) & (plan.frontages.side != ""))[::60].tolist():
        trips = [int(column[a, level[a]]) for column in (plan.levels.trip, plan.levels.split_trip)]
        sides = set()
        for trip in (one for one in trips if one >= 0):
            leaf, side = int(plan.trips.out_leaf[trip]), str(plan.frontages.side[a])
            there = leaf >= 0 and plan.forest.segment[leaf] == plan.frontages.segment[a]
            turned = {"left": "right", "right": "left"}[side]
            sides.add((side if plan.forest.forward[leaf] else turned) if there else "")
        choose(page, str(plan.addresses.address_id[a]))
        found = re.search(r"Building on the (\w+) as loaded", written(page))
        assert (found[1] if found else "") == (sides.pop() if len(sides) == 1 else "")
        said += found is not None
    assert said > 5


# --------------------------------------------------------------------------- paper


def sheets(page: Page) -> list[str]:
    printed = PdfReader(io.BytesIO(page.pdf(format="Letter", print_background=True, prefer_css_page_size=True)))
    texts = (unicodedata.normalize("NFKC", one.extract_text()).replace("\N{WORD JOINER}", "") for one in printed.pages)
    return [" ".join(text.split()).replace(" - ", "-") for text in texts]  # a date comes in pieces


def test_every_printed_sheet_says_whose_it_is_and_that_it_is_a_what_if(wide: Opened) -> None:
    page = wide.page
    choose(page, SPLIT)
    texts = sheets(page)
    assert len(texts) >= 2
    assert all(f"{SPLIT}. Millrace Fire District, 2026-05-01: the plan" in one for one in texts)
    assert "Drawn: fill site 8, one of two, response level 2" in texts[0]
    assert "Holds 520 gpm" in " ".join(texts)
    assert "Response level 1" not in " ".join(texts)
    turn_off(page, "8, Tannery Road bridge")
    choose(page, SPLIT)
    assert all("WHAT IF, not the plan: fill site 8 off" in one for one in sheets(page))


def test_a_what_if_prints_on_one_sheet_without_a_box_to_choose_in(wide: Opened) -> None:
    page = wide.page
    turn_off(page, "8, Tannery Road bridge")
    page.emulate_media(media="print")
    assert not page.is_visible("#what-if-level")
    assert page.inner_text(".field .chosen >> nth=0") == "any response level"
    page.emulate_media(media="screen")
    assert len(sheets(page)) == 1


def test_what_differs_in_other_months_stands_beside_the_call_and_above_the_level(wide: Opened, plan: Plan) -> None:
    """The map said 'by minute 13' alone, and that no engine is needed, where in summer two have other jobs."""
    early = [g for g in plan.groups if any(one.code == FIRST_ALARM_IN for one in plan.answers.flags[g.lead])]
    jobs = [g for g in plan.groups if plan.answers.level[g.lead] >= 0 and other_jobs(Facts(plan, g))]
    assert early
    assert len(jobs) > 5
    for group in [*early, *jobs[:4]]:
        choose(wide.page, str(plan.addresses.address_id[group.lead]))
        said = wide.page.inner_text("#panel-body").replace("\u00a0", " ")
        for line in [*then_at_once(plan, [group.lead]), *other_jobs(Facts(plan, group))]:
            assert line in said, group.lead


# --------------------------------------------------------------------------- what is asked first


def test_call_fill_site_and_card_stand_first(wide: Opened, plan: Plan) -> None:
    """Of each status; the page of the card is the one that cards.pdf and its index name."""
    page_of = {a: where.partition("#")[2] for group, where in card_pdf.places(plan) for a in group.addresses}
    for status in ("served", "higher level", "not met"):
        a = int(np.flatnonzero(plan.answers.status == status)[0])
        choose(wide.page, str(plan.addresses.address_id[a]))
        first = wide.page.locator("#panel-body dl").first
        heads, said = first.locator("dt").all_inner_texts(), first.locator("dd").all_inner_texts()
        told = dict(zip(heads, (one.replace("\N{NO-BREAK SPACE}", " ") for one in said), strict=True))
        level = int(plan.answers.level[a])
        site = int(plan.levels.site[a, level])
        assert told["Call"].startswith(words.level_words(plan.district.levels[level].name))
        assert told["Tankers fill at"].startswith(f"{site + 1}, {plan.sites[site].name}")
        assert told["Card"] == f"page {page_of[a]} of cards.pdf"
        assert heads[0] == "Call"


def test_every_card_s_page_is_told(wide: Opened, plan: Plan) -> None:
    """Of all addresses; in a large district, where each file counts its own pages, by file too."""
    told = wide.page.evaluate(
        f"() => {{ {page_source('map_panel.js')}; return [...addresses.number.keys()].map(cardWords); }}"
    )
    wanted = {a: f"page {at.partition('#')[2]} of cards.pdf" for g, at in card_pdf.places(plan) for a in g.addresses}
    assert told == [wanted.get(a, "") for a in range(len(plan.addresses))]
    assert "" in told  # who has a hydrant has no card
    many = wide.page.evaluate(
        f"""() => {{
          {page_source("map_panel.js")};
          Object.assign(cards, {{ size: 200, first: 1 }});
          return [...addresses.number.keys()].map(cardWords);
        }}"""
    )
    ranks = {a: at for at, (group, _) in enumerate(card_pdf.places(plan)) for a in group.addresses}
    assert many == [
        f"page {ranks[a] % 200 + 1} of cards/{ranks[a] // 200 + 1:03d}.pdf" if a in ranks else ""
        for a in range(len(plan.addresses))
    ]


def test_a_hydrant_whose_flow_nobody_knows_is_told_as_assumed(wide: Opened, plan: Plan) -> None:
    """By status, and where it does not do alone; class C has no least flow (hydrant colours: below 500 gpm)."""
    choose(wide.page, "134 Foundry St")
    assert "H7 counts for 250 gpm (class C, under 500 gpm: assumed)." in written(wide.page, "p.status")
    choose(wide.page, "185 Sumac Hill Rd")
    assert "by road and driveway. H8 counts for 500 gpm (assumed)." in written(wide.page, "p.status")
    doubted = {"H7": "(class C, under 500 gpm: assumed)", "H8": "(assumed)"}
    flags = [flag.value for row in plan.answers.flags for flag in row if flag.code == "hydrant near"]
    for said in flags:
        assert isinstance(said, str)
        name, _, _ = said.partition(",")
        assert "assumed" not in said if name not in doubted else doubted[name] in said


def test_what_engines_hardly_pass_and_waits_on_one_lane_stand_in_bold_as_on_the_card(wide: Opened, plan: Plan) -> None:
    at = {str(label): a for a, label in enumerate(plan.addresses.label)}
    for label, bold, plain in (
        ("658 Bobolink Rd", "NO MARGIN: E51 (9.8 ft high) at the Tannery Road bridge (posted 10 ft high).", ""),
        ("155 Cobble Ln", "Waiting is not counted: EXPECT LESS.", words.ONE_LANE_HERE),
    ):
        choose(wide.page, str(plan.addresses.address_id[at[label]]))
        assert any(
            bold in one.replace("\u00a0", " ") for one in wide.page.locator("#panel-body strong").all_inner_texts()
        )
        assert plain in written(wide.page)


def test_what_is_weak_or_low_near_the_fill_site_stands_in_bold_with_an_unproven_rate(wide: Opened, plan: Plan) -> None:
    """As cards have it, unless a warning of the address is of the same stretches."""
    level = plan.answers.level
    near = [
        (a, there, said)
        for a in np.flatnonzero(level >= 0).tolist()
        for there, said in site_limits(plan, int(plan.levels.site[a, level[a]]))
    ]
    assert len(near) > 15
    for a, there, said in near[:: len(near) // 6]:
        choose(wide.page, str(plan.addresses.address_id[a]))
        bold = written(wide.page).replace("\N{NO-BREAK SPACE}", " ")
        told = {stretch for flag in plan.answers.flags[a] for stretch in flag.stretches}
        assert (said in bold) is not ({*there} <= told), (a, said)
        guessed = not plan.sites[int(plan.levels.site[a, level[a]])].fill_gpm_given
        assert ("UNPROVEN: the rate of fill site" in bold) is guessed


@pytest.mark.parametrize(("width", "height"), [(390, 844), (360, 640), (640, 400)])
def test_a_small_screen_keeps_a_map_that_can_be_read(browser: Browser, file_url: str, width: int, height: int) -> None:
    """With a what-if on, a filter set and an address open; the cautions stay in view, and nothing scrolls sideways."""
    page = opened(browser, file_url, width=width).page
    page.set_viewport_size({"width": width, "height": height})
    turn_off(page, "1, Gristmill", "2, Kettle")
    page.click("#legend")
    page.select_option("#site-filter", index=1)
    choose(page, "MR0421")
    high = page.evaluate("() => document.querySelector('.folium-map').getBoundingClientRect().height")
    assert high >= 200
    foot = page.locator("footer").bounding_box()
    assert foot is not None
    assert foot["y"] + foot["height"] <= height + 1
    title = page.locator("#panel-body h2").bounding_box()
    assert title is not None
    assert title["y"] < foot["y"]
    wide_px = page.evaluate("() => document.documentElement.scrollWidth")
    assert wide_px <= width


def test_the_lists_tell_of_other_months_and_of_backups(wide: Opened, plan: Plan) -> None:
    wide.page.click("#lists")
    said = written(wide.page)
    more, _ = in_other_months(plan, 4)
    stands_in = int(np.sum(plan.answers.shown(plan.levels.backup) == 4))
    assert more.sum() > 0
    fills = int(np.sum(plan.answers.shown(plan.levels.site) == 4))
    told = f"{fills} addresses, {more.sum()} more in other months, backup of {stands_in}"
    assert f"5, {plan.sites[4].name}: {told}" in said


def test_sentences_packed_by_their_form_come_back_whole(wide: Opened, plan: Plan) -> None:
    """Of every flag, and of the lines by season: numbers back in their places, to the letter."""
    flags, lines = wide.page.evaluate(
        f"() => {{ {page_source('map_decode.js')}; return [data.answers.flags, data.answers.seasonLines]; }}"
    )
    called = plan.answers.called.tolist()
    rows = zip(plan.answers.flags, called, strict=True)
    wanted = list(dict.fromkeys(flag_said(plan, flag, how) for some, how in rows for flag in some))
    assert flags == wanted
    assert sum(bool(re.search("[0-9]", one)) for one in wanted) > 100
    assert [] in lines
    assert any(re.fullmatch(r".*: [0-9,]+ gpm held from fill site [0-9]+.*", one) for some in lines for one in some)
    assert not any("\x00" in one for some in lines for one in some)


def test_the_map_says_for_which_months_its_circuit_is_drawn(wide: Opened, plan: Plan) -> None:
    """Where tankers fill elsewhere in other months, and where the way is shut or posted in some; nowhere else."""
    level = plan.answers.level
    rows = np.flatnonzero(level >= 0).tolist()
    sites = {a: {season.sites_of(a, int(level[a])) for season in plan.seasons} for a in rows}
    shut = {
        a: next((f for f in plan.answers.flags[a] if f.code == NOT_THIS_WAY and f.circuit != SECOND_CIRCUIT), None)
        for a in rows
    }
    moved = [a for a in rows if len(sites[a]) > 1]
    barred = [a for a in rows if shut[a] is not None and len(sites[a]) == 1]
    plain = [a for a in rows if len(sites[a]) == 1 and shut[a] is None]
    assert len(moved) > 30
    assert barred
    for a in (moved[0], moved[-1], barred[0], plain[0]):
        choose(wide.page, str(plan.addresses.address_id[a]))
        drawn = wide.page.inner_text("#drawn").replace("\N{NO-BREAK SPACE}", " ")
        mine = plan.seasons[int(plan.levels.season[a, level[a]])].sites_of(a, int(level[a]))
        same = [season.months for season in plan.seasons if season.sites_of(a, int(level[a])) == mine]
        months = month_words(month for some in same for month in some)
        assert (f", {months} only" in drawn) is (a in moved), drawn
        assert (", NOT in " in drawn) is (shut[a] is not None)
        filled = written(wide.page, "#panel-body dl >> nth=0").replace("\N{NO-BREAK SPACE}", " ")
        assert (f"({months})" in filled) is (a in moved)


def months_named(said: str) -> list[int]:
    """Read months back as `month_words` writes them: '' is the whole year."""
    spans = {month_words(some): some for k in range(12) for n in range(1, 12) for some in [_from(k, n)]}
    return [month for one in said.split(", ") for month in spans[one]] if said else [*range(1, 13)]


def _from(first: int, count: int) -> list[int]:
    return [(first + k) % 12 + 1 for k in range(count)]


def test_every_planned_month_is_on_one_circuit_of_the_map_as_on_the_card(wide: Opened, plan: Plan) -> None:
    """Of every address and level: months of the circuit drawn and of the sheets make up those in which tankers come."""
    page, level = wide.page, plan.answers.level
    theirs = page.evaluate(
        f"""() => {{
          {page_source("map_panel.js")}
          return [...Array(addresses.count).keys()].map((a) => [
            [...data.levels.keys()].map((k) => monthsTold(a, k)),
            sheetsOf(a).map((k) => [sheets.site[k], sheetMonths(k)]),
          ]);
        }}"""
    )
    groups = {a: group for group in plan.groups for a in group.addresses}
    parted = wider = 0
    for a, (told, then) in enumerate(theirs):
        for k, said in enumerate(told):
            answer = tuple(int(table[a, k]) for table in (plan.levels.site, plan.levels.split) if table[a, k] >= 0)
            same = {month for one in plan.seasons if one.sites_of(a, k) == answer for month in one.months}
            decides = {*plan.seasons[int(plan.levels.season[a, k])].months}
            sheets = groups[a].others if a in groups and k == level[a] else ()
            same -= {month for other in sheets if other.site in answer for month in other.months}  # by another way
            if answer:
                assert {*months_named(said)} == same, (plan.addresses.label[a], k)
            wider += bool(answer and said and same > decides)
        served = {
            (site, month) for one in plan.seasons for site in one.sites_of(a, int(level[a])) for month in one.months
        }
        behind = [(site, month) for site, said in then for month in months_named(said)]
        if level[a] >= 0:
            both = (int(table[a, level[a]]) for table in (plan.levels.site, plan.levels.split))
            own = [(site, month) for site in both if site >= 0 for month in months_named(told[level[a]])]
            # who fills at the other one of the card's own two then is told in a line, without a circuit of his own
            sheets = groups[a].others if a in groups else ()
            named = {(one.site, month) for sheet in sheets for one in sheet.elsewhere for month in one.months}
            told_in_line = named.difference(behind)
            assert sorted([*own, *behind, *told_in_line]) == sorted(served), plan.addresses.label[a]
        elif plan.answers.status[a] != "hydrant":
            assert sorted(month for _, month in behind) == sorted({month for _, month in served})
        parted += bool(behind)
        if level[a] >= 0 and a in groups:
            card = Facts(plan, groups[a]).own_months
            assert told[level[a]] == (month_words(card) if card else ""), plan.addresses.label[a]
    assert parted > 60
    assert wider > 30, "the season that decides is one of several"

    choose(page, "280 Fiddlehead Rd")
    assert written(page, "#drawn").endswith(", March to May only")
    assert "Units and circuits here: March to May; for other months" in written(page)


def test_a_backup_s_later_flow_is_told_on_the_map_as_on_the_card(browser: Browser, plan: Plan, tmp_path: Path) -> None:
    """Of one that holds some too, where much more circulates later: flows of every kind, beside those of the sample."""
    draw, there = np.random.default_rng(0), plan.levels.backup >= 0
    held = np.where(there, draw.choice([0.0, 4.0, 57.0, 180.0, 260.0, 760.0], there.shape), np.nan)
    later = later_gpm(held * draw.choice([1.0, 1.2, 1.3, 3.0], there.shape), held, plan.needs.required_gpm[:, None])
    steady = np.where(held == 0.0, draw.choice([0.0, 8.0, 340.0], there.shape), later)
    drawn = replace(plan, levels=replace(plan.levels, backup_gpm=held, backup_steady_gpm=steady))
    for one, least in ((plan, 1), (drawn, 10)):
        seen = backups_told_later(browser, tmp_path, one)
        assert seen["some"] >= least
        assert seen["nothing"]


def backups_told_later(browser: Browser, folder: Path, plan: Plan) -> Counter[str]:
    """Hold what a map says of every backup against the words of the card; count those that bring more later."""
    file = folder / "map.html"
    file.write_text(map_html.map_page(plan), encoding="utf-8")
    page = opened(browser, file.as_uri()).page
    told = page.evaluate(
        f"""() => {{
          {page_source("map_panel.js")}
          return [...answers.backup].map((site, at) => (site < 0 ? "" : backupWords(at)));
        }}"""
    )
    levels, seen = plan.levels, Counter[str]()
    for (a, k), said in zip(np.ndindex(*levels.backup.shape), told, strict=True):
        if levels.backup[a, k] >= 0:
            flows = (
                float(levels.backup_gpm[a, k]),
                float(plan.needs.required_gpm[a]),
                float(levels.backup_steady_gpm[a, k]),
            )
            _, _, later = backups.held_words(*flows).partition(" gpm")
            assert (" without a break, later " in said) == (" without a break, later " in later), (a, k, said)
            assert (", nor later" in said) == (", nor later" in later)
            if " later " in said:
                assert said.partition(" later ")[2] == later.partition(" later ")[2].partition(";")[0]
                seen["some" if flows[0] > 1.0 else "nothing"] += 1
    return seen


def shut_in(plan: Plan, trip: int) -> set[int]:
    """Walk a way in each season: the months in which its vehicle may not pass some stretch of it."""
    cut, found = plan.cuts[int(plan.trips.cut[trip])], set[int]()
    for season, limits in zip(plan.seasons, plan.season_limits, strict=True):
        for rows, weighs_lb in zip(plan.trip_rows(trip), (cut.loaded_lb, cut.empty_lb), strict=True):
            for row in rows:
                at, way = plan.forest.segment[row], "forward_open" if plan.forest.forward[row] else "backward_open"
                passes = limits.tanker_road[at] and getattr(limits, way)[at] and weighs_lb <= limits.max_lb[at]
                if not passes or cut.height_ft > limits.max_height_ft[at] or cut.width_ft > limits.max_width_ft[at]:
                    found.update(season.months)
    return found


def test_a_way_that_does_not_hold_in_some_months_says_so_at_every_level(wide: Opened, plan: Plan) -> None:
    """Of backups too, not at the level shown alone; and no way that holds all year is said not to."""
    page, table = wide.page, plan.levels
    named = np.unique(np.stack([table.trip, table.split_trip, table.backup_trip]))
    months = {trip: shut_in(plan, trip) for trip in named[named >= 0].tolist()}
    assert {trip: set(those) for trip, those in plan.shut_months.items()} == {k: v for k, v in months.items() if v}
    shown, rows = plan.answers.level, plan.answers.level >= 0
    other = np.arange(table.site.shape[1]) != shown[:, None]
    barred = np.isin(table.backup_trip, [*plan.shut_months])
    own = np.asarray(np.isin(table.trip, [*plan.shut_months]))
    cells = [
        *np.argwhere(other & rows[:, None] & barred)[:2].tolist(),
        *np.argwhere(other & rows[:, None] & (table.trip >= 0) & ~own & own.any(axis=1, keepdims=True))[:1].tolist(),
    ]
    assert len(cells) == 3
    for a, k in cells:
        choose(page, str(plan.addresses.address_id[a]))
        part = page.locator("details.level", has_text=f"Response level {k + 1}").first
        part.locator("summary").click()
        for button, ways in (("Circuit to fill site", table.trip), ("Circuit to backup", table.backup_trip)):
            said = written(page, f"details.level:has-text('Response level {k + 1}')")
            part.locator("button", has_text=button).click()
            drawn, those = written(page, "#drawn"), months.get(int(ways[a, k]), set())
            assert drawn.endswith(f"NOT in {month_words(those)}") if those else "NOT in" not in drawn, drawn
            if those:
                assert f"; {month_words(those)} another way" in said
    own_way = [(a, int(shown[a])) for a in np.flatnonzero(rows).tolist() if own[a, shown[a]]]
    page.click("#what-if")
    page.select_option("#what-if-season", label=month_words(plan.seasons[int(table.season[own_way[0]])].months))
    choose(page, str(plan.addresses.address_id[own_way[0][0]]))
    those = months[int(table.trip[own_way[0]])]
    assert f"does not hold in {month_words(those)}" in written(page, "section.what-if")
    page.click("#banner button")


def test_the_circuits_of_other_months_are_drawn_as_their_sheets_have_them(wide: Opened, plan: Plan) -> None:
    """Every sheet's roads, leg by leg; of an address that shares its card, and of one that nobody reaches all year."""
    page, on_sheets = wide.page, plan.on_sheets()
    ours = [
        (group.lead, month_words(other.months), other.site, other.level, on_sheets.trip_rows(other.trip))
        for group in plan.groups
        for other in group.others
        if other.months
    ]
    theirs = page.evaluate(
        f"""() => {{
          {page_source("map_routes.js")}
          const named = (leaf) => wayRows(leaf).map((at) => roads.names[roads.name[forest.road[at]]]);
          return sheets.lead.map((lead, k) => [
            lead, data.sheets.months[sheets.when[k]], sheets.site[k], sheets.level[k],
            named(sheets.outLeaf[k]).reverse(), named(sheets.backLeaf[k]),
          ]);
        }}"""
    )
    assert len(ours) > 60
    for mine, its in zip(ours, theirs, strict=True):
        roads = [[words.road_words(plan, int(plan.sheet_forest.segment[row])) for row in leg] for leg in mine[4]]
        assert [*mine[:4], *roads] == its
        assert all(roads)

    level = plan.answers.level
    groups = [group for group in plan.groups if any(other.months for other in group.others)]
    shared = next(group for group in groups if len(group.addresses) > 1 and level[group.lead] >= 0)
    apart = next(group for group in groups if level[group.lead] < 0)
    other = next(a for a in shared.addresses if a != shared.lead)
    for a, group in ((shared.lead, shared), (other, shared), (apart.lead, apart)):
        choose(page, str(plan.addresses.address_id[a]))
        sheet = next(one for one in group.others if one.months)
        page.locator("button", has_text=f"Circuit in {month_words(sheet.months)}, fill site {sheet.site + 1}").click()
        as_at = f", as at {plan.addresses.label[group.lead]}" if a != group.lead else ""
        where = f"fill site {sheet.site + 1}, response level {sheet.level + 1}"
        assert written(page, "#drawn") == f"Drawn: {where}, {month_words(sheet.months)} only{as_at}"
        assert page.locator("[data-circuit][aria-pressed=true]").count() == 1


def test_the_map_says_in_which_months_a_backup_stands_in_and_what_does_in_the_others(wide: Opened, plan: Plan) -> None:
    """Beside its flow and with its circuit; of every answer as the plan has it."""
    page = wide.page
    packed = page.evaluate(
        f"() => {{ {page_source('map_decode.js')}; return [data.answers.backupsThen, answers.backupThen]; }}"
    )
    levels = len(plan.district.levels)
    rows = np.flatnonzero(plan.answers.level >= 0).tolist()
    seasonal = 0
    for a in rows:
        level = int(plan.answers.level[a])
        told = packed[0][packed[1][a * levels + level]]
        stands = {one.months for one in plan.seasons if one.backup_site[a, level] == plan.levels.backup[a, level]}
        seasonal += len(stands) < len(plan.seasons)
        assert told["stands"] == (
            month_words(month for months in stands for month in months) if len(stands) < len(plan.seasons) else ""
        )
        assert told["told"] == backups.told_in(plan, a, level)
        assert told["lines"] == backups.lines_of(plan, a, level)
    assert seasonal > 100

    choose(page, "141 Beechnut Ln")
    said = written(page, "section.level >> nth=0")
    assert re.search(r"Backup in April to November\s+5, Ombrel Lake landing: holds 5\d0 gpm", said)
    assert "December to March: backup fill site 11, 450 gpm, does not meet." in said
    page.locator("button", has_text="Circuit to backup").first.click()
    assert page.inner_text("#drawn") == "Drawn: backup, fill site 5, response level 2, April to November only"
    choose(page, "424 Fiddlehead Rd")
    said = written(page, "section.level >> nth=0")
    assert re.search(r"Backup in June to February\s+1, Gristmill Road hydrant: holds 540 gpm", said)
    assert "March to May: backup fill site 1, 470 gpm, does not meet." in said
    assert "; March to May another way" in said
    page.locator("button", has_text="Circuit to backup").first.click()
    assert page.inner_text("#drawn") == "Drawn: backup, fill site 1, response level 2, NOT in March to May"


def test_a_level_that_is_not_called_says_what_it_holds_in_which_months(wide: Opened, plan: Plan) -> None:
    """One season decides for all levels, and stands as the worst one beside each: another may hold less in others."""
    level = plan.answers.level
    cells = [
        (a, k)
        for a in np.flatnonzero(level >= 0).tolist()
        for k in range(len(plan.district.levels))
        if k != level[a] and first_minutes.least_words(plan, a, k)
    ]
    assert len(cells) > 5
    for a, k in (cells[0], cells[-1]):
        choose(wide.page, str(plan.addresses.address_id[a]))
        part = wide.page.locator("details.level", has_text=f"Response level {k + 1}").first
        said = re.sub(r"\s+", " ", part.text_content() or "")
        lines = season_words(plan, a, k)
        assert len(lines) > 1
        assert f"By months{'. '.join(lines)}." in said
    called = wide.page.locator("section.level").first.text_content() or ""
    assert "By months" not in called  # there it stands above, in bold


def test_a_flow_with_a_tanker_out_says_that_none_left_out_takes_its_place(wide: Opened, plan: Plan) -> None:
    table, shown = plan.levels, plan.answers.level
    rows = np.flatnonzero(shown >= 0)
    left = (table.tankers[rows, shown[rows]] & ~table.used[rows, shown[rows]]).any(axis=1)
    for spare in (True, False):
        choose(wide.page, str(plan.addresses.address_id[rows[left == spare][0]]))
        said = written(wide.page, "section.level >> nth=0")
        assert re.search(r"With any one tanker out\s+holds [\d,]+ gpm", said)
        assert ("gpm, none in its place" in said) == spare


def test_what_is_best_about_the_level_shown_is_said_as_on_the_card(browser: Browser, tmp_path: Path) -> None:
    """Of levels that bring as much the one that holds most is shown; one that brings more may hold less."""
    plan = plan_of(SAMPLE / "district.toml")
    at = next(
        a for a in range(len(plan.addresses)) if plan.answers.status[a] == "not met" and plan.answers.level[a] > 0
    )
    level, more = int(plan.answers.level[at]), plan.levels.uninterrupted_gpm.copy()
    more[at, 0] = more[at, level] + 50.0
    told = replace(plan, levels=replace(plan.levels, uninterrupted_gpm=more))
    nothing = plan.levels.uninterrupted_gpm.copy()
    nothing[at] = 0.0
    none = replace(plan, levels=replace(plan.levels, uninterrupted_gpm=nothing))
    for one, best in ((plan, "holds the most"), (told, "brings the most water"), (none, "brings the most water")):
        assert first_minutes.best_words(one, at) == best
        file = tmp_path / "map.html"
        file.write_text(map_html.map_page(one), encoding="utf-8")
        page = opened(browser, file.as_uri()).page
        choose(page, str(plan.addresses.label[at]))
        assert f"esponse level {level + 1} {best}." in page.inner_text("#panel-body")
