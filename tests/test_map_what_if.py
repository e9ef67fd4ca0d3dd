"""The map's what-if: every flow that the page works out is planning's own, before rounding, whatever is changed."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from preplan.plan import Plan, TripTable, WhatIf
from preplan.planning import pipeline
from preplan.planning.assignment import Delivery, Scene, deliver
from preplan.planning.what_if import what_if_of
from preplan.records import BoolArray, FloatArray
from preplan.render import words
from preplan.render.map_data import along_roads
from preplan.render.map_html import map_page
from preplan.render.map_what_if import MINUTE_STEPS, what_if_data
from preplan.water.shuttle import LIMITS
from tests.browser import Opened, launched, opened, page_source
from tests.plan_checks import SAMPLE, fresh_plan_of

if TYPE_CHECKING:
    from playwright.sync_api import Browser


@dataclass(frozen=True)
class Change:
    """What is asked: names as the page shows them; `season` is -1 for the worst."""

    off: tuple[str, ...] = ()
    on: tuple[str, ...] = ()
    out: tuple[str, ...] = ()
    season: int = -1
    factor: float = 1.0


@dataclass(frozen=True)
class Case:
    """The sample's plan and what planning looked flows up in."""

    plan: Plan
    scene: Scene
    trips: TripTable


@pytest.fixture(scope="module")
def case() -> Case:
    kept: list[tuple[Scene, TripTable]] = []

    def listening(scene: Scene, trips: TripTable) -> WhatIf:
        kept.append((scene, trips))
        return what_if_of(scene, trips)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(pipeline, "what_if_of", listening)
        plan = fresh_plan_of(SAMPLE / "district.toml")
    return Case(plan, *kept[0])


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with launched() as found:
        yield found


@pytest.fixture(scope="module")
def wide(browser: Browser, case: Case, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Opened]:
    path: Path = tmp_path_factory.mktemp("what_if") / "map.html"
    path.write_text(map_page(case.plan), encoding="utf-8")
    found = opened(browser, path.as_uri())
    yield found
    assert found.complaints == []
    assert found.requests == [path.as_uri()]


# --------------------------------------------------------------------------- planning's answer


def sent(case: Case, out: tuple[str, ...]) -> BoolArray:
    """Walk each address's tankers by arrival, one at a time: (addresses, levels, units)."""
    stations = {one.station_id: one for one in case.plan.stations}
    response = case.scene.response
    fleet = np.zeros_like(response.tankers)
    for a, k in itertools.product(range(len(fleet)), range(fleet.shape[1])):
        given: dict[str, int] = {}
        for u in sorted(range(fleet.shape[2]), key=lambda u: (response.arrival_min[a, u], u)):
            unit = case.plan.units[u]
            most = stations[unit.station_id].max_tankers
            home = given.get(unit.station_id, 0)
            if not response.hauls[a, u] or unit.unit_id in out or (most is not None and home >= most):
                continue
            if fleet[a, k].sum() < case.plan.district.levels[k].tankers:
                fleet[a, k, u] = True
                given[unit.station_id] = home + 1
    return fleet


def delivered(case: Case, change: Change, *, steps: int | None) -> tuple[FloatArray, Delivery, Any]:
    """Let planning work out every kept trip at every level; `steps` rounds the trips as the page has them."""
    trip = [cut.trip_min if steps is None else np.round(cut.trip_min * steps) / steps for cut in case.scene.cuts]
    scene = replace(
        case.scene,
        response=replace(case.scene.response, tankers=sent(case, change.out)),
        cuts=tuple(
            replace(cut, trip_min=minutes * change.factor) for cut, minutes in zip(case.scene.cuts, trip, strict=True)
        ),
    )
    levels = len(case.plan.district.levels)
    a, s = np.repeat(case.trips.address, levels), np.repeat(case.trips.site, levels)
    lv = np.tile(np.arange(levels, dtype=np.int32), len(case.trips))
    found = deliver(scene, a, s, lv)
    flows = np.full((len(case.plan.addresses), len(case.plan.sites), levels), -1.0)
    flows[a, s, lv] = found.shuttle.sustained_gpm
    return flows, found, (a, s, lv)


def standing(case: Case, change: Change) -> list[BoolArray]:
    """Tell which sites stand in each season asked for."""
    seasons = case.plan.seasons if change.season < 0 else case.plan.seasons[change.season : change.season + 1]
    return [
        np.array(
            [
                (site.in_service or site.site_id in change.on)
                and site.site_id not in change.off
                and site.months.issuperset(season.months)
                for site in case.plan.sites
            ]
        )
        for season in seasons
    ]


def worst(case: Case, change: Change, *, steps: int | None = MINUTE_STEPS) -> FloatArray:
    """Give the best site's flow in the worst season, (addresses, levels)."""
    flows, _, _ = delivered(case, change, steps=steps)
    by_season = [np.where(stands[None, :, None], flows, -1.0).max(axis=1) for stands in standing(case, change)]
    least: FloatArray = np.maximum(np.min(by_season, axis=0), 0.0)
    return least


# --------------------------------------------------------------------------- the page's answer


def asked(case: Case, change: Change) -> dict[str, Any]:
    """Put a change as the page's script has it."""
    sites = [site.site_id for site in case.plan.sites]
    units = [unit.unit_id for unit in case.plan.units]
    off = [k for k, site in enumerate(case.plan.sites) if not site.in_service and site.site_id not in change.on]
    return {
        "off": [*off, *(sites.index(one) for one in change.off)],
        "out": [units.index(one) for one in change.out],
        "season": change.season,
        "factor": change.factor,
    }


def in_page(page: Opened, given: dict[str, Any], body: str) -> Any:
    """Run the page's own what-if with a change; `steady` is then at hand."""
    return page.page.evaluate(
        f"""(asked) => {{
          {page_source("map_what_if.js")}
          const change = {{ ...asked, off: new Set(asked.off), out: new Set(asked.out) }};
          const steady = new Steady(change);
          {body}
        }}""",
        given,
    )


def page_flows(case: Case, page: Opened, change: Change) -> FloatArray:
    flat = in_page(page, asked(case, change), "return [...steady.all().flow];")
    return np.array(flat, dtype=np.float64).reshape(len(case.plan.addresses), -1)


CHANGES = [
    Change(),
    Change(off=("F01", "F03")),
    Change(on=("F09",)),
    Change(out=("T11",)),
    Change(out=("T12", "PT22", "V24")),
    Change(season=0),
    Change(season=1),
    Change(factor=1.4),
    Change(off=("F01", "F02", "F05"), out=("T11", "T31"), season=1, factor=1.75),
]


def changes(case: Case) -> list[Change]:
    """Take those typed in, and half a dozen drawn."""
    draw = np.random.default_rng(11)
    sites = [site.site_id for site in case.plan.sites if site.in_service]
    units = [unit.unit_id for unit in case.plan.units if unit.kind != "engine"]
    drawn = [
        Change(
            off=tuple(one for one in sites if draw.random() < 0.3),
            out=tuple(one for one in units if draw.random() < 0.3),
            season=int(draw.integers(-1, len(case.plan.seasons))),
            factor=float(np.round(draw.uniform(1.0, 2.5), 2)),
        )
        for _ in range(6)
    ]
    return CHANGES + drawn


def test_every_flow_is_planning_s_own_before_rounding(case: Case, wide: Opened) -> None:
    """To a billionth on the trips as the page has them; a supply line is in thousandths of a gpm, rounded down."""
    sites = {site.site_id for site in case.plan.sites}
    for change in changes(case):
        assert {*change.off, *change.on} <= sites
        ours, theirs = worst(case, change), page_flows(case, wide, change)
        apart = np.abs(ours - theirs)
        assert np.all((apart <= 1e-9 * np.maximum(ours, 1.0)) | ((ours > theirs) & (apart <= 0.001))), change
        exact = worst(case, change, steps=None)
        assert np.max(np.abs(exact - theirs)) < 0.01, change


def test_changes_change_flows(case: Case) -> None:
    """The changes above would prove nothing if they did nothing."""
    plain = worst(case, Change())
    assert plain.max() > 500.0
    for change in CHANGES[1:]:
        found = worst(case, change)
        assert np.any(found != plain) or change == Change(season=1), change
    seasons = [worst(case, Change(season=k)) for k in (0, 1)]
    assert np.array_equal(np.minimum(*seasons), plain)
    assert np.any(seasons[0] > seasons[1])
    slower = worst(case, Change(factor=1.4))
    assert np.all(slower <= plain)


def test_nothing_changed_is_what_planning_scored(case: Case, wide: Opened) -> None:
    """The tankers walked here are those that planning sent, and no address changes from meets to does not."""
    assert np.array_equal(sent(case, ()), case.scene.response.tankers)
    need = case.plan.needs.required_gpm[:, None] - 1e-6
    exact = worst(case, Change(), steps=None)
    assert np.array_equal(exact >= need, page_flows(case, wide, Change()) >= need)


def test_tankers_and_what_holds_back_are_planning_s_own(case: Case, wide: Opened) -> None:
    change = Change(off=("F01",), factor=1.25)
    flows, found, (a, s, lv) = delivered(case, change, steps=MINUTE_STEPS)
    details = in_page(
        wide,
        asked(case, change),
        """
        const rows = [];
        for (let a = 0; a < addresses.count; a += 1) {
          for (const site of whatIf.reaches[whatIf.reach[a]]) {
            for (let level = 0; level < levelCount; level += 1) {
              const { flow, used, limit } = steady.detail(a, level, site);
              rows.push([a, site, level, flow, used.sort((x, y) => x - y), whatIf.limits[limit]]);
            }
          }
        }
        return rows;
        """,
    )
    assert [row[:3] for row in details] == np.column_stack([a, s, lv]).tolist()
    seen = set()
    for k, (address, site, level, flow, used, limit) in enumerate(details):
        assert flow == pytest.approx(flows[address, site, level], abs=0.001)
        if flow > 0.0:
            assert used == np.flatnonzero(found.shuttle.used[k]).tolist()
        word = LIMITS[found.shuttle.limited_by[k]]
        assert limit == words.limit_words(word)
        seen.add(word)
    assert len(seen) >= 4


def test_required_flows_that_are_no_whole_gpm_are_exact_in_the_page(
    case: Case, browser: Browser, tmp_path: Path
) -> None:
    """The panel prints them rounded up; what meets is judged by thousandths, rounded up."""
    need = case.plan.needs.required_gpm * 1.00123
    odd = replace(case.plan, needs=replace(case.plan.needs, required_gpm=need))
    path = tmp_path / "odd.html"
    path.write_text(map_page(odd), encoding="utf-8")
    page = opened(browser, path.as_uri())
    theirs = np.array(in_page(page, asked(case, Change()), "return whatIf.need;"))
    assert np.all((theirs >= need - 1e-9) & (theirs < need + 0.001))
    assert np.array_equal(in_page(page, asked(case, Change()), "return addresses.gpm;"), np.ceil(need))
    page.page.close()


def test_trips_that_are_not_kept_are_not_taken_for_nothing(case: Case, browser: Browser, tmp_path: Path) -> None:
    """Where only some trips are kept and all their sites are off, the page says so and gives no number."""
    rules = replace(case.plan.district.rules, plan=replace(case.plan.district.rules.plan, keep_sites=1))
    near = np.zeros(len(case.trips), dtype=np.bool_)
    address = case.trips.address
    trip_min = case.scene.cuts[0].trip_min[address, case.trips.site]
    for a in np.unique(address):
        rows = np.flatnonzero(address == a)
        near[rows[np.argsort(trip_min[rows], kind="stable")[:2]]] = True
    columns = {name: getattr(case.trips, name)[near] for name in TripTable.__dataclass_fields__}
    trips = TripTable(**columns)
    few = replace(
        case.plan,
        trips=replace(
            trips, out_leaf=np.full(len(trips), -1, dtype=np.int32), back_leaf=np.full(len(trips), -1, dtype=np.int32)
        ),
        levels=replace(
            case.plan.levels,
            trip=np.full_like(case.plan.levels.trip, -1),
            backup_trip=np.full_like(case.plan.levels.backup_trip, -1),
            split_trip=np.full_like(case.plan.levels.split_trip, -1),
        ),
        district=replace(case.plan.district, rules=rules),
        what_if=what_if_of(case.scene, trips),
    )
    data = what_if_data(few, along_roads(few))
    assert data is not None
    assert data["partial"]
    path = tmp_path / "few.html"
    path.write_text(map_page(few), encoding="utf-8")
    page = opened(browser, path.as_uri())
    few_case = Case(few, case.scene, trips)
    change = Change(off=("F01", "F02", "F03"))
    theirs = page_flows(few_case, page, change)
    flows, _, _ = delivered(few_case, change, steps=MINUTE_STEPS)
    stands = standing(few_case, change)
    leads = flows[:, :, 0] >= 0.0
    stood = np.stack([leads[:, one].any(axis=1) for one in stands], axis=1)
    lost = np.sum(stood, axis=1)[np.unique(trips.address)] < len(stands)
    theirs = theirs[np.unique(trips.address)]
    assert 0 < lost.sum() < len(lost)
    assert np.array_equal(np.isnan(theirs).all(axis=1), lost)
    assert page.complaints == []
    page.page.close()
