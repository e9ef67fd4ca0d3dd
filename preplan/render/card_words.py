"""What the top third of a card says, in the order in which a night officer asks: lines of text, nothing drawn."""

from __future__ import annotations

import math

import numpy as np

from preplan.months import month_words
from preplan.plan_cards import OtherCircuit
from preplan.plan_tables import BRIDGE_AT_SITE, FIRST_CIRCUIT, MUCH_MORE, ROUNDING_GPM
from preplan.records import FillSite
from preplan.render import backups, crew, first_minutes, paper, scene, us_grid, words
from preplan.render.card_facts import FILLS_ELSEWHERE, HALF_PT, HYDRANT, STEP_GPM, WIDTH_PT, Facts
from preplan.render.card_seasons import (
    by_season,
    for_other_months,
    head,
    months_of_need,
    months_short,
    months_without,
    not_this_way,
    other_seasons,
    sites_of,
    told_months,
)
from preplan.render.driving_words import drives_on, turning_words
from preplan.render.first_drive import facing_words
from preplan.render.flag_words import LANES, ON_THE_WAY, flag_words, flags_on
from preplan.render.limit_places import bars_near, site_warnings
from preplan.render.paper import BODY_PT, SMALL_PT, Line, paragraph
from preplan.render.route_pdf import Subject
from preplan.units import FT_PER_MI

OFFICER_PT = 10.0
"""Size of the officer's sentences."""
HEAD_PT, LEAST_HEAD_PT = 20.0, 12.0
"""Size of the headline, and the least to which it shrinks before it is cut."""
_THEN_PT = 13.0
"""Size of the flow that is held from a later minute on, below that which is held at once."""
MORE_SHARE = 1.1
"""A higher level whose steady flow is so much more is named where none meets (this program's choice)."""
_MOST_NOTE = 4
"""Most lines of a fill site's note, whose whole stands on the fill site's own page."""
_ON_THE_ROAD_FT = 15.0
"""A building so near the middle of the road has no direction from it."""
_AT_JUNCTION_MI = 100.0 / FT_PER_MI
"""A cross street no farther away is that of the junction itself."""


def where(facts: Facts) -> tuple[str, str]:
    """Give the headline and the line below it."""
    plan, group = facts.plan, facts.group
    road, count = words.road_name(group.road), len(group.addresses)
    label = words.where_words(plan, facts.lead)
    if count == 1 or not road:
        headline = label
    elif group.first_number < 0:
        headline = f"{road}: {count} addresses"
    elif group.first_number == group.last_number:
        headline = f"{road} {group.first_number}"
    else:
        headline = f"{road} {group.first_number} to {group.last_number}"
    below = [f"Cross street: {words.cross_street(group) or words.NOT_KNOWN}"]
    if count > 1:
        below.append(f"{count} addresses; figures are for the weakest, {label}{_which(facts)}")
    elif road and not _not_its_road(facts, _road_stood_on(facts)):
        below.append(f"on {road}")
    return headline, "; ".join(below)


def _which(facts: Facts) -> str:
    """Tell the address of the figures from its neighbours of the same label, behind it; '' where it is alone."""
    plan, lead = facts.plan, facts.lead
    same = sum(words.where_words(plan, a) == words.where_words(plan, lead) for a in facts.group.addresses)
    feet = float(plan.frontages.driveway_ft[lead])
    if same < 2:
        return ""
    return f", the one with {words.feet(feet)} of driveway" if np.isfinite(feet) else f", one of {same}"


def place(facts: Facts) -> str:
    """Give the place in degrees and minutes, in decimal degrees, and on the national grid."""
    lon, lat = float(facts.plan.addresses.lon[facts.lead]), float(facts.plan.addresses.lat[facts.lead])
    minutes, decimal = words.coordinates(lon, lat)
    grid = us_grid.grid_words(lon, lat)
    return f"{minutes}   ({decimal})" + (f"   US National Grid {grid}" if grid else "")


def call(facts: Facts) -> list[Line]:
    """Say what to call: the level in full, units by name with their job and arrival."""
    if facts.level < 0:
        return _without_level(facts)
    named, size = paper.shrunk(words.first_up(facts.level_words), 15.0, 10.0, HALF_PT, bold=True)
    lines = [Line(named, size, bold=True)]
    lines += paragraph(_meets(facts), HALF_PT, SMALL_PT)
    months = told_months(facts)
    lines += paragraph(f"Units and minutes of {month_words(months)}:", HALF_PT, SMALL_PT, bold=True) if months else []
    for urgent in (
        crew.lacking_words(facts.plan, facts.lead, facts.level),
        crew.request_words(facts.plan, facts.lead, facts.level),
    ):
        lines += paragraph(urgent, HALF_PT, BODY_PT, bold=True) if urgent else []
    for job, units in crew.crew_words(facts.plan, facts.lead, facts.level):
        lines += paragraph(f"{words.first_up(job)}: {units}", HALF_PT, BODY_PT, indent=10.0)
    return lines


def _meets(facts: Facts) -> str:
    """Say whether the level shown meets, and whether a lower one does."""
    if facts.status == "served":
        return f"Meets the required flow{' with the first response level' * (facts.level == 0)}."
    if facts.status == "higher level":
        by_tanker = " by tanker; BY HOSE IT MAY: see right" if facts.by_hose else ""
        return f"A lower response level does not meet the required flow{_in(months_of_need(facts))}{by_tanker}."
    if facts.status != "not met":
        return ""
    if crew.short_words(facts.plan, facts.lead, facts.level):
        return "No response level meets: the hose of each is too short."
    return _none_meets(facts)


def _without_level(facts: Facts) -> list[Line]:
    """Say what there is where no level can be named, in some months or all year: other seasons, water on wheels."""
    head, said = "No response level", "no response level can be named here"
    comes = bool(np.isfinite(facts.plan.arrival_min[facts.lead]).any())
    counts = "count on the water on wheels alone" if comes else "the mapped roads bring no unit here"
    advice, without = f"Call by local procedure; {counts}", months_without(facts)
    if without:
        head, advice = f"{head} in {without}", f"{advice} then"
        said = "no tanker gets here from a fill site and back"
    said = f"No tanker shuttle is computed for this address{f' in {without}' if without else ''}: {said}."
    titled, size = paper.shrunk(head, 15.0, 10.0, HALF_PT, bold=True)
    wheels = crew.without_shuttle_words(facts.plan, facts.lead)
    return [Line(titled, size, bold=True), *other_seasons(facts), *paragraph(said, HALF_PT),
            *paragraph(f"{advice}.", HALF_PT, bold=True),
            *(line for one in wheels for line in paragraph(one, HALF_PT, indent=10.0, most=8))]  # fmt: skip


def _in(months: str) -> str:
    return f" in {months}" if months else ""


def _none_meets(facts: Facts) -> str:
    """Say what is best about the level shown where none meets, and which one brings more later."""
    steady = np.nan_to_num(facts.plan.levels.sustained_gpm[facts.lead])
    most = int(steady.argmax())
    best = first_minutes.best_words(facts.plan, facts.lead)
    said = f"No response level meets{_in(months_short(facts))}. This one {best}"
    if by_hose := facts.by_hose:
        return f"{said} by tanker. {by_hose.partition(':')[0].upper()}: see right."
    if not most > facts.level >= 0 or steady[most] <= MORE_SHARE * steady[facts.level]:
        return f"{said}{_better_one_out(facts)}."
    later = words.supply(float(steady[most]), STEP_GPM)
    name = words.level_words(facts.plan.district.levels[most].name)
    return f"{said} at first; {name} brings more later: {later} gpm steady."


def _better_one_out(facts: Facts) -> str:
    """Say which higher level, that holds no more than the one shown, holds more with any one tanker out."""
    left = np.nan_to_num(facts.plan.levels.one_out_gpm[facts.lead])
    best = int(left.argmax())
    if not best > facts.level >= 0 or left[best] <= MORE_SHARE * left[facts.level]:
        return ""
    name = words.level_words(facts.plan.district.levels[best].name)
    flows = (words.supply(float(left[level]), STEP_GPM) for level in (best, facts.level))
    return "; with a tanker out {} holds {} gpm, this one {}".format(name, *flows)


def _since(facts: Facts) -> str:
    """Say from when the flow is held, behind a blank: who may choose between two flows must know."""
    return f" from minute {first_minutes.full_flow_words(facts.plan, facts.lead)} on"


def _built_up(facts: Facts) -> tuple[str, str, str]:
    """Say from when much more is held at all addresses of a card; all '' on a sheet, which is not told for them."""
    if not facts.on_card:
        return "", "", ""
    return first_minutes.built_up_words(facts.plan, facts.lead, facts.group.addresses)


def can(facts: Facts) -> list[Line]:
    """Say whether the water is enough: flow of required flow, what holds it back, what stands on wheels."""
    plan, lead = facts.plan, facts.lead
    need = float(plan.needs.required_gpm[lead])
    held = words.need(float(plan.needs.required_min[lead]))
    wants = f"Required: {words.need(need, STEP_GPM)} gpm for {held} min. {_total_words(facts)}"
    if facts.level < 0:
        why = {
            "no route": "No way was found by which a loaded tanker can come, dump and return.",
            "not met": "No tanker shuttle can be run here: see the reasons below.",
        }.get(facts.status, "")
        without = months_without(facts)
        if facts.status == "no route" and without:
            why = "No fill site is open then." if facts.no_site_then else why
            why = f"{words.first_up(without)}: {why[0].lower()}{why[1:]}"
        return [*paragraph(why, HALF_PT, BODY_PT, bold=True), *paragraph(wants, HALF_PT)]
    flow = float(plan.levels.uninterrupted_gpm[lead, facts.level])
    have, want = words.flow_pair(flow, need)
    then, draw, besides = _built_up(facts)
    by_hose = facts.by_hose
    by_tanker = by_hose and facts.status == "not met"
    large = f"by tanker: {have} gpm of {want}" if by_tanker else f"{have} gpm of {want} required"
    lines = [Line(large, 15.0, bold=True)]
    waits = _waits(facts)
    lines += paragraph(waits, HALF_PT, bold=True) if waits else []
    lasts = first_minutes.duration(float(plan.needs.required_min[lead]))
    said = f"held {lasts}{_since(facts) if then else ''} without a break, all alerted at once, worst season"
    if have == "0":
        said = "no flow is held without a break, all alerted at once, worst season"
    lines += paragraph(by_hose, HALF_PT, bold=True) if by_hose else []
    if not then and float(plan.levels.sustained_gpm[lead, facts.level]) > MUCH_MORE * flow:
        lines += paragraph(f"{said}.", HALF_PT, SMALL_PT)
        lines += paragraph(f"Later, when tankers go round: {_steady(facts)}.", HALF_PT, bold=True)
    else:
        stored = any(plan.sites[site].storage_gal is not None for site in sites_of(facts))
        later_on = f"; {'' if stored else 'after that '}{_steady(facts)}"
        # from when on more is held is said below, with its minute: two flows for later would be one too many
        lines += paragraph(f"{said}{later_on if have != '0' and not then else ''}", HALF_PT, SMALL_PT)
    if then:  # large as well: the first flow alone is read as no water at all
        lines += [Line(then, _THEN_PT, bold=True), *paragraph(f"{draw}{besides}", HALF_PT, bold=True)]
    which = "more" if flow >= need - ROUNDING_GPM else "less"
    close = f"Close call: hardly {which} than required."
    lines += paragraph(close, HALF_PT, bold=True) if facts.close_call else []
    guessed = [site + 1 for site in sites_of(facts) if not plan.sites[site].fill_gpm_given]
    if guessed:
        said = f"UNPROVEN: the rate of fill site {' and '.join(map(str, guessed))} is assumed."
        lines += paragraph(said, HALF_PT, bold=True)
    limit = str(plan.levels.limited_by[lead, facts.level])
    # a hose lay that meets takes the room of what holds tankers back, which stands in the table too, but not of why
    # they hold nothing
    if limit and (have == "0" or not (then or by_hose)):
        lines += paragraph(f"Held back by {words.limit_words(limit)}.", HALF_PT)
    short = crew.short_words(plan, lead, facts.level)
    lines += paragraph(short, HALF_PT, bold=True) if short else []
    for flag in plan.answers.flags[lead]:
        lines += paragraph(flag_words(flag), HALF_PT, bold=True) if flag.code == HYDRANT else []
    surge = crew.surge_words(plan, lead)
    lines += paragraph(surge, HALF_PT) if surge else []
    lines += paragraph(crew.wheels_words(plan, lead, facts.level), HALF_PT)
    return lines + paragraph(wants, HALF_PT)  # last: a column without room for all does without it first


def _waits(facts: Facts) -> str:
    """Say that waiting where two trucks cannot pass is not in the flow; '' where they can."""
    codes = LANES | {"circuits meet"}
    if not any(flag.code in codes for flag in facts.plan.answers.flags[facts.lead]):
        return ""
    narrow_mi = max(float(one.plan.trips.narrow_mi[one.cell("trip")]) for one in _both(facts))
    far = f" for {words.way_length(narrow_mi)}" if narrow_mi > 0.0 else ""
    return f"ONE LANE{far} of the round trip, waits not counted: EXPECT LESS."


def _total_words(facts: Facts) -> str:
    """Write the method's own total of gallons, the largest of the card's addresses, and whether the rate brings it."""
    needs, rows = facts.plan.needs, [facts.lead, *facts.group.addresses]
    every = needs.required_gal[rows]
    most = words.need(float(every.max()))
    total = f"up to {most}" if most != words.need(float(every.min())) else most
    held = words.need(float(needs.required_min[facts.lead]))
    longer = bool(np.any(every > needs.required_gpm[rows] * needs.required_min[rows] + ROUNDING_GPM))
    return f"{words.total_words(str(needs.basis[facts.lead]))}: {total} gal{f', more than {held} min bring' * longer}."


def _steady(facts: Facts) -> str:
    """Write the steady flow of the level shown: what the shuttle brings when first loads and stores are gone."""
    gpm = float(facts.plan.levels.sustained_gpm[facts.lead, facts.level])
    flow = words.supply(gpm, STEP_GPM)
    sites, every, strip = sites_of(facts), facts.plan.sites, facts.group.strip
    dry_min = () if strip is None else strip.sources_dry_min
    end_min = np.inf if strip is None else float(strip.demand_min.max(initial=-np.inf))
    empty = {at: words.empty_words(minute, end_min) for at, minute in zip(sites, dry_min, strict=False)}
    if len(sites) == 1:
        known = any(np.isfinite(dry_min[:1]))  # else for how long at the steady flow, which may be more than asked for
        lasts = words.lasting_words(every[sites[0]], gpm, empty[sites[0]] if known else "")
        backup = facts.cell("backup")
        return f"{flow} gpm steady{lasts}" + (f": go on at fill site {backup + 1}" if lasts and backup >= 0 else "")
    stores = {at + 1: every[at] for at in sites}
    return f"{flow} gpm steady{words.both_lasting_words(stores, {at + 1: said for at, said in empty.items()})}"


def officer(facts: Facts, width: float = WIDTH_PT) -> list[Line]:
    """Say in short sentences from when water flows, what holds, by when to call, and when it runs dry."""
    said = facts.officer_words
    return paragraph(said, width, OFFICER_PT, bold=True) if said else []


def dump(facts: Facts) -> list[Line]:
    """Say where tankers dump and what hose it takes."""
    plan, lead, front = facts.plan, facts.lead, facts.plan.frontages
    one = "" if len(facts.group.addresses) == 1 else f" FOR {words.where_words(plan, lead)}"
    title = f"{head('DUMP SITE', facts)}{one}"
    lines = [Line(paper.ellipsis(title, SMALL_PT, HALF_PT, bold=True), SMALL_PT, bold=True)]
    if facts.level < 0 or facts.cell("trip") < 0:
        none = "no place on a road that tankers can use and leave again"
        without = months_without(facts)
        none = "no fill site is open then" if facts.no_site_then else none
        said = f"In {without} none: {none}." if without else f"None: {none}."
        others = [for_other_months(facts)] if without else []
        return [*lines, *(line for one in (said, *others) for line in paragraph(one, HALF_PT))]
    segment, road = int(front.segment[lead]), _road_stood_on(facts)
    how = {"named": ", the road of its address", "driveway": ", at the mouth of its driveway",
           "nearest": ", the nearest road (assumed)"}.get(str(front.how[lead]), "")  # fmt: skip
    elsewhere = _not_its_road(facts, road)
    building = _building_words(facts)
    if front.along_ft[lead] > 0.0:
        lane = words.road_name(facts.group.road) or "the dead end"
        where = _junction_words(facts) if lane == road or not road else f" of {lane}"
        how = f" at the junction{where}; {words.feet(float(front.along_ft[lead]))} of the hose goes along the dead end"
    lines += paragraph(f"On {road or 'an unnamed road'}{elsewhere or how}{building}.", HALF_PT, bold=bool(elsewhere))
    one_lane = segment >= 0 and bool(plan.limits.narrow[segment])
    lines += paragraph(f"{_turn_words(facts)} {'' if one_lane else words.LEAVE_A_LANE}".strip(), HALF_PT)
    lines += paragraph(words.ONE_LANE_HERE, HALF_PT, bold=True) if one_lane else []
    facing = _facing(facts)
    lines += paragraph(facing, HALF_PT, bold=True) if facing else []
    lines += paragraph(_hose_words(facts), HALF_PT)
    return lines + (paragraph(_others_hose(facts), HALF_PT) if one else [])


def _road_stood_on(facts: Facts) -> str:
    """Name the road on which tankers dump: of an address off the roads, its own."""
    segment = int(facts.plan.frontages.segment[facts.lead])
    return words.road_words(facts.plan, segment) if segment >= 0 else words.road_name(facts.group.road)


def _not_its_road(facts: Facts, road: str) -> str:
    """Say that the map has no road of an address's street near, where it stands on one of another name; else ''.

    A name that is within the other, as `Main St` is in `East Main Street`, is taken for the same road.
    """
    plan, lead = facts.plan, facts.lead
    street = words.printable(plan.addresses.street[lead])
    uncertain = any(flag.code == "frontage uncertain" for flag in plan.answers.flags[lead])
    named = street.casefold().split()
    alike = set(named[:-1] or named) <= set(road.casefold().split())
    if not (uncertain and street and road) or alike or plan.frontages.along_ft[lead] > 0.0:
        return ""
    return f", the nearest road (assumed): the map has no {street.upper()} near"


def _both(facts: Facts) -> list[Facts]:
    """Give the circuits that come to the dump site: one, or two where tankers are split; on a sheet its own."""
    two = facts.on_card and facts.cell("split_trip") >= 0
    return [facts, facts.over_second()] if two else [facts]


def _building_words(facts: Facts) -> str:
    """Say on which side the building is as loaded tankers arrive, of two circuits from each end; '' if not known."""
    sides = {one.cell("site") + 1: _arriving_side(one) for one in _both(facts)}
    off = _building_off(facts)
    if len(set(sides.values())) == 1:
        side = next(iter(sides.values()))
        return f"; building on the {side} as loaded tankers arrive{off}" if side else ""
    said = ", ".join(f"on the {side} from fill site {number}" for number, side in sides.items() if side)
    return f"; building, as loaded tankers arrive, {said}{off}"


def _building_off(facts: Facts) -> str:
    """Say in which direction from the road the building is, whichever end one comes from; '' where it is on it."""
    front, about, lead = facts.plan.frontages, facts.plan.addresses, facts.lead
    plane = scene.Plane(float(front.lon[lead]), float(front.lat[lead]))
    east, north = plane.feet(about.lon[[lead]], about.lat[[lead]])[0].tolist()
    return f" ({scene.compass(east, north)} of the road)" if math.hypot(east, north) > _ON_THE_ROAD_FT else ""


def _junction_words(facts: Facts) -> str:
    """Name the junction at which tankers dump by its other road, or by the next one with its distance."""
    cross = words.printable(facts.group.cross_street)
    if not cross:
        return ""
    if facts.group.cross_mi < _AT_JUNCTION_MI:
        return f" with {cross}"
    return f", {words.way_length(facts.group.cross_mi)} from {cross}"


def _turn_words(facts: Facts) -> str:
    """Say how tankers turn after dumping, of two circuits each where they differ."""
    said = {one.cell("site") + 1: turning_words(one.group.back_steps, at_dump=one.turns_here) for one in _both(facts)}
    if len(set(said.values())) == 1:
        return f"Tankers {next(iter(said.values()))}."
    return " ".join(f"Tankers from fill site {number} {turn}." for number, turn in said.items())


def _facing(facts: Facts) -> str:
    """Name the tankers that first come against the circuit, where that does not turn them."""
    ways = facts.group.ways_in if facts.other is None else facts.other.ways_in
    on = (one for one in _both(facts) if drives_on(one.group.back_steps, at_dump=one.turns_here))
    return " ".join(filter(None, (facing_words(facts.plan, ways, one.tankers) for one in on)))


def _hose_words(facts: Facts) -> str:
    """Say how far the building is, and whose hose makes the supply line."""
    plan = facts.plan
    attack, dump = facts.cell("attack_engine"), facts.cell("dump_engine")
    said = f"Hose to the building: {words.feet(float(plan.frontages.driveway_ft[facts.lead]))} from the road"
    if facts.other is not None:
        return f"{said}; {_hose_then(facts, facts.other)}"
    if dump < 0 or attack < 0:
        return f"{said}; no engine is left to draft here."
    if dump == attack:
        return f"{said}; {words.printable(plan.units[attack].unit_id)} drafts and attacks from here: no supply line."
    return f"{said}; {crew.supply_words(plan, facts.lead, facts.level)}"


def _hose_then(facts: Facts, other: OtherCircuit) -> str:
    """Say on the sheet of another fill site whose hose the line is, and who drafts here if another engine does."""
    plan, drafts = facts.plan, other.dump_engine
    if drafts < 0:
        return "who drafts here is not told then."
    who = f"{words.printable(plan.units[drafts].unit_id)} drafts here then"
    if drafts == other.attack_engine:
        return f"{who} and attacks from here: no supply line."
    same = drafts == plan.levels.dump_engine[facts.lead, facts.level]
    at_work = {other.attack_engine, drafts}
    line = crew.line_words(plan, facts.lead, dict(other.laid), other.hose_short_ft, at_work, other.arrival_min)
    return line if same else f"{who}; {line}"


def _others_hose(facts: Facts) -> str:
    """Say how far the card's other buildings stand from the road: each has its own dump site at its frontage."""
    feet = facts.plan.frontages.driveway_ft[[a for a in facts.group.addresses if a != facts.lead]]
    least, most = words.feet(float(feet.min())), words.feet(float(feet.max()))
    if len(facts.group.addresses) == 2:
        return f"The other: {least} from the road, at its own dump site."
    return f"The others: {least if least == most else f'{least} to {most}'} from the road, each at its own dump site."


def _arriving_side(facts: Facts) -> str:
    """Name the building's side as loaded tankers arrive; '' where it is not known."""
    plan, lead = facts.plan, facts.lead
    side, leaf = str(plan.frontages.side[lead]), int(plan.trips.out_leaf[facts.cell("trip")])
    if leaf < 0 or not side or plan.forest.segment[leaf] != plan.frontages.segment[lead]:
        return ""
    return side if plan.forest.forward[leaf] else {"left": "right", "right": "left"}[side]


def fill(facts: Facts, approach: str = "") -> list[Line]:
    """Say where tankers fill; `approach` says from which side they come."""
    plan, site = facts.plan, facts.cell("site")
    named = facts.fill_site_words.upper()
    lines = paragraph(head(named, facts) if facts.on_card else named, HALF_PT, SMALL_PT, bold=True)
    if site < 0:
        without = months_without(facts)
        none = f"No fill site serves this address{f' in {without}' if without else ''}."
        for other in facts.sheets:
            when = words.first_up(month_words(other.months))
            lines += paragraph(f"{when}: fill site {other.site + 1}, see the sheet behind.", HALF_PT, bold=True)
        return [*lines, *paragraph(none, HALF_PT)]
    there = plan.sites[site]
    lines += paragraph(words.site_words(plan, site), HALF_PT, 11.0, bold=True)
    twins = words.twins_words(plan, site, facts.cell("split") if facts.on_card else -1)
    lines += paragraph(f"NOT {twins}.", HALF_PT, bold=True) if twins else []
    lines += _split(facts)
    lines += _first_alarm_too(facts)
    lines += not_this_way(facts) if facts.other is None else []
    lines += by_season(facts) if facts.on_card else []
    lines += [line for flag in plan.site_flags[site] if flag.code == BRIDGE_AT_SITE
              for line in paragraph(flag_words(flag), HALF_PT, bold=True)]  # fmt: skip
    lines += [line for said in _equipment(there) for line in paragraph(said, HALF_PT)]
    near = _near_enough_for_hose(facts)
    lines += paragraph(near, HALF_PT, SMALL_PT, bold=True) if near else []
    note = f"Note: {words.printable(there.notes)}" if there.notes else ""
    lines += _in_lines(paragraph(note, HALF_PT, SMALL_PT, bold=True), _MOST_NOTE) if note else []
    pumps = _who_pumps(facts)
    said = f"{approach} {pumps}".strip()
    lines += paragraph(said, HALF_PT) if said else []
    told = {stretch for flag in facts.card_flags for stretch in flag.stretches}
    for warning in facts.once("near the fill site", lambda: site_warnings(plan, site, told)):
        lines += paragraph(warning, HALF_PT, SMALL_PT, bold=True)
    # what is told of elsewhere, from the dump site, is close to this place: in a few words
    off = {stretch for flag in facts.card_flags if flag.code not in ON_THE_WAY for stretch in flag.stretches}
    units = [plan.units[unit].unit_id for unit in np.flatnonzero(plan.levels.fleet[facts.lead, facts.level]).tolist()]
    close = bars_near(plan, site, units, off).strip()
    return lines + (paragraph(close, HALF_PT, SMALL_PT, bold=True) if close else [])


def _equipment(site: FillSite) -> tuple[str, str]:
    """Say what a fill site is, when it works and how to turn there, and what it gives; what is short comes first."""
    connection = words.printable(site.connection) or words.NOT_KNOWN
    season = f", {month_words(site.months)} only" if site.seasonal else ""
    holds = f"; holds {words.gallons(site.storage_gal)}" if site.storage_gal is not None else ""
    return (
        f"{site.kind}{season}; {words.turn_words(site)}; connection: {connection}.",
        words.first_up(f"{words.rate_words(site)}; {words.places_words(site)}{holds}."),
    )


def _in_lines(note: list[Line], most: int) -> list[Line]:
    """Keep the first lines of a note, and say where the whole stands if some are left out."""
    return (
        note if len(note) <= most else paper.trimmed(note, paper.height_of(note[:most]), "the whole note in sites.pdf")
    )


def _near_enough_for_hose(facts: Facts) -> str:
    """Say that an engine's hose reaches from the fill site to the dump site, where no hose lay is told; else ''."""
    plan, trip = facts.plan, facts.cell("trip")
    told = facts.lead in plan.lays.address if facts.on_card else bool(facts.by_hose)
    if trip < 0 or told:
        return ""
    road_mi = float(min(plan.trips.out_mi[trip], plan.trips.back_mi[trip]))
    if road_mi * FT_PER_MI > plan.district.rules.shuttle.supply_hose_ft:
        return ""
    far = words.way_length(road_mi)
    return f"Only {far} by road to the dump site: a hose line may do; what it brings is not worked out."


def _who_pumps(facts: Facts) -> str:
    """Say who pumps at the fill site; at one of a sheet of other months or a backup, whether somebody must."""
    if facts.other is None:
        return crew.fill_engine_words(facts.plan, facts.lead, facts.level, second=facts.second)
    there, pumps = facts.plan.sites[facts.other.site], facts.other.fill_engine
    if pumps >= 0:
        return f"{words.printable(facts.plan.units[pumps].unit_id)} pumps here, {words.lift_words(there)}."
    if there.needs_engine:
        return f"An engine must pump here, {words.lift_words(there)}."
    return "No engine is needed here."


def approach(facts: Facts, subject: Subject) -> str:
    """Say in which direction empty tankers come to the fill site, and on which side of the road it is."""
    if subject.back_ft is None or subject.site_ft is None:
        return ""
    side = scene.side_at_end(subject.back_ft, subject.site_ft)
    on = f", the site on their {side}" if side else ""
    came = scene.heading(subject.back_ft)
    said = f"Empty tankers arrive heading {came}{on}"
    through = facts.plan.sites[subject.site].turnaround == "through"
    if not through or subject.out_ft is None or any(step.turns_round for step in facts.group.out_steps):
        return f"{said}."
    leave = scene.heading_out(subject.out_ft)
    if not scene.opposed(came, leave):
        return f"{said}."
    return f"{said}, and leave {leave}: the site's own drive is taken to turn them (ASSUMED: check it)."


def _split(facts: Facts) -> list[Line]:
    """Say who fills at which of two fill sites, and where the way to the second stands."""
    plan, lead, level = facts.plan, facts.lead, facts.level
    said = crew.split_words(plan, lead, level) if facts.other is None else ""
    if not said:
        return []
    if facts.second:
        named = plan.unit_ids(plan.levels.at_split[lead, level], lead)
        return paragraph(f"For {words.printable(' '.join(named))} only.", HALF_PT, BODY_PT, bold=True)
    return paragraph(f"TWO FILL SITES. {said}: map and way on a sheet behind.", HALF_PT, BODY_PT, bold=True)


def _first_alarm_too(facts: Facts) -> list[Line]:
    """Say that the first alarm must fill here too, where a lower level is planned elsewhere."""
    flags = flags_on(facts.plan, facts.lead, FIRST_CIRCUIT) if facts.on_card else []
    said = [flag_words(flag) for flag in flags if flag.code == FILLS_ELSEWHERE]
    return [line for one in said for line in paragraph(one, HALF_PT, BODY_PT, bold=True)]


def flow_words(facts: Facts, flow_gpm: float, steady_gpm: float = math.nan) -> str:
    """Write a flow, and whether it is enough; see `backups.held_words`."""
    if not np.isfinite(flow_gpm):
        return f"{words.NOT_KNOWN}."
    return f"{backups.held_words(flow_gpm, float(facts.plan.needs.required_gpm[facts.lead]), steady_gpm)}."


def status_line(facts: Facts) -> str:
    """Write the status; where there is no route, or no level meets, in some months alone, with those."""
    without = months_without(facts) if facts.level < 0 and facts.status == "no route" else months_short(facts)
    return f"{facts.status} in {without}" if without else facts.status
