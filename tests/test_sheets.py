"""Sheets behind a card: the way over the backup, and over the fill site of other months."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from itertools import product
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from pyproj import Geod
from shapely import LineString, Point

from preplan.inputs.reader import read_inputs
from preplan.months import month_words, months_text
from preplan.plan import Plan
from preplan.plan_cards import CardGroup, OtherCircuit, Strip, ThenCalled
from preplan.plan_tables import FIRST_CIRCUIT, MUCH_MORE, SECOND_CIRCUIT
from preplan.render import (
    card_behind,
    card_facts,
    card_pdf,
    card_rest,
    card_seasons,
    card_way,
    card_words,
    charts,
    paper,
    site_pdf,
    words,
)
from preplan.render.card_facts import Facts
from preplan.render.card_other import sheet_words
from preplan.render.card_parts import subject_of
from preplan.render.card_seasons import splits
from preplan.render.charts import Picture
from preplan.render.flag_words import flags_on
from preplan.render.paper import Line
from preplan.render.scene import Box, Frame
from preplan.render.waypoints import fill_sites_gpx
from preplan.roads.source import read_osm
from preplan.units import M_PER_FT
from tests.example_plan import example_plan, other_plan
from tests.faults.small import TABLES, TOML, SmallDistrict
from tests.pdf_words import pages_of, words_of
from tests.plan_checks import SAMPLE, plan_of, with_cards, without_cards


def pages(plan: Plan, *, one: bool = False) -> list[str]:
    """Give the words of every page of a set, or of the one card of the first address."""
    file = card_pdf.one_card(plan, 0) if one else dict(card_pdf.cards(plan))["cards.pdf"]
    return pages_of(file)


def sheet_of(said: list[str], title: str) -> str:
    (sheet,) = (page for page in said if title in page)
    return sheet


def test_the_backup_s_sheet_says_all_that_its_drivers_need() -> None:
    said = pages(other_plan(backup=True, months=()))
    sheet = sheet_of(said, ", backup fill site")
    for told in (
        "If fill site 1 fails, all fill here: 320 gpm, meets.", "BACKUP FILL SITE Fill site 2:", "DUMP SITE",
        "1. Leave the fill site north on Pond Lane", "LOADED, fill site to dump site", "EMPTY, back to the fill site",
        "crosses the Oak Road bridge (no sign, but rated 20,000 lb). Ask the owner before a loaded tanker crosses.",
        "Planned for tankers up to", "Keep to these roads: others were not weighed for this fill site.",
    ):  # fmt: skip
        assert told in sheet
    card = said[said.index(sheet) - 1]
    assert "Map and way on a sheet behind." in card
    number = re.search(r"(page \d+) continued", sheet)
    assert number is not None
    assert number[1] in card


def test_the_backup_has_a_sheet_where_the_district_asks_and_on_a_card_by_itself() -> None:
    asked = other_plan(backup=True, months=())
    plain = replace(asked, district=replace(asked.district, cards_backup="line"))
    assert len(pages(asked)) == len(pages(plain)) + 1
    assert not any("sheet behind" in page for page in pages(plain))
    assert len(pages(plain, one=True)) == len(pages(asked, one=True)) == 2
    assert len(pages(example_plan(), one=True)) == 1


def test_the_sheet_of_other_months_says_when_it_holds_and_what_it_brings() -> None:
    plan = other_plan(backup=False)
    said = pages(plan)
    sheet = sheet_of(said, ", fill site in December to March")
    assert "December to March, response level 1 from fill site 2: 310 gpm" in sheet
    assert "backup" not in sheet
    card = said[said.index(sheet) - 1]
    assert "Units, map, way and table here: April to November. Fill site 2: map and way on a sheet behind." in card


def test_a_fill_site_of_other_months_has_their_circuits_on_its_own_page() -> None:
    """Who is handed the page in February finds the way as on the sheet, with its months and what bars it."""
    pages_with, pages_without = (pages_of(site_pdf.sites(plan)) for plan in (other_plan(backup=False), example_plan()))
    page = next(page for page in pages_with if "Fill site 2: Quarry pond" in page)
    assert "Circuit for" not in next(page for page in pages_without if "Fill site 2: Quarry pond" in page)
    for told in (
        "Circuit for 12 Mill Road, in December to March only", "1. Leave the fill site north on Pond Lane, 0.40 mi",
        "crosses the Oak Road bridge (no sign, but rated 20,000 lb). Ask the owner before a loaded tanker crosses.",
        "Limits: in December to March planned for tankers up to", "At fill site 2: back in",
    ):  # fmt: skip
        assert told in page
    # a backup alone is no circuit of its page
    backup = next(one for one in pages_of(site_pdf.sites(other_plan(backup=True, months=()))) if "Fill site 2:" in one)
    assert "Circuit for" not in backup


@pytest.mark.parametrize(("addresses", "first"), [(2, "Quarry Lane"), (3, "Quarry Lane"), (4, "Mill Road")])
def test_the_first_circuit_of_a_fill_site_serves_most_addresses_in_most_months(addresses: int, first: str) -> None:
    """Two houses on Quarry Lane all year, so many on Mill Road for two thirds of it: 24 and 16, 24 or 32 in all."""
    plan = other_plan(backup=False)
    some = replace(plan.groups[0], addresses=(0,) * addresses)
    for groups in ((some, *plan.groups[1:]), (*plan.groups[1:], some)):
        pages = [one for one in pages_of(site_pdf.sites(replace(plan, groups=groups))) if "Fill site 1: " in one]
        head, _, further = " ".join(pages).partition("Further circuits from here")
        assert f"Circuit for {first}" in head
        some_months = "in April to November only"
        assert (some_months in head, some_months in further) == (first == "Mill Road", first != "Mill Road")


def test_a_fill_site_of_other_months_has_its_circuit_on_a_tablet_and_says_who_drives_it(sample: Plan) -> None:
    """Site 5 of the sample stands from April to November and decides nowhere; others part tankers in some months."""
    root = ET.fromstring(fill_sites_gpx(sample))  # noqa: S314  our own bytes
    tracks = [one for one in root.iter() if one.tag.endswith("trk") and (one[0].text or "").startswith("5 ")]
    assert [track[0].text for track in tracks if (track[0].text or "").endswith(", in April to November only")]
    ends = [[(float(at.get("lon", "")), float(at.get("lat", ""))) for at in (*track[-1],)] for track in tracks]
    site = sample.sites[4].lon, sample.sites[4].lat
    assert len(ends) == 2
    assert ends[0][0] == pytest.approx(site, abs=1e-3) == ends[1][-1]
    text, told = words_of(site_pdf.sites(sample)), 0
    for group, other in others_of(sample):
        if other.months and splits(sample, group.lead, other):
            drivers = " ".join(sample.units[unit].unit_id for unit in other.tankers)
            told += f"in {month_words(other.months)} only: {drivers} only, then " in text
    assert told


def test_a_backup_that_is_best_in_other_months_has_one_sheet() -> None:
    sheet = sheet_of(pages(other_plan(backup=True)), ", backup fill site, fill site in December to March")
    assert "If fill site 1 fails, all fill here" in sheet
    assert "December to March, response level 1 from fill site 2" in sheet


@pytest.fixture(scope="module")
def sample() -> Plan:
    return plan_of(SAMPLE / "district.toml")


def others_of(plan: Plan) -> list[tuple[CardGroup, OtherCircuit]]:
    return [(group, other) for group in plan.groups for other in group.others]


def test_every_backup_of_the_sample_has_its_way_and_so_has_every_fill_site_of_other_months(sample: Plan) -> None:
    leads = np.array([group.lead for group in sample.groups])
    level = sample.answers.level[leads]
    backup, split = (table[leads, np.maximum(level, 0)] for table in (sample.levels.backup, sample.levels.split))
    backups = (level >= 0) & (backup >= 0) & (backup != split)
    found = others_of(sample)
    assert sum(other.backup for _, other in found) == backups.sum() > 300
    elsewhere = 0
    for group in sample.groups:
        a, shown = group.lead, int(sample.answers.level[group.lead])
        own = {int(table[a, shown]) for table in (sample.levels.site, sample.levels.split)} if shown >= 0 else set()
        for line in sample.seasons:
            at = (
                shown
                if shown >= 0
                else line.level_of([a, *group.addresses], sample.needs.required_gpm[[a, *group.addresses]])
            )
            for site in set(line.sites_of(a, at)) - own:
                assert sum(o.site == site and set(line.months) <= set(o.months) for o in group.others) == 1
                elsewhere += 1
    assert elsewhere > 100
    for group, other in found:
        for steps, miles in (
            (other.out_steps, sample.sheet_trips.out_mi),
            (other.back_steps, sample.sheet_trips.back_mi),
        ):
            assert sum(step.miles for step in steps) == pytest.approx(float(miles[other.trip]), abs=0.01), group.lead


def planned_in(months: frozenset[int], out: str = "", *, cards: bool = False) -> Plan:
    """Plan the sample for some months alone, a fill site out of service, with what cards tell or without."""
    inputs = read_inputs(SAMPLE / "district.toml")
    rules = inputs.district.rules
    rules = replace(rules, plan=replace(rules.plan, months=months))
    sites = tuple(replace(site, in_service=site.in_service and site.site_id != out) for site in inputs.sites)
    inputs = replace(inputs, district=replace(inputs.district, rules=rules), sites=sites)
    assert inputs.roads.file is not None
    return (with_cards if cards else without_cards)(inputs, *read_osm(inputs.roads.file))


def same_trips(sample: Plan, again: Plan, sheets: list[tuple[CardGroup, OtherCircuit]]) -> None:
    """Hold the sheets' trips against those of a plan made again: the same minutes and miles for the same vehicle.

    Where another level is shown now, the trip is told for the tankers of that one.
    """
    row = {
        pair: at for at, pair in enumerate(zip(again.trips.address.tolist(), again.trips.site.tolist(), strict=True))
    }
    then = np.array([row[group.lead, other.site] for group, other in sheets])
    now = np.array([other.trip for _, other in sheets])
    same = again.trips.cut[then] == sample.sheet_trips.cut[now]
    assert same.mean() > 0.95
    for column in ("out_min", "back_min", "out_mi", "back_mi"):
        found, told = getattr(again.trips, column)[then[same]], getattr(sample.sheet_trips, column)[now[same]]
        np.testing.assert_allclose(told, found, atol=1e-6)


def same_crews(sample: Plan, again: Plan, sheets: list[tuple[CardGroup, OtherCircuit]]) -> int:
    """Hold who pumps, drafts and hauls against a plan made again, where it fills there too; gives how many do.

    A backup's flow is of tankers on one class of vehicle and all at one site; a plan may leave out some of them more.
    """
    held = 0
    for group, other in sheets:
        cell, levels = (group.lead, other.level), again.levels
        second = bool(levels.split[cell] == other.site)
        if other.site not in (levels.site[cell], levels.split[cell]) or (other.backup and levels.split[cell] >= 0):
            continue
        pumps = (levels.split_engine if second else levels.fill_engine)[cell]
        assert (other.fill_engine, other.dump_engine) == (pumps, levels.dump_engine[cell]), cell
        assert other.attack_engine == levels.attack_engine[cell]
        np.testing.assert_allclose(other.arrival_min, again.arrival_min[group.lead])
        assert dict(other.laid) == pytest.approx(again.supply.of(*cell)), cell
        assert other.hose_short_ft == pytest.approx(float(levels.hose_short_ft[cell]))
        hauls = tuple(np.flatnonzero(levels.used[cell] & (levels.at_split[cell] == second)).tolist())
        if other.tankers != hauls:
            assert other.backup, words.where_words(sample, group.lead)
            assert set(other.tankers) > set(hauls)
            # fewer tankers for as good as the same flow: seen are up to 0.5 % less
            assert levels.uninterrupted_gpm[cell] > 0.99 * sample.levels.backup_gpm[cell]
        held += 1
    return held


def test_what_a_sheet_says_of_other_months_is_what_a_plan_of_those_months_alone_says(sample: Plan) -> None:
    """Summer by itself, planned again: nothing is known there of the season that decides for the year."""
    summer = frozenset(range(6, 11))
    sheets = [(group, other) for group, other in others_of(sample) if summer <= set(other.months)]
    assert len(sheets) > 40
    again = planned_in(summer, cards=True)
    same_trips(sample, again, sheets)
    level = sample.answers.level
    for group, other in sheets:
        lead, at = group.lead, level[group.lead] if level[group.lead] >= 0 else again.answers.level[group.lead]
        assert other.site in (again.levels.site[lead, at], again.levels.split[lead, at]), words.where_words(
            sample, lead
        )
    assert any(level[group.lead] < 0 for group, _ in sheets)
    assert same_crews(sample, again, sheets) > 30
    assert same_calls(sample, again, sheets, summer) > 30
    assert called_on_sheets(sample, again, sheets) > 1
    later_on_sheets(again, sheets, summer)
    assert same_stand_ins(sample, again, summer) > 30


def same_stand_ins(sample: Plan, again: Plan, months: frozenset[int]) -> int:
    """Hold crew and round trip of what stands in in some months against the backup of a plan of these alone."""
    held = 0
    backup = {group.lead: other for group, other in others_of(again) if other.backup}
    for group in sample.groups:
        for one in group.stand_ins if group.lead in backup else ():
            now = backup[group.lead]
            if not months <= set(one.months) or (one.site, one.level) != (now.site, now.level):
                continue
            crew = [(each.fill_engine, each.dump_engine, each.tankers) for each in (one, now)]
            assert crew[0] == crew[1], group.lead
            for column in ("out_min", "back_min", "out_mi", "back_mi"):
                then, there = (getattr(plan.sheet_trips, column) for plan in (sample, again))
                assert then[one.trip] == pytest.approx(there[now.trip], abs=1e-6)
            held += 1
    return held


def same_calls(sample: Plan, again: Plan, sheets: list[tuple[CardGroup, OtherCircuit]], months: frozenset[int]) -> int:
    """Hold what lacks, what flows with a tanker out, by when to call and the timeline against a plan of some months."""
    held = 0
    strip_of = {group.lead: group.strip for group in again.groups}
    for group, other in sheets:
        cell = group.lead, other.level
        (then,) = (one for one in other.then if months <= set(one.months))
        assert then.gap_min == pytest.approx(float(again.levels.gap_on_arrival_min[cell]), abs=1e-6)
        assert then.on_arrival_gpm == pytest.approx(float(again.levels.on_arrival_gpm[cell]), rel=1e-6)
        assert then.one_out_gpm == pytest.approx(float(again.levels.one_out_gpm[cell]), rel=1e-6)
        assert then.first_arrival_min == pytest.approx(float(again.answers.first_arrival_min[group.lead]))
        if again.answers.level[group.lead] == other.level and again.answers.status[group.lead] == "higher level":
            by_min = float(again.answers.call_by_min[group.lead]) if again.answers.in_time(group.lead) else np.nan
            front = float(sample.answers.call_by_min[[group.lead, *group.addresses]].min())
            if sample.answers.level[group.lead] < 0:
                assert then.advised_min == pytest.approx(by_min, nan_ok=True)
            else:
                rows = np.array([group.lead, *group.addresses], dtype=np.int32)
                waits = bool(sample.answers.in_time(rows).all()) and by_min >= front
                wanted = front if waits else np.nan
                assert then.advised_min == pytest.approx(wanted, nan_ok=True), words.where_words(sample, group.lead)
        strip = strip_of.get(group.lead)
        if strip is not None and again.answers.level[group.lead] == other.level and strip.called == then.strip.called:
            assert then.strip.minute == pytest.approx(strip.minute, abs=1e-6)
            assert then.strip.on_scene_gal == pytest.approx(strip.on_scene_gal, abs=1e-3)
            assert then.strip.gaps_min == pytest.approx(strip.gaps_min, abs=1e-6)
            assert then.strip.dumps == strip.dumps
            held += 1
    return held


def later_on_sheets(again: Plan, sheets: list[tuple[CardGroup, OtherCircuit]], months: frozenset[int]) -> None:
    """Hold the flow that sheets say builds up against a plan of some months: in the sample it is never much more."""
    for group, other in sheets:
        cell = group.lead, other.level
        (then,) = (one for one in other.then if months <= set(one.months))
        steady, first = float(again.levels.sustained_gpm[cell]), float(again.levels.uninterrupted_gpm[cell])
        more = steady > MUCH_MORE * first and not again.levels.meets[cell]
        assert then.later_gpm == pytest.approx(steady if more else np.nan, nan_ok=True), cell


def called_on_sheets(sample: Plan, again: Plan, sheets: list[tuple[CardGroup, OtherCircuit]]) -> int:
    """Read by when to call on the sheets of cards that have no level in front; gives how many say it."""
    held = 0
    for group, other in sheets:
        answers = again.answers
        if sample.answers.level[group.lead] >= 0 or answers.status[group.lead] != "higher level":
            continue
        (said,) = (one for one in sheet_words(Facts(sample, group)) if f"fill site {other.site + 1}," in one)
        in_time = bool(answers.in_time(group.lead))
        call = f"minute {answers.call_by_min[group.lead]:.0f}"
        soon = answers.call_by_min[group.lead] < answers.first_arrival_min[group.lead] + 5.0
        held = again.levels.on_arrival_gpm[group.lead, answers.level[group.lead]]
        soon |= held < again.needs.required_gpm[group.lead] - 1e-6
        when = "best with the first alarm" if soon else "on arrival"
        call = f"Call this response level {when}, by {call} at the latest."
        assert (call if in_time else "SEND THIS RESPONSE LEVEL WITH THE FIRST ALARM.") in said
        assert re.search(r"1 tanker out(, none in its place)?: ", said)
        assert f"If fill site {other.site + 1} fails: " in said
        held += 1
    return held


def test_a_sheet_says_that_no_tanker_without_a_job_takes_the_place_of_one_that_is_out(sample: Plan) -> None:
    """The least flow with a tanker out lets nobody else take over: 0 gpm reads as no water though one stands idle."""
    told = dict.fromkeys((True, False), 0)
    for group in sample.groups:
        for given in group.others:
            if not given.then or not given.months or not given.tankers or len({one.fleet for one in given.then}) > 1:
                continue
            tankers = sample.levels.tankers[group.lead, given.then[0].fleet]
            for other in (given, replace(given, tankers=given.tankers[:-1])):  # the last is idle then
                at_work = {*other.crew, *(unit for one in other.elsewhere for unit in (*one.tankers, one.fill_engine))}
                idle = not at_work.issuperset(np.flatnonzero(tankers).tolist())
                for said in sheet_words(Facts(sample, replace(group, others=(other,)))):
                    if "1 tanker out" in said:
                        assert ("1 tanker out, none in its place: " in said) == idle
                        assert ("1 tanker out: " in said) != idle
                        told[idle] += 1
    assert min(told.values()) > 20


def test_a_card_says_that_no_tanker_left_out_takes_the_place_of_one_that_is_out(sample: Plan) -> None:
    """Its table gives the flow with a tanker out as though nobody could step in, beside one that is left out."""
    told = dict.fromkeys((True, False), 0)
    table = sample.levels
    for group in sample.groups:
        facts, a = Facts(sample, group), group.lead
        if sample.answers.level[a] < 0:
            continue
        shuttle = (table.site[a] >= 0) & table.used[a].any(axis=1)
        left = shuttle & (table.tankers[a] & ~table.used[a]).any(axis=1)
        said = " ".join(line.said for part in card_rest.otherwise(facts, brief=True) for line in part)
        spare = [f"response level {k + 1}" for k in card_rest.levels_shown(facts) if left[k]]
        none = f"1 tanker out at {' and '.join(spare)}: none that is left out there takes its place."
        assert (none in said) == ("none that is left out" in said) == bool(spare)
        told[bool(spare)] += 1
    assert min(told.values()) > 50


def test_a_backup_names_what_bars_its_tankers_near_its_fill_site(sample: Plan) -> None:
    """Fill site 8 lies 100 ft north of a bridge posted 10 ft high; its way is not on these cards."""
    at = next(row for row, site in enumerate(sample.sites) if site.site_id == "F08")
    told = 0
    for group in sample.groups:
        level = int(sample.answers.level[group.lead])
        if level < 0 or sample.levels.backup[group.lead, level] != at:
            continue
        fleet = np.flatnonzero(sample.levels.fleet[group.lead, level])
        tall = any((sample.units[unit].height_ft or 0.0) > 10.0 for unit in fleet.tolist())
        said = " ".join(line.said for part in card_rest.otherwise(Facts(sample, group)) for line in part)
        barred = "KEEP OFF the Tannery Road bridge (10 ft high, 100 ft south of the fill site)."
        assert (barred in said) == tall, words.where_words(sample, group.lead)
        told += tall
    assert told > 10


def test_a_sheet_says_that_the_first_level_meets_in_its_months(sample: Plan) -> None:
    """Where the front shows a higher one: Heron Shore Lane fills at a nearer pond from April to November."""
    told = 0
    for group in sample.groups:
        facts = Facts(sample, group)
        for said in sheet_words(facts):
            if "Response level 1 meets then." in said:
                rows = [group.lead, *group.addresses]
                line = next(one for one in sample.seasons if 7 in one.months)
                assert (line.uninterrupted_gpm[rows, 0] >= sample.needs.required_gpm[rows] - 1e-6).all()
                assert sample.answers.level[group.lead] > 0
                told += 1
    assert told > 2


def test_who_fills_where_is_told_of_tankers_that_are_parted_in_some_months_alone(sample: Plan) -> None:
    """March by itself, planned again: some cards of a fill site that is enough in June have two then."""
    split = [(g, o) for g, o in others_of(sample) if 3 in o.months and splits(sample, g.lead, o)]
    assert len(split) > 1
    again = planned_in(frozenset({3}))
    same_trips(sample, again, split)
    assert same_crews(sample, again, split) == len(split)
    for group, other in split:
        (there,) = (one for one in other.elsewhere if 3 in one.months)
        first, second, fill, pumps = (
            int(getattr(again.levels, word)[group.lead, other.level])
            for word in ("site", "split", "fill_engine", "split_engine")
        )
        assert {other.site, there.site} == {first, second}
        assert there.fill_engine == {first: fill, second: pumps}[there.site]
        used, at_second = (mask[group.lead, other.level] for mask in (again.levels.used, again.levels.at_split))
        assert there.tankers == tuple(np.flatnonzero(used & (at_second == (there.site == second))).tolist())
        named = " ".join(sample.units[u].unit_id for u in there.tankers)
        told = f"{named} fill{'s' * (len(there.tankers) == 1)} at fill site {there.site + 1}"
        told += f" ({sample.units[there.fill_engine].unit_id} pumps)" * (there.fill_engine >= 0)
        assert told in " ".join(sheet_words(Facts(sample, group)))
    (group, _), others = split[0], {o.site: o.tankers for g, o in split if g is split[0][0]}
    assert len(others) == 2
    assert not set.intersection(*map(set, others.values()))
    said = pages(replace(sample, groups=(group,)))
    for tankers in others.values():
        order = sorted(tankers, key=lambda u: (again.arrival_min[group.lead, u], sample.units[u].unit_id))
        named = ", ".join(
            f"{sample.units[u].unit_id} at {np.ceil(again.arrival_min[group.lead, u]):.0f}" for u in order
        )
        gal = f"{sum(sample.units[u].tank_gal for u in order):,.0f} gal"
        assert any(f"Tankers that fill here: {named} min, {gal}; each after its own call." in page for page in said), (
            named
        )
    second = int(again.levels.split[group.lead, sample.answers.level[group.lead]])
    assert any(f"If fill site {second + 1} fails: less, how much is not worked out." in page for page in said)


def test_the_backup_s_way_is_the_way_when_the_fill_site_is_out(sample: Plan) -> None:
    """The busiest site out of service in the months that decide: its cards' backup and the way there stand."""
    decides = {g.lead: sample.seasons[int(sample.levels.season[g.lead, 0])].months for g, _ in others_of(sample)}
    backups = [
        (g, o)
        for g, o in others_of(sample)
        if o.backup and sample.levels.split[g.lead, sample.answers.level[g.lead]] < 0
    ]
    cases = Counter(
        (int(sample.levels.site[g.lead, sample.answers.level[g.lead]]), decides[g.lead]) for g, _ in backups
    )
    (site, months), count = cases.most_common(1)[0]
    mine = [
        (g, o) for g, o in backups
        if sample.levels.site[g.lead, sample.answers.level[g.lead]] == site and decides[g.lead] == months
    ]  # fmt: skip
    assert count == len(mine) > 30
    again = planned_in(frozenset(months), sample.sites[site].site_id)
    same_trips(sample, again, mine)
    assert same_crews(sample, again, mine) > 30
    levels, alone = sample.levels, again.levels
    told = np.isfinite(levels.backup_steady_gpm) & (levels.site == site) & (levels.backup == alone.site)
    told &= (alone.split < 0) & (
        [[sample.seasons[at].months == months for at in row] for row in levels.season.tolist()]
    )
    assert (told & (levels.backup_gpm > 1.0)).any()
    later, steady = levels.backup_steady_gpm[told], alone.sustained_gpm[told]
    # a settled case may send fewer tankers, which hold no less and bring less in the long run
    assert (later >= steady * (1.0 - 1e-6)).all()
    assert np.isclose(later, steady, rtol=1e-6).sum() >= 2


def test_engines_whose_job_is_another_at_the_backup_are_named_on_card_and_sheet() -> None:
    plan = other_plan(backup=True, months=())
    group = plan.groups[0]
    front, (other,) = plan.levels, group.others
    pumps, drafts = (2, 1) if front.fill_engine[0, 0] != 2 else (1, 2)
    changed = replace(other, fill_engine=pumps, dump_engine=drafts, tankers=(3, 4))
    fleet = front.fleet.copy()
    fleet[0, 0] = True
    plan = replace(plan, levels=replace(front, fleet=fleet))
    said = pages(replace(plan, groups=(replace(group, others=(changed,)), *plan.groups[1:])))
    sheet = sheet_of(said, ", backup fill site")
    who, where = (plan.units[unit].unit_id for unit in (pumps, drafts))
    assert (
        f"{who} pumps at fill site {other.site + 1}, {where} drafts at the dump site then."
        in said[said.index(sheet) - 1]
    )
    at = {
        unit.unit_id: f"{unit.unit_id} at {minute:.0f}"
        for unit, minute in zip(plan.units, plan.arrival_min[0], strict=True)
    }
    assert (
        f"Attack: {at['E1']} min. Dump site: {at[where]} min. Fill site: {who} at 15 min. "
        f"Tankers: {at['T1']}, {at['T2']} min, 5,000 gal; each after its own call."
    ) in sheet
    assert "Crew as if all filled here from the start" in sheet
    assert f"{who} pumps here, lift" in sheet
    assert f"{where} drafts here then; supply line" in sheet
    # who is not among the units in front has to be called
    fleet = fleet.copy()
    fleet[0, 0, pumps] = False
    without = replace(plan, levels=replace(front, fleet=fleet))
    called = pages(replace(without, groups=(replace(group, others=(changed,)), *plan.groups[1:])))
    assert any(f"Call {who} too: it pumps at fill site {other.site + 1}, {where} drafts" in page for page in called)
    # other tankers are named, and who has the same job is not named again
    used = tuple(np.flatnonzero(front.used[0, 0]).tolist())
    assert used != (3,)
    one = replace(changed, tankers=(3,))
    fewer = pages(replace(plan, groups=(replace(group, others=(one,)), *plan.groups[1:])))
    assert any("drafts at the dump site then, T1 fills at fill site 2 then." in page for page in fewer)
    same = replace(
        other, fill_engine=int(front.fill_engine[0, 0]), dump_engine=int(front.dump_engine[0, 0]), tankers=used
    )
    card = pages(replace(plan, groups=(replace(group, others=(same,)), *plan.groups[1:])))
    # the engine that pumps in front pumps there too: it is told, for it has to move
    assert any(f"pumps at fill site {other.site + 1}." in page for page in card)
    page = card[card.index(sheet_of(card, ", backup fill site")) - 1]
    assert not any("drafts at the dump site then" in one for one in card)
    _, out, stands_in = page.partition("IF SOMETHING IS OUT")
    assert out
    assert "ankers T" not in stands_in, "those of the front"


def test_no_card_sends_anybody_over_what_is_shut_or_posted_in_some_months_without_saying_so(sample: Plan) -> None:
    """On the sample, whose culvert is posted in spring: a way that does not hold then says so, and another is behind.

    Whether a vehicle may drive a way in a month is told from limits and weights alone, as a driver would.
    """
    told = 0
    circuits = (FIRST_CIRCUIT, "site", "trip"), (SECOND_CIRCUIT, "split", "split_trip")
    for group, (circuit, site, trip) in product(sample.groups, circuits):
        a, shown = group.lead, int(sample.answers.level[group.lead])
        row = int(getattr(sample.levels, trip)[a, shown]) if shown >= 0 else -1
        if row < 0:
            continue
        place, barred = int(getattr(sample.levels, site)[a, shown]), barred_in(sample, row)
        said = [flag.value for flag in flags_on(sample, a, circuit) if flag.code == "not this way" and flag.circuit]
        assert said == ([months_text(barred)] if barred else []), a
        for line in sample.seasons:
            if barred >= set(line.months) and place in line.sites_of(a, shown):
                assert sum(o.site == place and set(line.months) <= set(o.months) for o in group.others) == 1, a
        told += bool(barred)
    assert told > 5


def barred_in(sample: Plan, row: int) -> frozenset[int]:
    """Give the months in which a trip's vehicle may not drive where it leads."""
    out, back = (sample.forest.segment[rows] for rows in sample.trip_rows(row))
    cut, months = sample.cuts[int(sample.trips.cut[row])], set[int]()
    for line, limits in zip(sample.seasons, sample.season_limits, strict=True):
        shut = np.any(limits.max_lb[out] < cut.loaded_lb) or np.any(limits.max_lb[back] < cut.empty_lb)
        if shut or not np.all(limits.tanker_road[np.concatenate([out, back])]):
            months.update(line.months)
    return frozenset(months)


def test_a_way_that_does_not_hold_in_some_months_says_so_on_card_backup_and_fill_site(sample: Plan) -> None:
    group = next(
        group for group in sample.groups
        if any(o.months == (3, 4, 5) and o.site == sample.levels.site[group.lead, o.level] for o in group.others)
        and any(o.backup and o.shut_months == (3, 4, 5) for o in group.others)
    )  # fmt: skip
    one = replace(sample, groups=(group,), district=replace(sample.district, cards_backup="sheet"))
    said = pages(one)
    card = next(page for page in said if "WHAT TO CALL" in page)
    assert (
        "March to May: NOT THIS WAY, Fiddlehead Road is posted 24,000 lb = 12 tons then. "
        "Units and way in March to May: sheet behind." in card
    )
    assert sheet_of(said, ", way in March to May")
    assert sum(page.count("NOT THIS WAY") for page in said) > 1
    file = site_pdf.sites(one)
    sites = words_of(file)
    assert "March to May: NOT THIS WAY, Fiddlehead Road is posted 24,000 lb = 12 tons then." in sites


def test_a_posting_that_lets_the_vehicle_pass_is_no_reason_to_go_another_way(sample: Plan) -> None:
    """Many of the sample's ways lead over bridges posted for more than their tankers weigh."""
    posted = [
        group.lead for group in sample.groups
        if (level := int(sample.answers.level[group.lead])) >= 0
        and (row := int(sample.levels.trip[group.lead, level])) >= 0
        and np.isfinite(sample.limits.max_lb[sample.forest.segment[sample.trip_rows(row)[0]]]).any()
        and not barred_in(sample, row)
    ]  # fmt: skip
    assert len(posted) > 5
    assert not any(
        flag.code == "not this way" and flag.circuit == 1 for a in posted for flag in sample.answers.flags[a]
    )


def test_a_card_of_a_road_that_is_closed_in_winter_names_it(sample: Plan) -> None:
    """By the sample's map Corduroy Road bars motor vehicles from December to April: `motor_vehicle:conditional`."""
    seen = []
    for group in sample.groups:
        if not any(flag.code == "road closed" for flag in sample.answers.flags[group.lead]):
            continue
        card = next(page for page in pages(replace(sample, groups=(group,))) if "WHY THERE IS NO TRIP" in page)
        assert "No tanker gets here in December to April: Corduroy Road is shut then." in card
        seen.append(group.lead)
    assert len(seen) == 6


def test_a_dead_end_is_told_on_every_sheet(sample: Plan) -> None:
    group, _ = next(
        (group, other) for group, other in others_of(sample)
        if other.backup and any(flag.code == "dead end" for flag in sample.answers.flags[group.lead])
    )  # fmt: skip
    asked = replace(sample, groups=(group,), district=replace(sample.district, cards_backup="sheet"))
    assert "On a dead-end road: one way in and out." in sheet_of(pages(asked), ", backup fill site")


def test_a_posting_of_other_months_is_not_told_on_a_sheet(sample: Plan) -> None:
    """The culvert is posted 24,000 lb from March to May: in June ways lead over it, and sheets name no such limit."""
    over = [
        (group, other) for group, other in others_of(sample)
        if other.months and not {3, 4, 5} & set(other.months)
        and any(sample.weight_months(s) == {3, 4, 5} for s in driven(sample, other))
    ]  # fmt: skip
    assert over, "no way of other months leads over the culvert: this test shows nothing"
    for group, other in over:
        alone = replace(group, others=(other,))
        named = Facts(sample, alone).over_other(other).fill_site_words
        assert named.endswith(f" in {month_words(other.months)}")
        sheet = sheet_of(pages(replace(sample, groups=(alone,))), f", {named}")
        # another bridge, which nobody crosses, is posted as much all year
        told = [one for one in sheet.partition("TAKE CARE")[2].split("•") if "24,000" in one]
        assert all("Bobolink Road bridge" in one for one in told)


def driven(plan: Plan, other: OtherCircuit) -> list[int]:
    """List the stretches of a sheet's round trip."""
    sheets = plan.on_sheets()
    return [int(sheets.forest.segment[row]) for leg in sheets.trip_rows(other.trip) for row in leg]


def test_a_card_told_for_some_months_says_so_of_its_units_and_of_its_fill_site(sample: Plan) -> None:
    """Each on a line or in a heading of its own, where nothing stands beside it."""
    groups = [group for group in sample.groups if card_seasons.told_months(card_facts.Facts(sample, group))]
    assert len(groups) > 30
    for group in groups[:6]:
        facts = card_facts.Facts(sample, group)
        months = card_seasons.told_months(facts)
        call, fill, dump = card_words.call(facts), card_words.fill(facts), card_words.dump(facts)
        assert f"Units and minutes of {month_words(months)}:" in [line.said for line in call]
        assert fill[0].said == f"WHERE TANKERS FILL, {month_words(months, short=True).upper()}"
        assert dump[0].said.startswith(f"DUMP SITE, {month_words(months, short=True).upper()}")
        assert all(
            paper.width_of(line.said, line.size, bold=line.bold) <= card_facts.HALF_PT for line in (*call, *fill, *dump)
        )


def test_the_nearest_road_of_an_address_off_the_roads_is_where_its_card_says(sample: Plan) -> None:
    """The place in degrees, measured on the ellipsoid by another library, is as far as the flag says, on that road."""
    geod = Geod(ellps="WGS84")
    off = [group for group in sample.groups if sample.frontages.segment[group.lead] < 0]
    assert len(off) > 3
    for group in off:
        facts, flag = card_facts.Facts(sample, group), sample.answers.flags[group.lead][0]
        said = card_way.near_road(facts)
        found = re.fullmatch(
            r"The nearest for tankers is (.+), (\w+) of the address, at (-?[\d.]+), (-?[\d.]+)\.", said
        )
        assert found is not None
        assert said in " ".join(line.said for line in card_way.why_not(facts, 300.0))
        lat, lon = float(found[3]), float(found[4])
        here = float(sample.addresses.lon[group.lead]), float(sample.addresses.lat[group.lead])
        azimuth, _, metres = geod.inv(*here, lon, lat)
        assert flag.code == "off road data"
        assert metres / M_PER_FT == pytest.approx(flag.value, abs=8.0)  # five decimals are 4 ft
        eighth = ("north", "northeast", "east", "southeast", "south", "southwest", "west", "northwest")
        assert eighth[round(azimuth / 45.0) % 8] == found[2]
        assert found[1] == sample.roads.name[sample.frontages.near_segment[group.lead]]
    on = next(group for group in sample.groups if sample.frontages.segment[group.lead] >= 0)
    assert card_way.near_road(card_facts.Facts(sample, on)) == ""


def test_the_map_of_an_address_off_the_roads_shows_the_nearest_one_by_its_name(
    sample: Plan, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The place that the card gives in degrees lies on the piece of road that the map is drawn about, and names.

    All are moved a mile east, since those of the sample are so near their roads that any map would show them.
    """
    sample = replace(sample, addresses=replace(sample.addresses, lon=sample.addresses.lon + 0.02))
    picture, page = Picture(sample), Box(36.0, 200.0, 300.0, 440.0)
    frames = list[Frame]()
    monkeypatch.setattr(charts, "draw_key", lambda _pen, frame, _box: frames.append(frame))
    off = [group for group in sample.groups if sample.frontages.segment[group.lead] < 0]
    for group in off:
        facts = card_facts.Facts(sample, group)
        lat, lon = re.findall(r"-?\d+\.\d{5}", card_way.near_road(facts))
        place = picture.plane.feet(np.array([float(lon)]), np.array([float(lat)]))[0]
        subject, document = subject_of(picture, facts), paper.Document(sample.district, "a map")
        assert subject.near_ft is not None
        assert LineString(subject.near_ft).distance(Point(place)) < 4.0  # five decimals
        document.begin("a map")
        picture.draw(document.pen, page, subject)
        assert frames.pop().country.grown(-100.0).holds(Box(*place, *place))
        name = sample.roads.name[sample.frontages.near_segment[group.lead]]
        assert name in words_of(document.finish())
    on = next(group for group in sample.groups if sample.frontages.segment[group.lead] >= 0)
    assert subject_of(picture, card_facts.Facts(sample, on)).near_ft is None


def test_a_card_without_a_way_in_some_months_says_where_the_road_is_shut(sample: Plan) -> None:
    """In words, on its map, and with the months wherever it says that nothing comes."""
    group = next(one for one in sample.groups if sample.answers.level[one.lead] < 0 and sample.months_without(one.lead))
    facts = card_facts.Facts(sample, group)
    why = " ".join(line.said for line in card_way.why_not(facts, 300.0))
    assert "Corduroy Road is shut then. The address stands on it." in why
    picture = Picture(sample)
    assert any("shut Dec to Apr" in bridge.said for bridge in subject_of(picture, facts).bridges)
    assert {row[6] for row in card_rest.level_rows(facts)} == {"in Dec to Apr"}
    fill = " ".join(line.said for line in card_words.fill(facts))
    assert "May to November: fill site 10, see the sheet behind." in fill


def test_a_sheet_of_other_months_draws_their_timeline_and_says_what_it_shows(
    sample: Plan, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With first water, and from when it is dry; it is left out only where it would take a page more."""
    rules, drawn, dry, there = sample.district.rules.shuttle, 0, 0, 0
    without: list[tuple[Plan, int]] = []
    for group in sample.groups:
        mine = [other for other in Facts(sample, group).sheets if other.then]
        if not mine:
            continue
        said = pages(replace(sample, groups=(group,)))
        for other in mine:
            weakest = other.weakest
            assert weakest is not None
            title = f"{month_words(other.weakest_months)}. Minutes after the alarm;"
            stands = any(words.first_up(title) in page for page in said)
            drawn, there = drawn + stands, there + 1
            without += [] if stands else [(replace(sample, groups=(group,)), len(said))]
            told = " ".join(one for one in sheet_words(Facts(sample, group)) if month_words(other.months) in one)
            for then in other.then:
                first = np.ceil(round(then.first_arrival_min + rules.attack_setup_min, 1))
                assert f"First water minute {first:.0f}" in told, words.where_words(sample, group.lead)
                if then.strip.dry_min > 0.05:
                    first = int(then.strip.gaps_min[0, 0])
                    assert re.search(rf"(little|othing) flows for .*, first at minute {first}\b", told)
                    dry += 1
    assert there > 60
    assert drawn >= 0.9 * there
    assert dry > 2
    draw_way = card_behind._draw_way

    def whatever_room(*given: Any, if_room: Sequence[Any] = (), **how: Any) -> None:
        way: Any = draw_way
        way(*given[:-1], [*given[-1], *if_room], **how)

    monkeypatch.setattr(card_behind, "_draw_way", whatever_room)
    more = [len(pages(alone)) > count for alone, count in without]
    assert more.count(False) <= 1, "the text of one takes a page more with it or without it"


def test_a_text_that_goes_on_behind_keeps_its_sentences_and_its_heading() -> None:
    head = Line("ARRIVING FROM THE STATION", 8.0, bold=True, starts=True)
    first, more, blank = Line("T1: left", 8.0), Line("on Oak", 8.0, indent=7.0), Line("", 8.0)
    lines = [head, first, more, first, more, first]
    high = head.height
    fits = [card_behind._fitting(lines, high * count, fresh=False) for count in (6.0, 5.0, 4.0, 3.0, 2.0, 1.0)]
    assert fits == [6, 5, 3, 3, 0, 0], "neither half a sentence nor a heading alone"
    assert card_behind._fitting(lines, high * 2.0, fresh=True) == 2, "what never fits is parted all the same"
    on, *rest = card_behind._left(lines, 3)
    assert on.said == "ARRIVING FROM THE STATION, continued"
    assert rest == lines[3:]
    assert card_behind._left([on, first, first], 2) == [on, first]
    assert card_behind._left([*lines, blank], 6) == []
    assert [card_behind._is_parted([*lines, blank], fits) for fits in (0, 3, 6)] == [False, True, False]
    other = Line("Leave the fill site full", 8.0, starts=True)
    assert card_behind._left([head, first, blank, other, first], 2) == [other, first], "no heading over another text"
    assert card_behind._left([head, first, blank, other, first], 4) == [first]
    grave = Line("LOADED: not over the bridge", 8.0, bold=True)
    assert card_behind._left([head, grave, first], 2)[0] == on, "a warning is no heading"


def test_a_sheet_draws_the_weakest_of_its_seasons_and_names_those_alone_that_it_is_true_of() -> None:
    (_, other), *_ = others_of(other_plan(backup=False, months=(1, 2)))
    minutes, loads = np.array([10.0, 60.0]), np.array([1000.0, 900.0])
    wet = Strip(
        minute=minutes, on_scene_gal=loads, demand_min=minutes, demand_gpm=loads, gaps_min=np.empty((0, 2)),
        nothing_min=np.empty((0, 2)), dumps=((12.0, "T1"), (30.0, "T2")),
    )  # fmt: skip
    dry = replace(wet, gaps_min=np.array([[30.0, 30.4]]))
    then = ThenCalled(
        months=(1,), fleet=0, first_arrival_min=9.0, advised_min=np.nan, strip=wet, gap_min=0.0, nothing_min=0.0,
        on_arrival_gpm=90.0, one_out_gpm=90.0,
    )  # fmt: skip
    less = replace(then, months=(2,), one_out_gpm=50.0)
    short = replace(then, months=(3,), strip=dry, one_out_gpm=90.0)
    for seasons in ((then, less, short), (short, less, then)):
        both = replace(other, then=seasons)
        assert both.weakest == short, "dry for half a minute is dry"
        assert both.weakest_months == (3,)
    assert replace(other, then=(then, less)).weakest == less
    assert replace(other, then=(then, replace(then, months=(4, 5)))).weakest_months == (1, 4, 5)
    later = replace(then, months=(4,), first_arrival_min=12.0)
    assert replace(other, then=(then, later)).weakest_months in {(1,), (4,)}
    assert replace(other, then=()).weakest is None


@pytest.mark.parametrize(
    ("later_gpm", "told"),
    [(456.0, "50 gpm without a break, later 450 gpm steady; does not meet."), (np.nan, "50 gpm, does not meet.")],
)
def test_a_sheet_that_does_not_meet_says_what_builds_up_later(later_gpm: float, told: str) -> None:
    """As the front does: the first flow alone would be read as all that ever comes."""
    plan = other_plan(backup=False)
    (group, other), *_ = others_of(plan)
    little = np.full_like(plan.levels.uninterrupted_gpm, 57.0)
    plan = replace(plan, seasons=tuple(replace(line, uninterrupted_gpm=little) for line in plan.seasons))
    minutes = np.array([10.0, 60.0])
    strip = Strip(
        minute=minutes, on_scene_gal=minutes, demand_min=minutes, demand_gpm=minutes, gaps_min=np.empty((0, 2)),
        nothing_min=np.empty((0, 2)), dumps=(),
    )  # fmt: skip
    then = ThenCalled(
        months=next(line.months for line in plan.seasons if {*line.months} <= {*other.months}), fleet=other.level,
        first_arrival_min=9.0, advised_min=np.nan, strip=strip, gap_min=0.0, nothing_min=0.0, on_arrival_gpm=57.0,
        one_out_gpm=57.0, later_gpm=later_gpm,
    )  # fmt: skip
    (said,) = sheet_words(Facts(plan, replace(group, others=(replace(other, then=(then,)),))))
    assert f"from fill site 2: {told}" in said


def test_a_timeline_that_would_take_a_page_more_is_left_out(sample: Plan, monkeypatch: pytest.MonkeyPatch) -> None:
    few = [one for one in sample.groups if [bool(other.then) for other in Facts(sample, one).sheets] == [True]][:4]
    alone = [replace(sample, groups=(group,)) for group in few]
    drawn = [pages(one) for one in alone]
    monkeypatch.setattr(card_behind, "_LOW_MAP_PT", 1000.0)  # no map is ever so high
    without = [pages(one) for one in alone]
    assert [*map(len, without)] == [*map(len, drawn)]
    told = [[any(". Minutes after the alarm;" in page for page in one) for one in each] for each in (drawn, without)]
    assert sum(told[0]) - sum(told[1]) >= 2


def test_a_fill_site_within_reach_of_hose_is_told_wherever_no_hose_lay_is(sample: Plan) -> None:
    """Tankers that shuttle over a few yards: 1,000 ft of hose are what an engine carries by the rules."""
    near = Counter[bool]()
    for group in sample.groups:
        facts = Facts(sample, group)
        for one in (facts, *(facts.over_other(other) for other in facts.sheets)):
            trip = one.cell("trip")
            if trip < 0 or (one.on_card and group.lead in sample.lays.address):
                continue
            trips = one.plan.trips
            reaches = min(trips.out_mi[trip], trips.back_mi[trip]) * 5280.0 <= 1000.0
            said = " ".join(line.said for line in card_words.fill(one))
            assert ("a hose line may do" in said) == reaches, words.where_words(sample, group.lead)
            near[bool(reaches)] += 1
    assert min(near.values()) > 5, near


def test_months_in_which_other_units_can_come_have_a_sheet_though_tankers_fill_at_the_same_site(tmp_path: Path) -> None:
    """Two engines live behind a lane posted in spring: without them nobody pumps, and that decides the front."""
    one = SmallDistrict()
    one.files["stations.csv"] = f"{TABLES['stations.csv']}H2,Tower House,-72.05,44.01\n"
    one.files["apparatus.csv"] = str(TABLES["apparatus.csv"]).replace("E2,H1", "E2,H2").replace("E3,H1", "E3,H2")
    one.files["fill_sites.csv"] = "".join(str(TABLES["fill_sites.csv"]).splitlines(keepends=True)[:2])
    one.files["addresses.csv"] = "".join(str(TABLES["addresses.csv"]).splitlines(keepends=True)[:2])
    one.files["closures.csv"] = "closure_id,kind,way_id,value,months\nC1,max_lb,11,20000,3-4\n"
    one.toml = TOML.replace("[roads]\n", 'closures = "closures.csv"\n\n[roads]\n')
    plan = plan_of(one.write(tmp_path))
    (group,) = plan.groups
    a, level = group.lead, int(plan.answers.level[group.lead])
    assert plan.seasons[plan.levels.season[a, level]].months == (3, 4)
    assert "no way for=E2 E3 in March to April" in map(str, plan.answers.flags[a])
    (sheet,) = (other for other in group.others if other.months)
    assert (sheet.site, set(sheet.months)) == (plan.levels.site[a, level], {1, 2, *range(5, 13)})
    assert plan.units[sheet.fill_engine].unit_id in {"E2", "E3"}
    assert Facts(plan, group).own_months == [3, 4]
    said = pages(plan, one=True)
    assert "Units and way in May to February: sheet behind." in said[0]
    assert "Fill site: E2 at" in sheet_of(said, ", way in May to February")


def test_every_page_behind_a_card_says_of_which_fill_site_tankers_and_months_it_is(sample: Plan) -> None:
    """One that goes on alone had bold warnings under the address and nothing else."""
    plan = replace(sample, groups=tuple(group for group in sample.groups if group.others)[:40])
    said = pages(plan)
    going_on = [page for page in said if " continued, sheet " in page]
    assert len(going_on) > 10
    for page in going_on:
        assert re.search(r"Fill sites? \d+( and \d+)?: tankers \w+", page), page
    assert any(re.search(r"fill site in [^:]+ Fill site \d+: tankers [^:]+, \w+ to \w+", page) for page in going_on)
