"""What a board and a rater ask of the plan: flow against need, what fails when something is out, the criteria."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from preplan.months import month_words
from preplan.plan import Plan
from preplan.plan_tables import ROUNDING_GPM
from preplan.records import LIFT_FT, BoolArray, FloatArray
from preplan.render import words
from preplan.render.bars_pdf import BAR_PT, Bar, bars
from preplan.render.coverage_pdf import shares
from preplan.render.paper import SMALL_PT, TABLE_PT, Document
from preplan.rules import RATER_GPM, RATER_MI, RATER_MIN, RATER_RAISE_MIN, RATER_START_MIN

_EDGES = (0.25, 0.5, 0.75, 0.9, 1.0, 1.1, 1.5)
"""Edges of the bins of flow over need."""
_BINS = ("none", "under a quarter", "a quarter to a half", "a half to three quarters", "three quarters to 90 %",
         "90 % to all: close", "all to 110 %: close", "110 % to 150 %", "150 % and more")  # fmt: skip
"""What each bin is called; no flow at all has its own, the first."""
_MOST_NEEDS = 12
_STEP_GPM = 250.0
"""Where there are more sizes of need they are put together by this, or twice as much."""
_MOST_LATE = 15
_LEAST_LOST_MIN = 0.05
"""Less than this prints as nothing."""


def of(part: int, whole: int) -> str:
    """Write a part of a whole with its share.

    >>> of(3, 12), of(1, 900), of(899, 900), of(0, 0)
    ('3 of 12 (25 %)', '1 of 900 (under 1 %)', '899 of 900 (over 99 %)', '0')
    """
    if whole <= 0:
        return f"{part:,}"
    share = 100.0 * part / whole
    said = f"{share:.0f}" if share >= 1.0 or not part else "under 1"
    said = "over 99" if share > 99.0 and part < whole else said
    return f"{part:,} of {whole:,} ({said} %)"


def flow_against_need(document: Document, plan: Plan) -> None:
    """Draw how much of the required flow each address gets, and the same by the size of the need."""
    share, counted = shares(plan)
    document.heading("Flow available against required", bookmark=True, keep=40.0 + BAR_PT * len(_BINS))
    total = int(counted.sum())
    which = np.where(share > 0.0, np.searchsorted(_EDGES, share, side="right") + 1, 0)
    counts = np.bincount(which[counted], minlength=len(_BINS)).tolist()
    rows = [Bar(said, count, of(count, total)) for said, count in zip(_BINS, counts, strict=True)]
    bars(document, rows, total)
    document.flow(
        f"Bars: addresses by their {words.FLOW} at the level that their card shows, as a share of the required flow.",
        SMALL_PT,
    )
    _by_need(document, plan, share, counted)


def _by_need(document: Document, plan: Plan, share: FloatArray, counted: BoolArray) -> None:
    """List the sizes of need with the addresses that are met, and the flow in their middle."""
    need, meets = plan.needs.required_gpm, plan.levels.meets
    most, step = _sizes(need, counted)
    lines = []
    for gpm in np.unique(most[counted]).tolist():
        mine = counted & (most == gpm)
        count = int(mine.sum())
        middle = float(np.median(share[mine] * need[mine]))
        lines.append((
            f"{words.need(gpm - step + 1.0)} to {words.need(gpm)}" if step > 1.0 else words.need(gpm), f"{count:,}",
            of(int((mine & meets[:, 0]).sum()), count), of(int((mine & meets.any(axis=1)).sum()), count),
            words.supply(middle),
        ))  # fmt: skip
    document.heading("By the size of the required flow", 11.0, keep=TABLE_PT)
    head = (
        "required gpm",
        "addresses",
        "met at the first level",
        "met at some level",
        "median gpm held",
    )
    document.table(head, lines, (90.0, 80.0, 140.0, 130.0, 100.0))


def _sizes(need: FloatArray, counted: BoolArray) -> tuple[FloatArray, float]:
    """Round needs up to whole gpm, or to steps so wide that there are few sizes; give the step too."""
    step = 1.0
    while True:
        most: FloatArray = np.ceil((need - ROUNDING_GPM) / step) * step
        if len(np.unique(most[counted])) <= _MOST_NEEDS:
            return most, step
        step = max(_STEP_GPM, 2.0 * step)


def out_of_service(document: Document, plan: Plan) -> None:
    """Say what any one tanker, the first fill site, or one site or tanker by name out of service costs."""
    met = np.isin(plan.answers.status.astype(str), ["served", "higher level"])
    need, total = plan.needs.required_gpm, int(met.sum())
    document.heading("With something out of service", bookmark=True, keep=TABLE_PT)
    with np.errstate(invalid="ignore"):
        holds = [plan.answers.shown_flow(season.backup_gpm) >= need - ROUNDING_GPM for season in plan.seasons]
        one_out = met & (plan.answers.shown_flow(plan.levels.one_out_gpm) >= need - ROUNDING_GPM)
    for said, held, when in (
        ("any one tanker out", one_out, " in the worst season"),
        ("the first fill site out", met & np.logical_and.reduce(holds), " in every month"),
    ):
        document.flow(
            f"With {said}, {of(int(held.sum()), total)} of the addresses met now are still met at the same level{when}."
        )
    alone = int(np.sum(met & (plan.answers.shown(plan.levels.backup) < 0)))
    lone = np.array([any(flag.code == "no backup" for flag in flags) for flags in plan.answers.flags])
    some = int(np.sum(met & lone))
    document.flow(f"Addresses met now that have no backup fill site: {alone:,}; none in some months: {some:,}.")
    _sites_out(document, plan, met, holds)
    _tankers_out(document, plan, met)


def _sites_out(document: Document, plan: Plan, met: BoolArray, holds: Sequence[BoolArray]) -> None:
    """Say what each fill site out of service costs in any month, the dearest first.

    `holds`: whether the backup brings enough, season by season.
    """
    used = np.zeros((len(plan.sites) + 1, len(met)), dtype=np.bool_)  # the last row is that of no site, -1
    lost, every = used.copy(), np.arange(len(met))
    for season, enough in zip(plan.seasons, holds, strict=True):
        first, second = (plan.answers.shown(sites) for sites in (season.best_site, season.split_site))
        used[first, every] = used[second, every] = True
        lost[first, every] |= ~enough
        # Where tankers are split each site is needed: what the first alone would hold did not do.
        lost[second, every] = True
    mine, cost = (np.sum(some[:-1] & met, axis=1).tolist() for some in (used, lost))
    lines = [
        (words.site_words(plan, row)[:90], f"{mine[row]:,}", of(cost[row], mine[row]))
        for row in sorted(range(len(plan.sites)), key=lambda row: (-cost[row], row))
        if mine[row]
    ]
    if lines:
        document.y -= 4.0
        head = ("fill site out", "met from it in some month", "of them then not met at the same level")
        document.table(head, lines, (270.0, 110.0, 160.0))
    if np.any(plan.answers.shown(plan.levels.split) >= 0):
        document.flow("An address whose tankers are split counts at both of its fill sites.", SMALL_PT)


def _tankers_out(document: Document, plan: Plan, met: BoolArray) -> None:
    """Say for how many addresses each tanker hauls, what it adds, what its absence costs, and how long it queues."""
    hauls = plan.hauls
    counted = met[hauls.address] & (hauls.level == plan.answers.level[hauls.address])
    need = plan.needs.required_gpm[hauls.address]
    lost = hauls.without_gpm < need - ROUNDING_GPM
    unload_min = hauls.dump_wait_min + hauls.room_wait_min
    lines = []
    for u, unit in enumerate(plan.units):
        mine = counted & (hauls.unit == u)
        count = int(mine.sum())
        if count:
            lines.append((
                words.printable(unit.unit_id), words.gallons(unit.tank_gal), of(count, int(met.sum())),
                of(int((mine & lost).sum()), count), f"{int((mine & ~hauls.adds).sum()):,}",
                *(words.minutes(float(np.median(queue[mine]))) for queue in (hauls.fill_wait_min, unload_min)),
            ))  # fmt: skip
    if lines:
        document.heading("What each tanker adds", 11.0, keep=TABLE_PT)
        head = ("tanker", "tank", "hauls for", "not met without it", "adds nothing", "fill queue", "dump queue")
        document.table(head, lines, (75.0, 70.0, 105.0, 105.0, 65.0, 60.0, 60.0))
        document.flow(
            "Queues: the median of the minutes that it stands there while the required flow lasts. At the dump site a "
            "tanker mostly waits for room: there more water comes than is asked for.",
            SMALL_PT,
        )


def hose_lays(document: Document, plan: Plan) -> None:
    """List from which fill sites the engines' own hose does more than tankers."""
    lays = plan.lays
    document.heading("Where a hose lay does more than a level's tankers", bookmark=True, keep=TABLE_PT)
    if not len(lays):
        document.flow("Nowhere: no address that waits for more water lies within reach of the hose that engines carry.")
        return
    carries = lays.gpm >= plan.needs.met_from_gpm[lays.address]
    document.flow(
        "Addresses that the first response level does not serve, and to which the own hose of some level's engines "
        f"would bring more than the tankers of that same level: {len(lays):,}; the required flow to "
        f"{int(carries.sum()):,} of them. A higher level's tankers may still bring more."
    )
    rows = []
    for site in np.unique(lays.site).tolist():
        mine = lays.site == site
        rows.append((
            f"{words.site_words(plan, site)[:90]}{_months(plan, site)}",
            f"{int(mine.sum()):,}", f"{int((mine & carries).sum()):,}",
            words.feet(float(lays.length_ft[mine].max())), words.need(float(np.median(lays.ready_min[mine]))),
        ))  # fmt: skip
    head = ("fill site", "addresses", "required flow met", "farthest", "median minute of water")
    document.table(head, rows, (230.0, 65.0, 95.0, 70.0, 80.0))
    psi = plan.district.rules.shuttle
    document.flow(
        f"Along the road, on level ground, {psi.supply_psi:g} psi at each pump, {psi.supply_residual_psi:g} psi left. "
        "The engines of a level pump or carry hose, the first only takes in; hose laid when the last of them is "
        "there and the fill site is ready. It changes no status.",
        SMALL_PT,
    )


def _months(plan: Plan, site: int) -> str:
    """Name the months of a fill site that does not stand all year, in brackets behind a blank."""
    there = plan.sites[site]
    return f" ({month_words(there.months)} only)" if there.seasonal else ""


def rater(document: Document, plan: Plan) -> None:
    """Draw how many addresses meet each criterion that a rater of hauled water asks about, and what is not shown."""
    planned = np.asarray(plan.answers.status != "hydrant")
    total = int(planned.sum())
    rows = [Bar(said, int(np.sum(mask & planned)), of(int(np.sum(mask & planned)), total))
            for said, mask in criteria(plan)]  # fmt: skip
    document.heading("Evidence for a rater", bookmark=True, keep=60.0 + BAR_PT * len(rows))
    document.flow(
        "Published rating criteria for hauled water: 250 gpm within 5 minutes of the first engine's arrival, held for "
        "2 hours; a higher flow if it is reached within 15 minutes; sources that stand all year; 5 road miles. "
        "These are counts of this plan's answers, not a rating."
    )
    document.y -= 2.0
    bars(document, rows, total)
    held = plan.needs.required_min[planned]
    short = int(np.sum(held < RATER_MIN))
    if short:
        document.flow(f"{short:,} addresses are planned for less than the 2 hours that a rater asks for.", SMALL_PT)
    months, used = plan.district.rules.plan.months, [site for site in plan.sites if site.in_service]
    rules = plan.district.rules.shuttle
    document.flow(
        f"Flows are those of the months that decide, of those planned ({month_words(months)}), where the plan holds "
        "least; in others less may be there so early. They last without a break for "
        f"{RATER_MIN / 60.0:g} hours from so many minutes after the first engine's arrival, all units of the level "
        f"alerted at once; until then {rules.attack_gpm:g} gpm are drawn. Everywhere else in this plan full flow is "
        f"asked for {rules.full_flow_after_min:g} minutes after it. Of {len(used)} fill sites in service "
        f"{sum(bool(site.tested) for site in used)} have a date of test and "
        f"{sum(site.storage_gal is not None for site in used)} a known store: no bar here proves a source in "
        "drought or ice. A tanker on the scene is no proof of a flow; first "
        f"water is taken to flow {rules.attack_setup_min:g} minutes after the attack engine's arrival everywhere.",
        SMALL_PT,
    )


def criteria(plan: Plan) -> list[tuple[str, BoolArray]]:
    """Give each criterion in words, with the addresses that meet it: (addresses,)."""
    trip = plan.answers.shown(plan.levels.trip)
    away_mi = np.append(plan.trips.out_mi, np.inf)  # no trip, -1, is the last
    second_mi = np.append(plan.trips.out_mi, 0.0)[plan.answers.shown(plan.levels.split_trip)]
    near = np.maximum(away_mi[trip], second_mi)
    every_month = np.logical_and.reduce([plan.answers.shown(season.best_site) >= 0 for season in plan.seasons])
    first = plan.answers.first_arrival_min
    second = _second_water_min(plan) - first
    last = _last_min(plan) - first
    least = RATER_GPM - ROUNDING_GPM
    with np.errstate(invalid="ignore"):
        held = [
            (
                f"{RATER_GPM:.0f} gpm from {after:.0f} min after the first engine on, {which}",
                flow >= least,
            )
            for after, gpm in ((RATER_START_MIN, plan.rater.early_gpm), (RATER_RAISE_MIN, plan.rater.raised_gpm))
            for which, flow in (("first level", gpm[:, 0]), ("some level", np.nan_to_num(gpm).max(axis=1, initial=0.0)))
        ]
        return [
            *held,
            (f"the required flow from {RATER_RAISE_MIN:.0f} min after it on, some level", _raised(plan)),
            ("a fill site that serves it in every month planned", every_month),
            (f"the fill site planned within {RATER_MI:.0f} road miles, loaded leg", near <= RATER_MI),
            ("any fill site of all these months so near", _nearest_all_year_mi(plan) <= RATER_MI),
            (f"fire station, not on request, within {RATER_MI:.0f} road miles", plan.station_mi <= RATER_MI),
            (f"a tanker there within {RATER_START_MIN:.0f} min of the first engine", second <= RATER_START_MIN),
            (f"all units there within {RATER_RAISE_MIN:.0f} min of the first engine", last <= RATER_RAISE_MIN),
        ]


def _raised(plan: Plan) -> BoolArray:
    """Mask the addresses that have what they need from when a rater lets the flow be higher on, at some level."""
    most = np.nan_to_num(plan.rater.raised_gpm).max(axis=1, initial=0.0)
    enough: BoolArray = most >= plan.needs.met_from_gpm
    return enough


def _nearest_all_year_mi(plan: Plan) -> FloatArray:
    """Measure the shortest kept loaded leg from a site that stands in all months planned, (addresses,); inf: none."""
    months = plan.district.rules.plan.months
    always = [row for row, site in enumerate(plan.sites) if site.stands_through(months)]
    nearest = np.full(len(plan.addresses), np.inf)
    kept = np.flatnonzero(np.isin(plan.trips.site, always))
    np.minimum.at(nearest, plan.trips.address[kept], plan.trips.out_mi[kept])
    return nearest


def _second_water_min(plan: Plan) -> FloatArray:
    """Give the first shuttling tanker's arrival at each address, at the level shown; NaN: none."""
    return _arrivals(plan, plan.levels.used, np.fmin)


def _last_min(plan: Plan) -> FloatArray:
    """Give the last unit's arrival at each address, at the level shown; NaN: none."""
    return _arrivals(plan, plan.levels.fleet, np.fmax)


def _arrivals(plan: Plan, mask: BoolArray, take: np.ufunc) -> FloatArray:
    mine = plan.answers.shown_units(mask)
    if not mine.shape[1]:
        return np.full(len(mine), np.nan)
    when: FloatArray = take.reduce(np.where(mine, plan.arrival_min, np.nan), axis=1)
    return when


def postings_cost(document: Document, plan: Plan) -> None:
    """List the roads whose addresses lose most minutes to posted limits and low ratings."""
    trip = plan.answers.shown(plan.levels.trip)
    lost = np.where(trip >= 0, plan.trips.posted_avoided_min[np.maximum(trip, 0)] if len(plan.trips) else 0.0, 0.0)
    late = lost >= _LEAST_LOST_MIN
    document.heading("What postings cost", bookmark=True, keep=TABLE_PT)
    document.flow(
        "Addresses whose round trip is longer because of a weight, height or width, posted or rated: "
        f"{int(late.sum()):,}. By the roads of the addresses, over their own circuits; the limits themselves, each as "
        "if it alone were lifted, stand under 'Posted limits and bridges'."
    )
    roads: dict[str, list[float]] = {}
    for group in plan.groups:
        minutes = [float(lost[a]) for a in group.addresses if late[a]]
        if minutes:
            roads.setdefault(words.road_name(group.road) or "No road name", []).extend(minutes)
    ordered = sorted(roads, key=lambda road: (-sum(roads[road]), words.natural_key(road)))
    lines = [
        (road[:90], f"{len(roads[road]):,}", words.minutes(max(roads[road])), words.minutes(sum(roads[road])))
        for road in ordered[:_MOST_LATE]
    ]
    if lines:
        document.table(("road", "addresses", "most, a round trip", "in all, one round trip each"), lines,
                       (260.0, 70.0, 100.0, 110.0))  # fmt: skip
    if len(ordered) > _MOST_LATE:
        document.flow(f"and {len(ordered) - _MOST_LATE:,} more roads.", SMALL_PT)


_VALUES = {
    "axle_lb": "weight on the heaviest axle", "dump_gpm": "rate of dumping", "empty_lb": "weight empty",
    "height_ft": "height", "intake_gpm": "rate that the tank takes in", "loaded_lb": "weight loaded",
    "max_mph": "top speed", "portable_tank_gal": "portable tank", "pump_gpm": "rate of the pump",
    "supply_hose_ft": "length of supply hose", "supply_hose_in": "diameter of supply hose", "tank_gal": "tank",
    "width_ft": "width",
}  # fmt: skip
"""Columns of the apparatus table, in words."""


def assumed_values(document: Document, plan: Plan) -> None:
    """Say what the district's own tables leave open, so that somebody can fill it in."""
    document.heading("Gaps in the district's tables", bookmark=True, keep=TABLE_PT)
    sites = [i + 1 for i, site in enumerate(plan.sites) if not site.tested]
    turns = [i + 1 for i, site in enumerate(plan.sites) if not site.turnaround_given]
    rates = [i + 1 for i, site in enumerate(plan.sites) if not site.fill_gpm_given]
    lifts = [i + 1 for i, site in enumerate(plan.sites) if site.needs_engine and not site.lift_given]
    stores = [i + 1 for i, site in enumerate(plan.sites) if site.kind != "hydrant" and site.storage_gal is None]
    for said, numbers in (
        ("Fill sites without a date of test", sites), ("Fill sites whose rate is assumed", rates),
        ("Fill sites where backing in to turn is assumed", turns),
        (f"Fill sites where a lift of {LIFT_FT:g} ft is assumed", lifts),
        ("Fill sites whose water is not known, taken as enough", stores),
    ):  # fmt: skip
        document.flow(f"{said}: {', '.join(map(str, numbers)) or 'none'}.")
    document.flow(f"Addresses whose building is a default: {int(plan.needs.assumed.sum()):,} of {len(plan.needs):,}.")
    nearest = int(np.sum(plan.frontages.how == "nearest"))
    document.flow(f"Addresses put on the nearest road, since none of their name is near: {nearest:,}.")
    fields: dict[str, list[str]] = {}
    for unit in plan.units:
        for name in unit.guessed:
            fields.setdefault(name, []).append(words.printable(unit.unit_id))
    for name in sorted(fields):
        said = _VALUES.get(name, words.printable(name))
        document.flow(f"{words.first_up(said)} is assumed of {', '.join(fields[name])}.")
