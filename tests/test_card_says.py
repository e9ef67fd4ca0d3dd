"""What a card says beside its numbers: who stands in and when, what a tanker out costs, whose place is told."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import fields, replace
from itertools import chain

import numpy as np
import pytest

from preplan.months import month_words
from preplan.plan import Plan
from preplan.plan_cards import OtherCircuit, WayIn
from preplan.plan_tables import MUCH_MORE, Flag, LayTable
from preplan.records import text_array
from preplan.render import card_other, card_parts, card_rest, card_way, card_words, crew, site_pdf, words
from preplan.render.card_facts import HALF_PT, Facts
from preplan.render.charts import Picture
from preplan.render.circuits import in_other_months
from preplan.render.dispatch import dispatch_csv
from preplan.render.first_drive import LAST, tight_words
from preplan.render.flag_words import flag_words
from preplan.render.lettering_pdf import Line
from preplan.render.limit_places import bars_near
from preplan.render.paper import Document
from preplan.render.scene import Box
from tests.example_plan import example_plan, held_later, split_plan
from tests.pdf_words import words_of
from tests.plan_checks import SAMPLE, plan_of, real_district

SUMMER, WINTER = frozenset(range(4, 12)), (12, 1, 2, 3)


def text(lines: Sequence[Line]) -> str:
    return " ".join(line.said for line in lines)


def otherwise(of: Facts) -> str:
    return text([*chain.from_iterable(card_rest.otherwise(of))])


def facts(plan: Plan, group: int = 0) -> Facts:
    return Facts(plan, plan.groups[group])


def several(plan: Plan) -> int:
    """Find the card of several addresses."""
    return next(at for at, group in enumerate(plan.groups) if len(group.addresses) > 1)


def with_backup(winter: int) -> Plan:
    """Let the second site stand in from April to November, and another one or none in winter."""
    plan = example_plan()
    sites = (plan.sites[0], replace(plan.sites[1], months=SUMMER))
    backup, trip = np.ones_like(plan.levels.backup), np.ones_like(plan.levels.backup_trip)
    seasons = tuple(
        replace(
            line,
            backup_site=np.full_like(backup, winter if line.months == WINTER else 1),
            backup_gpm=np.full(backup.shape, 140.0 if line.months == WINTER else 320.0),
        )
        for line in plan.seasons
    )
    gpm = np.full_like(plan.levels.backup_gpm, 320.0)
    levels = replace(plan.levels, backup=backup, backup_trip=trip, backup_gpm=gpm)
    return replace(plan, sites=sites, levels=levels, seasons=seasons)


@pytest.mark.parametrize(
    ("winter", "told"),
    [
        (-1, "December to March: NO backup."),
        (
            0,
            "December to March: backup fill site 1 Mill Pond dry hydrant, AN ENGINE MUST PUMP, at 44.00000, -72.04000",
        ),
        (1, "December to March: backup fill site 2, 140 gpm, does not meet."),
    ],
)
def test_a_seasonal_backup_says_what_holds_in_the_other_months(winter: int, told: str) -> None:
    plan = with_backup(winter)
    plan = replace(plan, sites=(plan.sites[0], replace(plan.sites[1], notes="Ramp is not plowed")))
    said = otherwise(facts(plan))
    assert "Backup in April to November: Fill site 2" in said
    assert "(April to November only)" in said
    assert told in said
    # the note is of the fill site of the front, before another one is told of
    assert "Note on fill site 2: Ramp is not plowed. December to March: " in said
    brief = text(card_rest.backup_in_brief(facts(plan))).replace("meets", "meet")
    assert "meet. Its rate is assumed. December to March: the next page." in brief


@pytest.mark.parametrize(
    ("steady_gpm", "told"),
    [(128.0, "0 gpm without a break, later 120 gpm steady; does not meet."), (4.0, "0 gpm, nor later; does not meet.")],
)
def test_a_backup_that_holds_nothing_says_why_and_what_comes_of_it_later(steady_gpm: float, told: str) -> None:
    """On the card, in other months too, and to the dispatcher: `0 gpm` alone looks like a slip of the pen."""
    plan = with_backup(1)
    nothing, later = np.zeros_like(plan.levels.backup_gpm), np.full_like(plan.levels.backup_gpm, steady_gpm)
    every = tuple(replace(line, backup_gpm=nothing, backup_steady_gpm=later) for line in plan.seasons)
    lines = tuple(dry if dry.months == WINTER else line for dry, line in zip(every, plan.seasons, strict=True))
    winter = replace(plan, seasons=lines)
    assert f"December to March: backup fill site 2, {told}" in otherwise(facts(winter))
    note = "backup F2 holds no flow without a break"
    assert f"{note} in December to March" in dispatch_csv(winter).decode()
    levels = replace(plan.levels, backup_gpm=nothing, backup_steady_gpm=later)
    always = replace(plan, levels=levels, seasons=every)
    assert f" {told}" in otherwise(facts(always))
    assert f" {told}" in text(card_rest.backup_in_brief(facts(always)))
    assert f"{note};" in dispatch_csv(always).decode().replace("\n", ";").replace('"', ";")


@pytest.mark.parametrize(("name", "least"), [("sample", 1), ("vt_franklin_qc", 500)])
def test_a_backup_that_holds_little_brings_later_what_circulates_from_it(name: str, least: int) -> None:
    """Also of one that holds some: else one that holds nothing looked the better of the two."""
    plan = plan_of(SAMPLE / "district.toml" if name == "sample" else real_district(name) / "district.toml")
    levels, need = plan.levels, plan.needs.required_gpm[:, None]
    nothing = (levels.backup >= 0) & (levels.backup_gpm < 1e-6)
    assert nothing.any()
    told = np.isfinite(levels.backup_steady_gpm)
    assert told[nothing].all()
    assert (levels.backup_steady_gpm[nothing] > 100.0).any()
    some = told & ~nothing
    assert some.sum() >= least
    assert (levels.backup_steady_gpm[some] > MUCH_MORE * levels.backup_gpm[some]).all()
    assert (levels.backup_gpm < need)[some].all()


def test_cards_that_hold_nothing_say_what_holds_them_back() -> None:
    """Also where they say from when more is held, which else takes that line's room."""
    plan = example_plan()
    at, group = next((k, one) for k, one in enumerate(plan.groups) if one.lead == 3)
    for gpm, told in ((0.0, True), (80.0, False)):
        held = np.where(np.arange(6)[:, None] == 3, gpm, plan.levels.uninterrupted_gpm)
        built = held_later(*group.addresses, from_min=50.0, gpm=300.0)
        less = replace(plan, levels=replace(plan.levels, uninterrupted_gpm=held), built_up=built)
        said = text(card_words.can(facts(less, at)))
        assert "from minute 50" in said
        assert ("Held back by" in said) == told


def test_a_backup_of_other_months_names_who_pumps_and_drafts_then_and_how_far_it_is() -> None:
    """Said of the season that decides alone, it let an officer look for an engine and for the way in winter."""
    plan = with_backup(0)
    trips = replace(plan.trips, out_min=plan.trips.out_min + 1.0, back_mi=plan.trips.back_mi + 1.0)
    there = OtherCircuit(
        site=0, trip=0, level=0, out_steps=(), back_steps=(), backup=True, months=WINTER, fill_engine=2, dump_engine=0,
    )  # fmt: skip
    mine = replace(plan.groups[0], stand_ins=(there,))
    plan = replace(plan, sheet_trips=trips, groups=(mine, *plan.groups[1:]))
    sent = plan.levels.fleet[0, 0]
    pumps, drafts = (plan.units[unit].unit_id for unit in (2, 0))
    assert (sent[2], sent[0]) == (False, True)
    minutes = float(trips.out_min[0] + trips.back_min[0])
    far = f"loaded {trips.out_mi[0]:.2f} mi, empty {trips.back_mi[0]:.2f} mi, round trip {minutes:.1f} min"
    said = otherwise(facts(plan))
    assert f"backup fill site 1 Mill Pond dry hydrant, {far}, at 44.00000, -72.04000, " in said
    assert f"does not meet. Call {pumps} too: it pumps at fill site 1, {drafts} drafts at the dump site then." in said


def test_a_backup_that_does_not_meet_in_some_months_says_in_which_and_that_its_way_is_another_then() -> None:
    plan = plan_of(SAMPLE / "district.toml")
    sheets = replace(plan, district=replace(plan.district, cards_backup="sheet"))
    flips = 0
    for group, behind in zip(plan.groups, sheets.groups, strict=True):
        cell = group.lead, int(plan.answers.level[group.lead])
        need = float(plan.needs.required_gpm[group.lead])
        short = [
            season
            for season in plan.seasons
            if cell[1] >= 0
            and plan.levels.backup_gpm[cell] >= need > season.backup_gpm[cell]
            and season.backup_site[cell] == plan.levels.backup[cell]
        ]
        if not short:
            continue
        flips += 1
        said = otherwise(Facts(plan, group))
        months = month_words(month for season in short for month in season.months)
        number = int(plan.levels.backup[cell]) + 1
        assert re.search(rf"Backup in [^:]+: Fill site {number}: [^,]+, \d+ gpm, meets\.", said)
        far = r"(?:[\d.]+ mi each way|loaded [\d.]+ mi, empty [\d.]+ mi), round trip [\d.]+ min"
        assert re.search(rf" {months}: backup fill site {number}, {far}, \d+ gpm, does not meet\.", said)
        assert f"({months} another way)" in said
        sheet = card_other.sheet_words(Facts(sheets, behind))[0]
        assert re.search(rf" {months}: if fill site \d+ fails, all fill here: \d+ gpm, does not meet\.", sheet)
    assert flips > 3


@pytest.mark.parametrize(("kind", "given"), [("draft", False), ("hydrant", True)])
def test_a_backup_in_brief_says_that_an_engine_must_pump_and_that_its_rate_is_assumed(kind: str, given: bool) -> None:
    """A crowded front has no room for who pumps: tankers sent to open water alone would get none."""
    plan = example_plan()
    lead = next(group for group in plan.groups if plan.levels.backup[group.lead, plan.answers.level[group.lead]] >= 0)
    backup = int(plan.levels.backup[lead.lead, plan.answers.level[lead.lead]])
    there = replace(plan.sites[backup], kind=kind, needs_engine=kind == "draft", fill_gpm_given=given)
    sites = (*plan.sites[:backup], there, *plan.sites[backup + 1 :])
    told = text(card_rest.backup_in_brief(Facts(replace(plan, sites=sites), lead)))
    assert ("AN ENGINE MUST PUMP" in told) == (kind == "draft")
    assert ("Its rate is assumed." in told) == (not given)


def test_the_way_to_the_backup_is_told_loaded_and_empty() -> None:
    plan = with_backup(-1)
    plan.trips.out_mi[1], plan.trips.back_mi[1] = 6.0, 0.81
    assert "Loaded 6.00 mi, empty 0.81 mi, at " in otherwise(facts(plan))
    plan.trips.back_mi[1] = 6.0
    assert "6.00 mi each way, at " in otherwise(facts(plan))


def test_the_tanker_that_costs_most_is_named() -> None:
    plan = example_plan()
    rows = plan.haul_rows(plan.groups[0].lead, 1)
    assert rows.stop - rows.start == 2
    plan.hauls.without_gpm[rows] = [100.0, 240.0]
    plan.levels.one_out_gpm[plan.groups[0].lead, 1] = 100.0
    name = plan.units[int(plan.hauls.unit[rows.start])].unit_id
    *_, level_2 = card_rest.level_rows(facts(plan))
    assert f"100 ({name})" in level_2
    plan.hauls.without_gpm[rows] = [100.0, 104.0]  # the same on paper
    *_, level_2 = card_rest.level_rows(facts(plan))
    assert "100" in level_2


def test_a_card_of_several_says_whose_dump_site_it_tells() -> None:
    plan = example_plan()
    one = next(at for at, group in enumerate(plan.groups) if len(group.addresses) == 1)
    alone, many = (text(card_words.dump(facts(plan, at))) for at in (one, several(plan)))
    assert alone.startswith("DUMP SITE On")
    assert many.startswith("DUMP SITE FOR ")
    assert "The other: 80 ft from the road, at its own dump site." in many
    assert "The other" not in alone


def test_neighbours_that_a_hose_lay_may_serve_are_named() -> None:
    plan = example_plan()
    at = several(plan)
    (other,) = (a for a in plan.groups[at].addresses if a != plan.groups[at].lead)
    assert "A hose lay" not in otherwise(facts(plan, at))
    lays = LayTable.none()
    columns = {field.name: getattr(lays, field.name) for field in fields(lays)}
    numbers = {"address": other, "site": 2, "length_ft": 620.0, "gpm": 705.0}
    lays = replace(
        lays, **{name: np.full(1, numbers.get(name, 0), dtype=column.dtype) for name, column in columns.items()}
    )
    said = otherwise(facts(replace(plan, lays=lays), at))
    named = f"{plan.addresses.label[other]} (fill site 3, 620 ft, 700 gpm)"
    assert f"A hose lay may bring more at {named}." in " ".join(said.split())


def test_an_engine_that_brings_hose_has_a_job() -> None:
    plan = example_plan()
    lead = plan.groups[0].lead
    idle = int(plan.levels.fill_engine[lead, 1])
    plan.levels.fill_engine[lead, 1] = -1
    assert plan.units[idle].unit_id in dict(crew.crew_words(plan, lead, 1))["no job yet"]
    supply = replace(plan.supply, unit=np.full_like(plan.supply.unit, idle))
    jobs = dict(crew.crew_words(replace(plan, supply=supply), lead, 1))
    assert "no job yet" not in jobs
    assert jobs["hose"].startswith(f"{plan.units[idle].unit_id} at ")


def test_a_second_site_that_needs_no_engine_is_not_said_to_lose_one() -> None:
    plan = split_plan()
    assert "Fill site 2 or its engine out" in otherwise(facts(plan))
    levels = replace(plan.levels, split_engine=np.full_like(plan.levels.split_engine, -1))
    assert "Fill site 2 out, all at" in otherwise(facts(replace(plan, levels=levels)))


def test_a_card_says_that_the_first_alarm_fills_here_too() -> None:
    plan = example_plan()
    flag = Flag("lower level fills elsewhere", "Level 1")
    told = replace(plan.answers, flags=((flag,), *plan.answers.flags[1:]))
    said = text(card_words.fill(facts(replace(plan, answers=told))))
    assert "FROM THE FIRST ALARM ON FILL HERE, or this level does not hold." in said
    assert "A lower level called alone fills elsewhere: response level 1." in said
    assert "FIRST ALARM" not in text(card_words.fill(facts(plan)))


def test_a_duration_that_is_required_is_rounded_up() -> None:
    """A method's own duration is seldom a whole number of minutes."""
    plan = example_plan()
    needs = replace(plan.needs, required_min=np.full_like(plan.needs.required_min, 56.25),
                    required_gal=np.full_like(plan.needs.required_gal, 1e6))  # fmt: skip
    said = text(card_words.can(facts(replace(plan, needs=needs))))
    assert "gpm for 57 min." in said
    assert "held 57 min without a break" in said
    assert "more than 57 min bring" in said
    assert "56" not in said


def test_no_flow_is_not_said_to_be_held() -> None:
    plan = example_plan()
    held = text(card_words.can(facts(plan)))
    assert "held 2 hours without a break" in held
    levels = plan.levels
    dry = replace(levels, uninterrupted_gpm=levels.uninterrupted_gpm * 0.0, sustained_gpm=levels.sustained_gpm * 0.0)
    said = text(card_words.can(facts(replace(plan, levels=dry))))
    assert "0 gpm of " in said
    assert "no flow is held without a break" in said
    assert "held 2 hours" not in said
    assert "0 gpm steady" not in said


def test_a_site_that_is_best_in_months_that_do_not_decide_says_so() -> None:
    def said(plan: Plan) -> tuple[int, str]:
        taken, months = in_other_months(plan, 1)
        return int(taken.sum()), months

    plan = example_plan()
    assert said(plan) == (0, "no month")
    best = plan.levels.site.copy()
    best[0] = 1
    seasons = (replace(plan.seasons[0], best_site=best), plan.seasons[1])
    assert said(replace(plan, seasons=seasons)) == (1, "April to November")


def test_a_site_that_stands_in_in_months_that_do_not_decide_says_so_on_its_page() -> None:
    """It read `backup of 0` and nothing else: a fill site that nobody needs to keep."""
    plan = with_backup(0)
    none = replace(plan, seasons=(plan.seasons[0], replace(plan.seasons[1], backup_site=plan.seasons[0].backup_site)))
    for one, told in ((plan, True), (none, False)):
        said = words_of(site_pdf.sites(one))
        assert ("Backup in December to March for 4 more: Mill Road (2); Quarry Lane (2)." in said) == told


def test_the_table_names_tankers_as_far_as_it_has_room_and_counts_the_others() -> None:
    plan = example_plan()
    lead, level = plan.groups[0].lead, int(plan.answers.level[plan.groups[0].lead])
    units = tuple(replace(unit, unit_id=f"Tanker {at} of Hillside") for at, unit in enumerate(plan.units))
    named = replace(plan, units=units)
    named.levels.used[lead, level] = True
    cell = [*card_rest.level_rows(facts(named))][level][-1]
    shown, more = cell.count("Tanker"), int(cell.rpartition(" +")[2])
    assert 0 < shown < len(units) == shown + more
    named.levels.used[lead, level, 1:] = False
    assert [*card_rest.level_rows(facts(named))][level][-1] == "Tanker 0 of Hillside"


def test_the_hydrant_that_counts_is_on_the_map_of_its_cards_and_of_no_others() -> None:
    """On the sample, whose hamlet has hydrants: the flag names the one that is drawn, where the table has it."""
    plan = plan_of(SAMPLE / "district.toml")
    picture = Picture(plan)
    document = Document(plan.district, "maps")
    document.begin()
    named = 0
    for group in plan.groups[::3]:
        of = Facts(plan, group)
        subject = card_parts.subject_of(picture, of)
        said = [str(flag.value) for flag in plan.answers.flags[group.lead] if flag.code == "hydrant near"]
        assert [plan.hydrants.hydrant_id[subject.hydrant]] * len(said) == [one.partition(",")[0] for one in said]
        assert ("hydrant" in picture.draw(document.pen, Box(60.0, 300.0, 460.0, 500.0), subject)) == bool(said)
        named += len(said)
    assert named > 3


def test_the_officer_s_sentences_are_never_cut() -> None:
    """On every card of the sample: what stands last is for how long it is dry, and whether calling at once helps."""
    plan = plan_of(SAMPLE / "district.toml")
    for group in plan.groups:
        lines = card_words.officer(Facts(plan, group))
        assert not lines or not lines[-1].said.endswith("…"), group.lead


def test_months_in_which_a_lower_level_or_any_level_meets_are_told_of_the_others() -> None:
    """The drawn plan in two seasons: what lacks in the worst one need not lack in the other."""
    plan, need = example_plan(), example_plan().needs.required_gpm
    line = plan.seasons[0]
    for address, low, status, flows in (
        (1, "A lower response level does not meet the required flow", "higher level", (1.2, 1.3)),
        (3, "No response level meets", "not met", (0.6, 1.3)),
    ):
        at = next(k for k, group in enumerate(plan.groups) if group.lead == address)
        rich = line.uninterrupted_gpm.copy()
        rich[address] = need[address] * np.array(flows)
        poor = rich.copy()
        poor[address] = need[address] * np.array([0.5, 1.0 if status == "higher level" else 0.6])
        for summer, told in ((rich, " in December to March"), (poor, "")):
            seasons = (
                replace(line, months=(12, 1, 2, 3), uninterrupted_gpm=poor),
                replace(line, months=tuple(range(4, 12)), uninterrupted_gpm=summer),
            )
            said = text(card_words.call(facts(replace(plan, seasons=seasons), at)))
            assert f"{low}{told}." in said
            line_said = card_words.status_line(facts(replace(plan, seasons=seasons), at))
            assert line_said == (f"{status}{told}" if status == "not met" else status)


def test_a_backup_s_bar_is_named_for_a_unit_whose_id_has_blanks() -> None:
    plan = example_plan()
    flag = Flag("posted below size", "Tanker 1 B (up to 10.8 ft): Mill Road (posted 10 ft high)", stretches=(0,),
                limit="10 ft high", road="Mill Road")  # fmt: skip
    barred = replace(plan, site_flags=((flag,), *plan.site_flags[1:]))
    assert bars_near(barred, 0, ["Tanker 1 B"]).startswith(" KEEP OFF Mill Road (10 ft high, ")
    assert bars_near(barred, 0, ["Tanker 1", "T9"]).startswith(" KEEP OFF")  # rather once too often
    assert bars_near(barred, 0, ["anker 1 B", "Tanker 11"]) == ""
    assert bars_near(barred, 0, []) == ""


def test_a_way_past_a_border_says_that_no_wait_is_counted() -> None:
    """Driven by a circuit or by units from their stations; a card whose ways pass none says nothing of it."""
    one = facts(example_plan())
    wait = "No wait at a border control."
    assert wait not in text(card_rest.assumed(one))
    (step, *_), group = one.group.out_steps, one.group
    past = replace(step, note="BORDER CONTROL; unpaved")
    by_circuit = replace(group, back_steps=(past,))
    way = WayIn(station=0, units=(0,), site=-1, steps=(past,), heading="west")
    by_unit = replace(group, ways_in=(way,))
    for other in (by_circuit, by_unit):
        assert wait in text(card_rest.assumed(Facts(one.plan, other)))


def test_fill_sites_of_one_name_are_told_apart() -> None:
    """Over the radio only the number does; a name of its own needs no such words."""
    plan = example_plan()
    assert "of the same name" not in text(card_words.fill(facts(plan)))
    first, second, *rest = plan.sites
    twins = replace(plan, sites=(first, replace(second, name=first.name.upper()), *rest))
    assert "NOT fill site 2 of the same name." in text(card_words.fill(facts(twins)))
    three = replace(twins, sites=(*twins.sites[:2], replace(second, site_id="F9", name=first.name)))
    assert "NOT fill sites 2 and 3 of the same name." in text(card_words.fill(facts(three)))


def test_what_hardly_bears_a_unit_that_is_called_is_the_first_to_take_care_of() -> None:
    plan = plan_of(SAMPLE / "district.toml")
    told = 0
    for group in plan.groups:
        tight, of = tight_words(plan, group.ways_in), Facts(plan, group)
        if not tight or of.cell("trip") < 0:
            continue
        first, *_ = card_rest.cautions(of, HALF_PT)
        assert f"• {tight[0]}" == text(first.lines)
        assert all(line.bold for line in first.lines)
        assert "NO MARGIN" not in text(card_rest.first_drive(of, LAST)), "once"
        told += 1
    assert told > 10


def test_an_empty_leg_over_what_bears_no_load_says_that_no_load_is_left() -> None:
    plan = plan_of(SAMPLE / "district.toml")
    seen = Counter[bool]()
    for group in plan.groups:
        of = Facts(plan, group)
        if of.cell("trip") >= 0:
            empty = any(flag.code == "empty only" for flag in of.card_flags)
            assert ("EMPTY, never half" in text(card_way.way(of, HALF_PT))) is empty
            seen[empty] += 1
    assert min(seen[True], seen[False]) > 2


def test_a_bridge_close_to_the_fill_site_is_told_there_though_its_way_from_the_dump_site_is_told_too() -> None:
    plan = plan_of(SAMPLE / "district.toml")
    (group,) = (one for one in plan.groups if plan.addresses.label[one.lead] == "1057 THORNAPPLE RD")
    of = Facts(plan, group)
    assert any("Thornapple Road bridge" in text(block.lines) for block in card_rest.cautions(of, HALF_PT))
    far = "(37,919 lb, 120 ft northeast of the fill site)"
    assert f"KEEP OFF the Thornapple Road bridge {far}." in text(card_words.fill(of))


def test_waits_on_one_lane_stand_with_the_flow_that_does_not_count_them() -> None:
    plan = plan_of(SAMPLE / "district.toml")
    seen, here = Counter[bool](), Counter[bool]()
    for group in plan.groups:
        of = Facts(plan, group)
        if of.cell("trip") >= 0:
            # who can leave no lane open is not told to
            one_lane = bool(plan.limits.narrow[plan.frontages.segment[group.lead]])
            dump = text(card_words.dump(of))
            assert (words.ONE_LANE_HERE in dump, words.LEAVE_A_LANE in dump) == (one_lane, not one_lane)
            here[one_lane] += 1
            lane = any("Waiting is not counted" in flag_words(flag) for flag in plan.answers.flags[group.lead])
            assert ("waits not counted: EXPECT LESS." in text(card_words.can(of))) is lane
            seen[lane] += 1
    assert min(seen[True], seen[False]) > 10
    assert here[True] > 2


def test_a_fill_site_of_other_months_alone_is_not_said_to_serve_nobody() -> None:
    """Of the sample's sites the one out of service serves nobody; the landing does from April to November."""
    said = words_of(site_pdf.sites(plan_of(SAMPLE / "district.toml")))
    assert said.count("No address fills here first.") == 1
    assert "Best in April to November for" in said


def test_a_fill_site_says_of_each_circuit_alike_how_empties_keep_off_a_lane() -> None:
    """Its page had empties go another way, and a circuit of the next page had them wait in the lane."""
    plan = plan_of(SAMPLE / "district.toml")
    said = words_of(site_pdf.sites(plan))
    assert "For Cobble Lane: " not in said, "some of its cards have no other way"
    assert "64 Cobble Ln: empties by Kiln Road; " in said
    circuit = said.partition(" Cobble Lane 155 to 186 (2 addresses) Loaded, fill site")[2]
    assert "or send empties by Kiln Road, " in circuit[: circuit.index("Gristmill Road 613")]


def test_a_dump_site_on_another_road_than_the_address_is_named_for_says_so_first() -> None:
    """A driver who looks for the road of the headline must not pass the spot; nor is one told so of the same road."""
    plan = example_plan()
    lead = plan.groups[0].lead
    flagged = plan.answers.flagged([(lead, Flag("frontage uncertain", 969.0, "ft"))])
    named = replace(plan.addresses, street=text_array(["Cook Rd"] * len(plan.addresses)))
    for answers, told in ((flagged, True), (plan.answers, False)):
        lines = card_words.dump(Facts(replace(plan, answers=answers, addresses=named), plan.groups[0]))
        said = " ".join(line.said for line in lines)
        assert (", the nearest road (assumed): the map has no COOK RD near" in said) == told
        assert any(line.bold and "(assumed)" in line.said for line in lines) == told
    for street in ("East Mill Rd", "Mill St", "MILL ROAD", "Quarry Ln"):
        table = replace(plan.addresses, street=text_array([street] * len(plan.addresses)))
        ours = replace(plan, answers=flagged, addresses=table)
        said = " ".join(line.said for line in card_words.dump(Facts(ours, plan.groups[0])))
        assert ("the map has no" in said) == (street in {"East Mill Rd", "Quarry Ln"}), street
