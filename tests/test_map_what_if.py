"""The map's what-if: it starts from the plan's own answers, and works out what planning would."""

from __future__ import annotations

import csv
import io
import itertools
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from preplan.plan import Plan, WhatIf
from preplan.plan_tables import TripTable
from preplan.planning import assembly
from preplan.planning.assignment import Scene, circuit_of, crews, line_capped, source_capped
from preplan.planning.what_if import what_if_of
from preplan.records import BoolArray, FloatArray, IntArray
from preplan.render import words
from preplan.render.map_html import map_page
from preplan.render.map_routes import along_roads
from preplan.render.map_what_if import MINUTE_STEPS, what_if_data
from preplan.render.tables import levels_csv
from preplan.water.shuttle import LIMITS, best_fleet
from preplan.water.tanker import Handling
from tests.browser import Opened, opened, page_source
from tests.faults.small import TOML, SmallDistrict
from tests.plan_checks import SAMPLE, fresh_plan_of
from tests.steady_choice import Delivery, deliver
from tests.test_map_browser import ink

if TYPE_CHECKING:
    from playwright.sync_api import Browser


EVERY = 2
"""Every so manieth address of the sample is planned, with all that planning looked flows up in."""


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
    roads: Sequence[Scene]
    """What holds in each season of the roads."""
    known: dict[tuple[str, ...], BoolArray] = field(default_factory=dict)
    """Tankers that are sent, by those who are out; see `sent`."""

    def road_of(self, season: int) -> int:
        """Give the season of the roads of one of the plan."""
        months = self.plan.seasons[season].months
        return next(at for at, scene in enumerate(self.roads) if scene.rules.plan.months >= {*months})

    def on_roads_of(self, season: int) -> Scene:
        """Give the scene with the round trips of a season of the plan; who comes, and for which job, stays."""
        return replace(self.scene, cuts=self.roads[self.road_of(season)].cuts)


def listened(planned: Callable[[], Plan], patch: pytest.MonkeyPatch) -> Case:
    """Plan, and keep what planning looked flows up in."""
    kept: list[tuple[Scene, TripTable, Sequence[Scene]]] = []

    def listening(scene: Scene, trips: TripTable, seasons: Sequence[Scene], *more: Any) -> WhatIf:
        kept.append((scene, trips, seasons))
        return what_if_of(scene, trips, seasons, *more)

    patch.setattr(assembly, "what_if_of", listening)
    return Case(planned(), *kept[0])


@pytest.fixture(scope="module")
def case() -> Case:
    with pytest.MonkeyPatch.context() as patch:
        return listened(lambda: fresh_plan_of(SAMPLE / "district.toml", every=EVERY), patch)


@pytest.fixture(scope="module")
def wide(browser: Browser, case: Case, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Opened]:
    path: Path = tmp_path_factory.mktemp("what_if") / "map.html"
    path.write_text(map_page(case.plan), encoding="utf-8")
    found = opened(browser, path.as_uri(), own=True)
    yield found
    assert found.complaints == []
    assert found.requests == [path.as_uri()]


# --------------------------------------------------------------------------- planning's answer


def sent(case: Case, out: tuple[str, ...]) -> BoolArray:
    """Walk each address's tankers by arrival, one at a time: (addresses, levels, units); once for all who ask."""
    if out in case.known:
        return case.known[out]
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
    case.known[out] = fleet
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
    """Give the best site's flow in the worst season, each on its own roads, (addresses, levels)."""
    seasons = range(len(case.plan.seasons)) if change.season < 0 else [change.season]
    by_season, planned = [], delivered(case, change, steps=steps)[0]
    for season, stands in zip(seasons, standing(case, change), strict=True):
        flows = np.where(stands[None, :, None], _then(case, change, season, planned, steps), -1.0)
        by_season.append(flows.max(axis=1))
    least: FloatArray = np.maximum(np.min(by_season, axis=0), 0.0)
    return least


def _then(case: Case, change: Change, season: int, planned: FloatArray, steps: int | None) -> FloatArray:
    """Give the flow over every kept trip on the roads of a season, where they make another trip of it."""
    scene, (a, s) = case.on_roads_of(season), (case.trips.address, case.trips.site)
    cuts = zip(case.scene.cuts, scene.cuts, strict=True)
    other = np.any([one.trip_min[a, s] != then.trip_min[a, s] for one, then in cuts], axis=0)
    flows = planned.copy()
    if other.any():
        some = replace(case, scene=scene, trips=case.trips.rows(other))
        flows[a[other], s[other]] = delivered(some, change, steps=steps)[0][a[other], s[other]]
    return flows


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


CHOSEN_ANEW = """
const flow = [];
for (let a = 0; a < addresses.count; a += 1) {
  const block = steady.block(whatIf.order[a], whatIf.job[a]);
  for (let level = 0; level < levelCount; level += 1) flow.push(steady.best(a, level, block));
}
return flow;
"""


def page_flows(case: Case, page: Opened, change: Change) -> FloatArray:
    """Let the page choose every fill site anew, as it does where the plan's own is lost."""
    return np.array(in_page(page, asked(case, change), CHOSEN_ANEW), dtype=np.float64).reshape(
        len(case.plan.addresses), -1
    )


def page_answers(case: Case, page: Opened, change: Change) -> tuple[FloatArray, IntArray, IntArray]:
    """Give flow, fill site and what each rests on, as the page shows them."""
    body = "const { flow, site, how } = steady.all(); return [[...flow], [...site], [...how]];"
    flow, site, how = (
        np.array(one).reshape(len(case.plan.addresses), -1) for one in in_page(page, asked(case, change), body)
    )
    return flow.astype(np.float64), site.astype(np.int32), how.astype(np.int32)


def planned_gpm(case: Case) -> FloatArray:
    """Give the plan's own steady flows as the page has them."""
    return np.floor(np.nan_to_num(case.plan.levels.sustained_gpm) + 1e-6)


def rests_on(case: Case, *site_ids: str) -> BoolArray:
    """Mask the answers that count on one of some fill sites, as first or as second one."""
    sites = [k for k, site in enumerate(case.plan.sites) if site.site_id in site_ids]
    mask: BoolArray = np.isin(case.plan.levels.site, sites) | np.isin(case.plan.levels.split, sites)
    return mask


AS_PLANNED, ANEW, FRESH = 0, 2, 3
"""What an answer of the page rests on."""
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
    seasons = [worst(case, Change(season=k)) for k in range(len(case.plan.seasons))]
    assert np.array_equal(np.min(seasons, axis=0), plain)
    assert np.any(seasons[0] > seasons[1])
    slower = worst(case, Change(factor=1.4))
    assert np.all(slower <= plain)


def test_with_nothing_changed_every_row_is_the_plan_s_own(case: Case, wide: Opened) -> None:
    """Flow, fill sites, tankers and those left out, as levels.csv has them."""
    table = list(csv.DictReader(io.StringIO(levels_csv(case.plan).decode())))
    rows = wide.page.evaluate(
        f"""() => {{
          {page_source("map_what_if_panel.js")}
          asked.change = unchanged();
          view.whatIf = outcome(asked.change);
          const rows = [];
          for (let a = 0; a < addresses.count; a += 1) {{
            for (let level = 0; level < levelCount; level += 1) {{
              const at = row(a, level);
              const said = answers.site[at] < 0 ? {{}} : Object.fromEntries(whatIfFacts(a, level));
              rows.push([view.whatIf.flow[at], view.whatIf.found[at], said]);
            }}
          }}
          return rows;
        }}"""
    )
    need = np.repeat(case.plan.needs.required_gpm, len(case.plan.district.levels))
    assert len(rows) == len(table) > 1500 / EVERY
    splits = left_out = 0
    by_id = {site.site_id: f"{k + 1}, {site.name}" for k, site in enumerate(case.plan.sites)}
    splits_csv = case.plan.levels.split.ravel()
    for (flow, meets, said), line, gpm, split in zip(rows, table, need, splits_csv.tolist(), strict=True):
        assert flow == float(line["sustained_gpm"] or 0)
        assert meets == (flow >= gpm - 1e-6)
        assert said.get("Fill site") == by_id.get(line["fill_site_id"])
        if not said:
            continue
        assert ("Second fill site" in said) == (split >= 0)
        tankers = [one for name in ("Tankers", "Tankers there") for one in said.get(name, "none").split(", ")]
        assert sorted(set(tankers) - {"none"}) == sorted(line["tankers"].split())
        assert said.get("Left out", "").split(", ") == (line["left_out"].split() or [""])
        splits, left_out = splits + (split >= 0), left_out + bool(line["left_out"])
    assert splits > 20 / EVERY
    assert left_out > 100 / EVERY


@pytest.mark.parametrize("off", [("F01",), ("F06",), ("F07",), ("F02", "F11"), ("F12",)])
def test_a_fill_site_that_is_lost_touches_only_what_counts_on_it(
    case: Case, wide: Opened, off: tuple[str, ...]
) -> None:
    """There the best steady flow stands in, as first or as second site lost, and never more than the plan's own."""
    change = Change(off=off)
    flow, _, _ = page_answers(case, wide, change)
    lost, planned = rests_on(case, *off), planned_gpm(case)
    assert lost.any()
    seasons_apart = len(case.plan.seasons) > 1
    anew = np.minimum(worst(case, change), planned)
    assert flow[lost] == pytest.approx(anew[lost], abs=0.001)
    kept = ~lost
    if seasons_apart:  # another season may count on a lost site: that is looked at too
        others = [
            np.isin(sites, [k for k, s in enumerate(case.plan.sites) if s.site_id in off])
            for season in case.plan.seasons
            for sites in (season.best_site, season.split_site)
        ]
        kept &= ~np.logical_or.reduce(others)
    assert np.array_equal(flow[kept], planned[kept])
    assert np.all(flow <= planned)


def test_a_second_fill_site_that_is_lost_is_reckoned(case: Case, wide: Opened) -> None:
    split = case.plan.levels.split
    assert (split >= 0).any()
    for k in np.unique(split[split >= 0]).tolist():
        change = Change(off=(case.plan.sites[k].site_id,))
        flow, site, how = page_answers(case, wide, change)
        rows = split == k
        assert np.all(how[rows] == 2)
        assert not np.any(site[rows] == k)
        assert np.all(flow[rows] <= planned_gpm(case)[rows])
        assert np.any(flow[rows] < planned_gpm(case)[rows])


def test_slower_roads_slow_the_plan_s_own_circuits(case: Case, wide: Opened) -> None:
    """One circuit by the same tankers is planning's closed form; two lose as much as the closed form of both."""
    levels, scene, factor = case.plan.levels, case.scene, 1.4
    a, lv = (i.astype(np.int32) for i in np.nonzero((levels.site >= 0) & (levels.split < 0)))
    s, used = levels.site[a, lv], levels.used[a, lv]
    may = np.stack([~np.any(used & ~cut.members, axis=1) for cut in scene.cuts])
    trip = np.where(may, np.stack([cut.trip_min[a, s] for cut in scene.cuts]), np.inf).min(axis=0)
    jobs, _ = crews(scene, a, s, lv, attack_drafts=levels.attack_drafts[a, lv])

    def steady(times: float) -> FloatArray:
        shuttle = circuit_of(scene, s, jobs).exactly(trip * times, used)
        return line_capped(scene, source_capped(scene, shuttle, a, s), jobs, a).sustained_gpm

    own = np.abs(steady(1.0) - levels.sustained_gpm[a, lv]) < 1e-6  # not a level that does what the one below it does
    assert own.mean() > 0.95
    flow, _, how = page_answers(case, wide, Change(factor=factor))
    assert flow[a, lv][own] == pytest.approx(steady(factor)[own], abs=0.01)
    assert np.all(how[a, lv] == 1)
    assert np.all(flow <= planned_gpm(case) + 1.0)
    two = levels.split >= 0
    assert np.all(flow[two] < levels.sustained_gpm[two])


def test_a_season_is_reckoned_on_its_own_roads(
    browser: Browser, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The lane to S2 is shut in winter, when S1 stands: the page took S2 'as planned', over the closed lane."""
    district = SmallDistrict()
    head = "site_id,name,kind,lon,lat,fill_gpm,turnaround,months\n"
    sites = "S1,Mill Pond,dry hydrant,-72.0,44.0,900,loop,12-3\nS2,Tower,dry hydrant,-72.05,44.01,200,through,1-12\n"
    district.files["fill_sites.csv"] = head + sites
    district.files["closures.csv"] = "closure_id,kind,way_id,value,months\nC1,closed,11,,12-3\n"
    district.toml = TOML.replace("[roads]\n", 'closures = "closures.csv"\n\n[roads]\n')
    small = listened(lambda: fresh_plan_of(district.write(tmp_path)), monkeypatch)
    winter = next(k for k, one in enumerate(small.plan.seasons) if 1 in one.months)
    assert np.all(small.plan.levels.season != winter)
    small = replace(small, scene=small.roads[small.road_of(1 - winter)])  # all have the jobs of the season that decides
    path = tmp_path / "map.html"
    path.write_text(map_page(small.plan), encoding="utf-8")
    page = opened(browser, path.as_uri())
    planned = planned_gpm(small)
    assert np.all(planned > 100)
    off = Change(season=winter, off=("S1",))
    for change, basis, at in (
        (Change(season=1 - winter), AS_PLANNED, 1), (Change(season=winter), FRESH, 0), (off, ANEW, -1),
    ):  # fmt: skip
        flow, site, how = page_answers(small, page, change)
        assert np.all(how == basis)
        assert np.all(site == at)
        assert np.all({AS_PLANNED: flow == planned, FRESH: flow > planned, ANEW: flow == 0.0}[basis])
        assert page_flows(small, page, change) == pytest.approx(worst(small, change), abs=0.001)


def test_a_tanker_out_touches_only_those_who_count_on_it(case: Case, wide: Opened) -> None:
    unit = [one.unit_id for one in case.plan.units].index("T11")
    flow, site, how = page_answers(case, wide, Change(out=("T11",)))
    used, planned = case.plan.levels.used[:, :, unit], planned_gpm(case)
    assert np.array_equal(flow[~used], planned[~used])
    assert np.all(how[~used] == 0)
    assert np.all(flow < planned + 1.0)
    assert np.sum(flow[used] < planned[used]) > 100
    assert np.array_equal(site, case.plan.levels.site)


def test_what_stands_only_now_gains_with_the_plan_s_own_tankers_and_no_loss_is_a_gain(case: Case, wide: Opened) -> None:
    planned = planned_gpm(case)
    flow, site, how = page_answers(case, wide, Change(on=("F09",)))
    gained = how == 3
    assert np.any(gained)
    assert {case.plan.sites[k].site_id for k in np.unique(site[gained]).tolist()} == {"F09"}
    assert np.all(flow[gained] > planned[gained])
    assert np.array_equal(flow[~gained], planned[~gained])
    for change in changes(case):
        if not change.on and change.season < 0:
            assert np.all(page_answers(case, wide, change)[0] < planned + 1.0), change


def test_a_season_is_never_worse_than_the_worst(case: Case, wide: Opened) -> None:
    flows = [page_answers(case, wide, Change(season=k))[0] for k in range(len(case.plan.seasons))]
    decides = case.plan.levels.season
    planned = planned_gpm(case)
    for k, flow in enumerate(flows):
        assert np.array_equal(
            flow[(decides == k) & (case.plan.levels.site >= 0)], planned[(decides == k) & (case.plan.levels.site >= 0)]
        )
    assert any(np.any(flow > planned) for flow in flows)


def test_the_tankers_walked_here_are_those_that_planning_sent(case: Case, wide: Opened) -> None:
    """And chosen anew with nothing changed, no address changes from meets to does not by rounding."""
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


def test_tankers_by_the_dozen_are_reckoned_as_planning_does(wide: Opened) -> None:
    """40 unlike tankers, more than a number has bits: flows and who stays, over trips short and long."""
    rng = np.random.default_rng(40)
    gal, fill, dump = (rng.uniform(low, high, 40) for low, high in ((800, 3500), (1, 6), (1, 5)))
    trips = [1.0, 5.0, 20.0, 60.0, 240.0]
    hold = Handling(usable_gal=gal, fill_hold_min=fill, dump_hold_min=dump, maneuver_min=2.0)
    every = np.ones(40, dtype=np.bool_)
    best = best_fleet(np.array(trips), hold, every, positions=4.0, site_gpm=9000.0, dump_places=6)
    found = in_page(
        wide,
        {"off": [], "out": [], "season": -1, "factor": 1.0, "trips": trips,
         "gal": gal.tolist(), "fill": fill.tolist(), "dump": dump.tolist()},
        """
        Object.assign(whatIf, { usable: asked.gal, hold: [asked.fill], dumpHold: asked.dump, maneuver: 2,
          positions: [4], rateGpm: [9000], dumpPlaces: 6 });
        const fleet = new Fleet([...asked.gal.keys()], 0, 0);
        return asked.trips.map((trip) => [fleet.best(trip), fleet.units.filter((_, k) => fleet.used[k])]);
        """,
    )  # fmt: skip
    assert [flow for flow, _ in found] == pytest.approx(best.sustained_gpm.tolist())
    assert [sorted(units) for _, units in found] == [np.flatnonzero(row).tolist() for row in best.used]
    counts = best.used.sum(axis=-1)
    assert counts.min() < 40
    assert counts.max() > 32


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


def test_a_tick_is_hollow_where_the_plan_does_not_hold_what_the_steady_flow_meets(
    case: Case, browser: Browser, tmp_path: Path
) -> None:
    """Late tankers: at no level is the required flow held from the start, though it meets in the long run.

    A solid tick is blue, a hollow one is not.
    """
    late = replace(case.plan, levels=replace(case.plan.levels, meets=np.zeros_like(case.plan.levels.meets)))
    blue = []
    for name, plan in (("as_it_is", case.plan), ("late", late)):
        path = tmp_path / f"{name}.html"
        path.write_text(map_page(plan), encoding="utf-8")
        page = opened(browser, path.as_uri()).page
        page.click("#what-if")
        blue.append(ink(page))
        page.fill("#search", str(plan.addresses.address_id[plan.answers.status == "served"][0]))
        page.keyboard.press("Enter")
        told = "The plan does not hold it from the start:" in page.inner_text("#panel-body")
        assert told == (plan is late)
    assert blue[0] > 1000
    assert blue[1] < 0.02 * blue[0]


def test_no_circuit_is_drawn_or_offered_to_a_fill_site_that_is_off(
    case: Case, browser: Browser, tmp_path: Path
) -> None:
    path = tmp_path / "map.html"
    path.write_text(map_page(case.plan), encoding="utf-8")
    found = opened(browser, path.as_uri())
    page = found.page
    split = np.flatnonzero(
        (case.plan.levels.split[np.arange(len(case.plan.answers)), np.maximum(case.plan.answers.level, 0)] >= 0)
        & (case.plan.answers.level >= 0)
    )
    address = int(split[0])
    second = int(case.plan.levels.split[address, case.plan.answers.level[address]])
    page.click("#what-if")
    for box in page.locator(".switches input[type=checkbox]").all()[: len(case.plan.sites)]:
        box.uncheck()
    page.fill("#search", str(case.plan.addresses.address_id[address]))
    page.keyboard.press("Enter")
    assert re.search(r"Drawn: no circuit(, fill site \d+ is off)?$", page.inner_text("#drawn"))
    assert not page.get_by_role("button", name=f"Circuit to second fill site {second + 1}").count()


def test_a_filter_that_hides_what_is_lost_says_so(case: Case, browser: Browser, tmp_path: Path) -> None:
    path = tmp_path / "map.html"
    path.write_text(map_page(case.plan), encoding="utf-8")
    found = opened(browser, path.as_uri())
    page = found.page
    page.get_by_label("served (").uncheck()
    page.click("#what-if")
    assert "The filter hides" not in page.inner_text("#what-if-outcome")
    for box in page.locator(".switches input[type=checkbox]").all()[: len(case.plan.sites)]:
        box.uncheck()
    assert re.search(r"The filter hides \d+ of those that no longer meet", page.inner_text("#what-if-outcome"))


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
    roads_of = tuple(case.road_of(season) for season in range(len(case.plan.seasons)))
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
        what_if=what_if_of(
            case.scene,
            trips,
            case.roads,
            np.zeros(len(case.plan.addresses), dtype=np.int32),
            roads_of,
            case.plan.levels.attack_drafts,
        ),
    )
    data = what_if_data(few, along_roads(few))
    assert data is not None
    assert data["partial"]
    path = tmp_path / "few.html"
    path.write_text(map_page(few), encoding="utf-8")
    page = opened(browser, path.as_uri())
    few_case = Case(few, case.scene, trips, case.roads)
    change = Change(off=("F01", "F02", "F03"))
    theirs = page_flows(few_case, page, change)
    stands = standing(few_case, change)
    kept = np.zeros((len(few.addresses), len(few.sites)), dtype=np.bool_)
    kept[trips.address, trips.site] = True
    open_in = [
        kept & np.any([np.isfinite(cut.trip_min) for cut in case.on_roads_of(season).cuts], axis=0)
        for season in range(len(stands))
    ]
    stood = np.stack([leads[:, one].any(axis=1) for leads, one in zip(open_in, stands, strict=True)], axis=1)
    lost = np.sum(stood, axis=1)[np.unique(trips.address)] < len(stands)
    theirs = theirs[np.unique(trips.address)]
    assert 0 < lost.sum() < len(lost)
    assert np.array_equal(np.isnan(theirs).all(axis=1), lost)
    assert page.complaints == []
