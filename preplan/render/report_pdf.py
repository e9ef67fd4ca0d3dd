"""The district's report: coverage, shortfalls, fill sites, postings, data gaps, and every rule with its source."""

from __future__ import annotations

import math
from collections import Counter

import numpy as np

from preplan.months import month_words
from preplan.plan import Plan
from preplan.plan_tables import NO_SITE_IN, STATUSES
from preplan.records import BoolArray
from preplan.render import coverage_pdf, evidence_pdf, minutes_pdf, words
from preplan.render.bars_pdf import BAR_PT, Bar, bars
from preplan.render.charts import Picture
from preplan.render.circuits import in_other_months, stands_in_besides
from preplan.render.evidence_pdf import of
from preplan.render.index_pdf import heading_of
from preplan.render.limit_places import posted_words
from preplan.render.paper import BODY_PT, LEFT_PT, SMALL_PT, TABLE_PT, Document, Line
from preplan.render.route_lines import chosen_legs, driven, trips_by_segment, trips_of_other_months
from preplan.rules import MEMORY, RuleLine, rule_lines

_MOST_SHORTFALLS = 40
_MOST_PROBLEMS = 40
_MOST_POSTINGS = 150
_METHOD = (
    (
        "Every address is paired with every fill site by the quickest round trip that a loaded tanker can drive: out "
        "loaded, back empty, turning counted, posted limits, ratings of bridges and turn restrictions kept."
    ),
    (
        f"{words.first_up(words.FLOW)} is the largest constant flow that the units of a response level hold from full "
        "flow on, for the required time, without a break: each unit's turnout, drive and job, queues at both "
        "ends, room in the portable tanks, draft, supply line and the water stored at the fill site are followed load "
        "by load. All units are alerted at minute 0; what a call on arrival brings is printed beside it."
    ),
    (
        "The steady flow is what the same tankers deliver while they circulate without end: the gallons that reach the "
        "fire in a round, over the longest of their cycles, the time at the fill site, the source, and the time at the "
        "dump site."
    ),
    (
        "The fill site of an address is the one that delivers the most, not the nearest. The backup stands on another "
        "source. The worst season decides."
    ),
    (
        "The minutes rest on turnout times, set-up times and driving speeds that nobody has timed here unless the "
        "district's own values say so. A fireground does not keep to a schedule."
    ),
    (
        "Moving water from one portable tank to the next takes some of the drafting pump's capacity; that is not "
        "reckoned: whoever needs close to what a pump drafts should try it."
    ),
    (
        "Roads, speeds, bridges and places to turn come from open map data and are as good as that data. A bridge "
        "without a posted weight is unknown, not safe. A place to turn is assumed unless someone has tried it."
    ),
    "Supplies are rounded down and needs are rounded up.",
)


def _meets_at(plan: Plan, level: int) -> int:
    """Count the planned addresses that a level meets."""
    return int(np.sum(plan.levels.meets[:, level] & (plan.answers.status != "hydrant")))


def _title(document: Document, plan: Plan) -> None:
    document.begin()
    document.mark("title", "Summary")
    document.heading(f"{words.printable(plan.district.name)}: water supply by tanker", 18.0)
    document.flow(words.CAUTIONS, 11.0, bold=True)
    document.flow(words.data_words(plan.district), 11.0)
    carried = sum(u.tank_gal for u in plan.units if u.kind != "engine")
    document.flow(
        f"{words.counted(len(plan.addresses), 'address')}, {words.counted(len(plan.sites), 'fill site')}, "
        f"{words.counted(len(plan.stations), 'station')}, {words.counted(len(plan.units), 'unit')} in service "
        f"({words.gallons(carried)} on tankers and pumper-tankers)."
    )
    document.flow(_resting_on(plan), bold=True)


def _resting_on(plan: Plan) -> str:
    """Say how much of the answers rests on what is assumed: a board reads the first page alone."""
    used = [site for site in plan.sites if site.in_service]
    count = len(plan.addresses)
    sizes = of(int(np.sum(plan.needs.assumed)), count)
    unsaid = sum(one.unsaid for one in plan.occupancies)
    untold = f"; those whose kind of place no table says, {of(unsaid, count)}" if unsaid else ""
    over = _over_unposted(plan)
    bridges = f"; round trips over a bridge without a posted weight, {of(over, count)}" if over else ""
    dated = sum(bool(site.tested) for site in used)
    rates = sum(not site.fill_gpm_given for site in used)
    guessed = f"; the rate of {rates} is assumed" if rates else ""
    return (
        f"What the answers rest on: buildings whose size is a default, {sizes}{untold}"
        f"{bridges}; of {words.counted(len(used), 'fill site')} in service {dated} "
        f"{'has' if dated == 1 else 'have'} a test date{guessed}."
    )


def _coverage(document: Document, plan: Plan) -> None:
    """Draw counts by status and coverage by response level."""
    counts, whole = plan.counts(), max(1, len(plan.addresses))
    document.heading("Addresses by status", bookmark=True, keep=110.0)
    reach = plan.district.rules.hydrants.reach_ft
    rows = [Bar(words.status_words(s, reach), counts[s], of(counts[s], whole), s) for s in STATUSES]
    bars(document, rows, whole)
    planned = whole if not len(plan.addresses) else len(plan.addresses) - counts["hydrant"]
    document.heading("Coverage by response level", bookmark=True, keep=30.0 + BAR_PT * len(plan.district.levels))
    rows = []
    for k, level in enumerate(plan.district.levels):
        meets = _meets_at(plan, k)
        said = words.level_words(level.name)
        rows.append(Bar(f"{said} ({level.engines} E, {level.tankers} T)", meets, of(meets, planned)))
    bars(document, rows, planned)
    document.flow(
        f"Bars: addresses away from hydrants whose required flow the {words.FLOW} meets at each level "
        "(E engines, T tankers, in all on the road).", SMALL_PT,
    )  # fmt: skip
    _on_request(document, plan)


def _on_request(document: Document, plan: Plan) -> None:
    """Say how many of the addresses that are met count on units that come only when somebody asks for them."""
    mine = plan.on_request
    if not mine.any():
        return
    met = np.isin(plan.answers.status, ("served", "higher level"))
    count = int(np.sum(met & (plan.answers.shown_units(plan.levels.fleet) & mine).any(axis=1)))
    named = words.printable(" ".join(unit.unit_id for unit, is_so in zip(plan.units, mine, strict=True) if is_so))
    document.flow(
        f"Of {words.counted(int(met.sum()), 'address')} met, {count:,} count{'s' * (count == 1)} on units that come on "
        f"request only: {named}.",
        bold=True,
    )


def _shortfalls(document: Document, plan: Plan) -> None:
    """List the worst shortfalls, those without a route first in number."""
    document.heading("Not met: the largest shortfalls in gpm", bookmark=True, keep=TABLE_PT)
    flow = np.nan_to_num(plan.answers.shown_flow(plan.levels.uninterrupted_gpm))
    brings = np.nan_to_num(plan.answers.shown_flow(plan.levels.brings_gpm))
    short = np.where(plan.answers.status == "not met", plan.needs.required_gpm - brings, -np.inf)
    order = [a for a in np.argsort(-short, kind="stable").tolist() if np.isfinite(short[a])]
    no_route = int(np.sum(plan.answers.status == "no route"))
    document.flow(f"Addresses not met: {len(order):,}. Addresses without a route: {no_route:,}{_without_why(plan)}.")
    later = len(plan.built_up.address)
    if later:
        enough = plan.built_up.gpm >= plan.needs.met_from_gpm[plan.built_up.address]
        document.flow(
            f"At {later:,} of those not met at least a quarter more than that is held from a later minute on, once "
            f"late units are there and the shuttle has built up; at {int(enough.sum()):,} of them all that is "
            "required, if little is drawn until then. Their cards say from which minute and how much; addresses.csv "
            "has the flag 'more later'."
        )
    if not order:
        return
    roads: dict[tuple[str, int], list[int]] = {}
    road_of = {a: heading_of(group) for group in plan.groups for a in group.addresses}
    for a in order:  # neighbours fall short alike: a row for each road and fill site, with its worst address
        site = int(plan.levels.site[a, plan.answers.level[a]]) if plan.answers.level[a] >= 0 else -1
        roads.setdefault((road_of.get(a, "") or words.where_words(plan, a), site), []).append(a)
    rows = []
    for (road, site), mine in list(roads.items())[:_MOST_SHORTFALLS]:
        worst, level = mine[0], int(plan.answers.level[mine[0]])
        rows.append((
            road[:90], f"{len(mine):,}", words.where_words(plan, worst)[:90],
            words.need(float(plan.needs.required_gpm[worst])), words.supply(float(flow[worst])),
            words.supply(float(brings[worst])), words.need(float(short[worst])), str(site + 1) if site >= 0 else "none",
            words.printable(plan.levels.limited_by[worst, level]) if level >= 0 else "",
        ))  # fmt: skip
    head = ("road", "not met", "worst of them", "required gpm", "gpm held", "gpm on average", "short gpm",
            "fill site", "held back by")  # fmt: skip
    document.table(head, rows, (108.0, 36.0, 122.0, 50.0, 40.0, 48.0, 40.0, 36.0, 60.0))
    if len(roads) > _MOST_SHORTFALLS:
        document.flow(f"and {words.counted(len(roads) - _MOST_SHORTFALLS, 'more row')}: see addresses.csv.", SMALL_PT)
    document.flow(
        "On average: what comes of the water asked for, over the required time; the rest is short. A row for each road "
        "and fill site: a road that fills at two has two. Which new fill sites would help most is "
        "asked with 'preplan sites' and the district file; what a tanker or a mended bridge would bring, by changing a "
        "table, building again into another folder, and 'preplan compare'.",
        SMALL_PT,
    )


def _without_why(plan: Plan) -> str:
    """Say why addresses have no route, behind their number."""
    kinds = {
        "off road data": "too far from any road for tankers",
        "road cut off": "on mapped roads that no loaded tanker reaches",
        "road closed": "in some months only",
        NO_SITE_IN: "without an open fill site in some months",
    }
    codes = [
        {flag.code for flag in flags}
        for flags, status in zip(plan.answers.flags, plan.answers.status.tolist(), strict=True)
        if status == "no route"
    ]
    counts = [(sum(code in row for row in codes), why) for code, why in kinds.items()]
    said = ", ".join(f"{count:,} {why}" for count, why in counts if count)
    return f" ({said}; see the flags in addresses.csv)" if said else ""


def _sites(document: Document, plan: Plan) -> None:
    """List what each fill site carries."""
    document.heading("What each fill site carries", bookmark=True, keep=TABLE_PT)
    first, second, backup = (
        plan.answers.shown(sites) for sites in (plan.levels.site, plan.levels.split, plan.levels.backup)
    )
    rows = []
    for row, site in enumerate(plan.sites):
        mine: BoolArray = first == row
        need = float(np.nansum(plan.needs.required_gpm[mine]))
        out = "" if site.in_service else " (out of service)"
        rows.append((
            str(row + 1), f"{words.printable(site.name)[:120]}{out}", site.kind, words.rate_words(site),
            *(f"{int(np.sum(sites == row)):,}" for sites in (first, second, backup)),
            words.need(need) if mine.any() else "0",
        ))  # fmt: skip
    head = ("no.", "name", "kind", "rate into one tanker", "first", "second", "backup", "required gpm, summed")
    document.table(head, rows, (28.0, 138.0, 60.0, 122.0, 36.0, 44.0, 44.0, 68.0))
    split = int(np.sum(second >= 0))
    if split:
        document.flow(
            f"At {words.counted(split, 'address')} tankers are split over two fill sites, since one gives too little: "
            "see the flag 'two fill sites' in addresses.csv. Both sites and an engine at each that needs one must be "
            "there."
        )
    for what, besides in (("more addresses fill elsewhere", in_other_months), ("others stand in", stands_in_besides)):
        other = [(row + 1, *besides(plan, row)) for row in range(len(plan.sites))]
        seasonal = "; ".join(
            f"fill site {number} in {when}, {more.sum():,} more" for number, more, when in other if more.any()
        )
        if seasonal:
            document.flow(f"In months that do not decide {what}: {seasonal}.")
    document.flow(
        "Numbers of addresses, by the months that decide: first, second where tankers are split over two sites, and "
        "backup. The sum is over addresses that "
        "fill there first, one fire each; it is not a demand at one time.",
        SMALL_PT,
    )


def _over_unposted(plan: Plan) -> int:
    """Count the addresses whose chosen round trip, or either of two, crosses a bridge without a posted weight."""
    trips = np.column_stack([plan.answers.shown(table) for table in (plan.levels.trip, plan.levels.split_trip)])
    crossed = np.append(plan.trips.unposted_bridges, 0)[trips]  # trip -1 takes the 0 at the end
    return int(np.sum(crossed.max(axis=1) > 0))


def _road(plan: Plan, segment: int) -> str:
    """Name the road of a stretch."""
    return words.road_words(plan, segment) or "unnamed road"


def _place(plan: Plan, segment: int) -> str:
    """Write where a stretch begins, in decimal degrees."""
    start = int(plan.roads.coord_start[segment])
    return words.coordinates(float(plan.roads.coord_lon[start]), float(plan.roads.coord_lat[start]))[1]


def _postings(document: Document, plan: Plan) -> None:
    """List posted stretches by their limit, and count the bridges that nobody posted."""
    document.heading("Posted limits and bridges", bookmark=True, keep=TABLE_PT)
    limits = plan.limits
    unposted = int(limits.unposted_bridge.sum())
    over = _over_unposted(plan)
    document.flow(
        f"Stretches of bridge in the road data without a posted weight (unknown, not safe): {unposted:,}. "
        f"Addresses whose chosen round trip, or either of two, uses at least one in the months that decide: {over:,}."
    )
    found: dict[tuple[float, str, str], list[int]] = {}
    for row in np.flatnonzero(limits.posted).tolist():
        name = _road(plan, row)
        found.setdefault((float(limits.max_lb[row]), name, posted_words(plan, row)), []).append(row)
    rows = []
    for key in sorted(found)[:_MOST_POSTINGS]:
        place = _place(plan, found[key][0])
        rows.append((key[2] or "see the road data", key[1][:120], str(len(found[key])), place))
    if rows:
        document.table(("posted", "road", "stretches", "first at"), rows, (170.0, 190.0, 60.0, 120.0))
    else:
        document.flow("No posted weight, height or width is in the road data.")
    if len(found) > _MOST_POSTINGS:
        document.flow(f"and {len(found) - _MOST_POSTINGS:,} more.", SMALL_PT)
    _rated(document, plan)
    _costs(document, plan)
    _unposted(document, plan)


def _rated(document: Document, plan: Plan) -> None:
    """List the bridges that the bridge table rates below the weight of a loaded tanker."""
    tankers = [unit for unit in plan.units if unit.kind != "engine"]
    rating = np.append(plan.bridges.operating_lb, np.nan)[plan.bridge_row]
    found = np.flatnonzero(rating < max((unit.loaded_lb for unit in tankers), default=0.0))
    if not len(found):
        return
    document.heading("Bridges that the bridge table rates below a loaded tanker", keep=TABLE_PT)
    document.flow(
        "Rated, not posted: no sign tells a driver. Whatever weighs more than the operating rating is sent round as "
        "round a posting, unless the district's closures give the bridge a weight of their own."
        if plan.district.rules.roads.obey_ratings
        else "The rule obey_ratings is off: these ratings hold nobody off."
    )
    rows = []
    for row in found[np.argsort(rating[found], kind="stable")][:_MOST_POSTINGS].tolist():
        heavy = " ".join(words.printable(unit.unit_id) for unit in tankers if unit.loaded_lb > rating[row])
        name = _road(plan, row)
        limit = f"rated {words.supply(float(rating[row]))} lb" if rating[row] > 0.0 else "closed"
        rows.append((limit, f"{name}; {words.inventory_words(plan, row)}"[:250], heavy[:120], _place(plan, row)))
    document.table(("limit", "bridge", "heavier when loaded", "at"), rows, (80.0, 220.0, 130.0, 110.0))
    if len(found) > _MOST_POSTINGS:
        document.flow(f"and {len(found) - _MOST_POSTINGS:,} more: layer bridges of preplan.gpkg.", SMALL_PT)


def _costs(document: Document, plan: Plan) -> None:
    """List the postings that cost most, each as if it alone were lifted."""
    if not plan.posting_costs:
        return
    document.heading("Postings and ratings that cost most", keep=TABLE_PT)
    document.flow(
        "What would be gained if one posting, or one bridge's rating, alone were lifted: round trips of a truck as "
        "heavy, high and wide as any of the district's tankers, between each address and its fill site. Minutes are "
        "summed over addresses, one fire each. Where the plan leaves such tankers out, or goes over another fill site, "
        "less is gained: to know what it does for the flow, lift it in the tables, plan again and compare. What only "
        "the lifting of two postings would gain is not listed."
    )
    rows = []
    for cost in plan.posting_costs:
        row = cost.stretches[0]
        known = words.inventory_words(plan, next((r for r in cost.stretches if plan.bridge_row[r] >= 0), row))
        name = _road(plan, row)
        rows.append((
            posted_words(plan, row), f"{name}; {known}"[:200] if known else name[:120],
            f"{cost.addresses - cost.opened:,}", words.number(cost.saved_min), words.number(cost.most_min, 1),
            f"{cost.opened:,}", _place(plan, row),
        ))  # fmt: skip
    head = ("limit", "road", "addresses sooner", "minutes in all", "most for one", "reached only then", "at")
    document.table(head, rows, (90.0, 130.0, 58.0, 52.0, 48.0, 58.0, 104.0))


def _unposted(document: Document, plan: Plan) -> None:
    """List the bridges without a posted weight that chosen round trips drive, the busiest first: whom to ask."""
    legs = chosen_legs(plan)
    loaded, _ = trips_by_segment(len(plan.roads), legs, driven(plan, legs))
    then, _ = trips_of_other_months(plan)
    on_trips = np.flatnonzero(plan.limits.unposted_bridge & (loaded + then > 0))
    if not len(on_trips):
        return
    document.heading("Bridges without a posted weight on chosen round trips", keep=TABLE_PT)
    order = on_trips[np.lexsort((-then[on_trips], -loaded[on_trips]))]
    rows = []
    for row in order[:_MOST_POSTINGS].tolist():
        name = _road(plan, row)
        known = words.inventory_words(plan, row) or "owner and rating not known"
        rows.append((name[:120], f"{int(loaded[row]):,}", f"{int(then[row]):,}", known[:200], _place(plan, row)))
    head = ("road", "loaded trips", "other months", "bridge inventory", "at")
    document.table(head, rows, (120.0, 50.0, 50.0, 210.0, 110.0))
    document.flow(
        "Loaded trips: addresses, in the months that decide. Other months: cards whose tankers drive it then.", SMALL_PT
    )
    if len(order) > len(rows):
        document.flow(f"and {len(order) - len(rows):,} more: layer bridges of preplan.gpkg.", SMALL_PT)
    if len(plan.bridges):
        document.flow(
            "An operating rating is the most that a bridge may ever be put to. It is no posting: ask the owner.",
            SMALL_PT,
        )


_GAPS = {
    "bare number": "limits without a clear unit", "unreadable": "values that cannot be read",
    "not checked": "limits not used",
    "conditional": "limits or closures at some times", "seasonal": "closures in a season not told by months",
    "joins no road": "roads that join no other", "bridge not on the map": "bridges of the table not found on the map",
    "unknown barrier": "barriers of an unknown kind", "barrier at a junction": "barriers at a junction",
    "no height given": "low bars and roofs whose height is not told",
    "no width given": "narrow bars whose width is not told",
    "bridge out": "bridges mapped as closed or gone", "ford at times": "roads that are under water at times",
    "steep": "roads that climb more than one in ten",
    "pair of axles": "limits for a pair of axles",
    "good road closed": "good roads closed by a tag", "reversible": "lanes that change direction",
    "not applied": "turn restrictions not used", "keeps left": "traffic keeps left",
    "long closure": "closures that take more road than is drawn",
    "both carriageways": "closures taken for both carriageways of a road",
    "part of a closure": "closures that lie on a road in part only",
}  # fmt: skip
"""Kinds of gaps in the road data, in words."""


def _problems(document: Document, plan: Plan) -> None:
    """Count data gaps by kind, and list the first of them."""
    document.heading("Gaps in the road data", bookmark=True, keep=TABLE_PT)
    if not plan.problems:
        document.flow("None was found. That does not mean that the data is whole.")
        return
    for code, count in sorted(Counter(problem.code for problem in plan.problems).items()):
        document.flow(f"{words.first_up(_GAPS.get(code, words.printable(code)))}: {count:,}.")
    rows = []
    for p in plan.problems[:_MOST_PROBLEMS]:
        place = words.coordinates(p.lon, p.lat)[1]
        tag = f"{words.printable(p.key)} = {words.printable(p.value)}"[:120]
        rows.append((words.printable(p.osm_id), tag, words.printable(p.rule)[:200], place))
    document.table(("object", "tag", "what was made of it", "at"), rows, (90.0, 150.0, 180.0, 120.0))
    if len(plan.problems) > _MOST_PROBLEMS:
        document.flow(f"and {len(plan.problems) - _MOST_PROBLEMS:,} more: layer problems of preplan.gpkg.", SMALL_PT)


def _tables_read(document: Document, plan: Plan) -> None:
    """Say what was taken for what in the district's tables, and count the rows that are not planned."""
    document.heading("What the tables left open", bookmark=True, keep=TABLE_PT)
    if not plan.notes and not plan.rejected:
        document.flow("Every row was read, and nothing in the tables looked odd.")
        return
    for note in plan.notes:
        document.flow(words.printable(note))
    if not plan.rejected:
        return
    faulty = len({(one.file, one.row) for one in plan.rejected})
    document.flow(f"{faulty:,} {'row is' if faulty == 1 else 'rows are'} not planned; rejected.csv lists each fault:")
    counts = Counter((one.file, one.column, one.rule) for one in plan.rejected).most_common()
    rows = [(words.printable(file), words.printable(column), words.printable(rule)[:200], f"{count:,}")
            for (file, column, rule), count in counts[:_MOST_PROBLEMS]]  # fmt: skip
    document.table(("file", "column", "fault", "rows"), rows, (120.0, 110.0, 250.0, 60.0))
    if len(counts) > _MOST_PROBLEMS:
        document.flow(f"and {len(counts) - _MOST_PROBLEMS:,} more kinds of fault.", SMALL_PT)


def _buildings(document: Document, plan: Plan) -> None:
    """Say where the sizes of buildings came from: they decide many results."""
    document.heading("How the need was sized", bookmark=True, keep=TABLE_PT)
    bases = Counter(str(basis).split(" (")[0] for basis in plan.needs.basis)
    rows = [(words.printable(words.basis_words(basis)), f"{count:,}") for basis, count in bases.most_common(20)]
    document.table(("by", "addresses"), rows, (400.0, 140.0))
    kinds = [
        (
            words.printable(one.name),
            f"{one.addresses:,}",
            f"{one.unsaid:,}",
            ", ".join(map(words.printable, one.unknown))[:160],
        )
        for one in plan.occupancies
    ]
    heads = ["kind of place", "addresses", "not said in the table", "words not known, taken as this"]
    widths = [120.0, 70.0, 110.0, 240.0]
    shown = 4 if any(kind[-1] for kind in kinds) else 3
    if kinds:
        document.heading("Kinds of place", 11.0, keep=TABLE_PT)
        document.table(heads[:shown], [kind[:shown] for kind in kinds], widths[:shown])


def _times(document: Document, plan: Plan) -> None:
    """Hold the driving times against the travel rule."""
    low, median, high = plan.rule_ratio
    if math.isnan(median):
        return
    document.heading("Driving times beside the travel rule", bookmark=True, keep=TABLE_PT)
    document.flow(
        f"The loaded legs of all trips kept take {median:.2f} times (median) what T = 0.65 + 1.7 D gives for their "
        f"miles; nine in ten lie between {low:.2f} and {high:.2f} times. Above 1 is slower than the rule."
    )


def _value(line: RuleLine) -> str:
    """Write a rule's value with its unit."""
    value = line.value
    if isinstance(value, bool):
        said = "yes" if value else "no"
    elif isinstance(value, frozenset):
        said = month_words(int(m) for m in value)
    elif isinstance(value, tuple):
        said = "; ".join(" to ".join(f"{one:g}" for one in pair) for pair in value)
    else:
        said = f"{value:,g}" if isinstance(value, (int, float)) else words.printable(value)
    return f"{said} {line.unit}".strip()


def _rules(document: Document, plan: Plan) -> None:
    """List every rule in use; changed ones and those from memory are marked."""
    document.heading("Rules in use", bookmark=True, keep=TABLE_PT)
    document.flow("* set by the district; (m) the default is from memory and wants checking.")

    groups: dict[str, list[tuple[str, str, str, str]]] = {}
    for line in rule_lines(plan.district.rules):
        marks = " *" * line.changed + " (m)" * (MEMORY in line.source)
        source = f"the district; default: {line.source}" if line.changed else line.source
        groups.setdefault(line.group, []).append((f"{line.name}{marks}", _value(line), line.meaning, source))
    for group, rows in groups.items():
        document.heading(words.first_up(group.replace("_", " ")), BODY_PT, keep=TABLE_PT)
        document.table(("rule", "value", "meaning", "source"), rows, (140.0, 88.0, 162.0, 150.0))


def report(plan: Plan) -> bytes:
    """Write the district's report: report.pdf."""
    document = Document(plan.district, "report")
    _title(document, plan)
    _coverage(document, plan)
    coverage_pdf.coverage(document, Picture(plan))
    parts = (
        minutes_pdf.first_minutes, minutes_pdf.against_steady, evidence_pdf.flow_against_need, _shortfalls,
        _sites, evidence_pdf.hose_lays, evidence_pdf.out_of_service, evidence_pdf.rater,
        evidence_pdf.postings_cost, _postings, _buildings, _times, evidence_pdf.assumed_values, _tables_read,
        _problems, _rules,
    )  # fmt: skip
    for part in parts:
        part(document, plan)
    document.heading("Method and limits", bookmark=True, keep=TABLE_PT)
    for said in _METHOD:
        document.y = document.pen.lines(LEFT_PT, document.y, [Line("", 3.0)])
        document.flow(said, BODY_PT)
    return document.finish()
