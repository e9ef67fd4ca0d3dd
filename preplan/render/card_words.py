"""What a card says, in the order in which a night officer asks: lines of text, nothing drawn."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import chain

import numpy as np

from preplan.plan import ROUNDING_GPM, CardGroup, Plan
from preplan.render import crew, first_minutes, paper, us_grid, words
from preplan.render.paper import BODY_PT, LEFT_PT, RIGHT_PT, SMALL_PT, Block, Line, paragraph
from preplan.units import M_PER_MI

WIDTH_PT = RIGHT_PT - LEFT_PT
GAP_PT = 14.0
HALF_PT = (WIDTH_PT - GAP_PT) / 2
"""Width of each of the two columns of a card's top third."""
HEAD_PT, LEAST_HEAD_PT = 20.0, 12.0
"""Size of the headline, and the least to which it shrinks before it is cut."""
STEP_GPM = words.CARD_STEP_GPM
MORE_SHARE = 1.1
"""A higher level whose steady flow is so much more is named where none meets (this program's choice)."""
LATER_SHARE = 1.25
"""A steady flow that is so much more than what is held at first is told in bold (this program's choice)."""
LARGER = 1.25
"""Letters on the page behind a card, over those on it."""
MOST_LEVELS = 6
"""Most rows of the table of response levels."""
MOST_ASTRAY_MI, MOST_ASTRAY_SHARE = 0.3, 0.1
"""An empty leg that leaves the loaded one's roads for no more is told as the way back."""
HYDRANT = "hydrant near"
RunOn = tuple[bool, bool]
"""Whether the loaded leg, and the empty one, are told as one paragraph: else each step begins a line."""
BY_STEP: RunOn = (False, False)
RUN_ON: tuple[RunOn, ...] = (BY_STEP, (False, True), (True, True))
"""What a crowded card tries; the empty leg first: its driver has just come that way."""
LOADED, EMPTY = "LOADED, fill site to dump site", "EMPTY, back to the fill site"
ONE_WAY = "one way traffic"
"""Flag that names another way back, on which empties meet nobody on a road one truck wide."""
_SAME_PT = 1e-6
"""Heights nearer than this are one."""
_NOTHING = Block.of([])


@dataclass(frozen=True)
class Facts:
    """The lead address of a card and the rows of the plan that belong to it."""

    plan: Plan
    group: CardGroup
    _told: dict[tuple[bool, bool], list[str]] = field(default_factory=dict, compare=False, repr=False)

    @property
    def lead(self) -> int:
        """Address whose numbers the card prints."""
        return self.group.lead

    @cached_property
    def level(self) -> int:
        """Response level shown, -1: none."""
        return int(self.plan.answers.level[self.lead])

    @property
    def status(self) -> str:
        """Status word of the lead address."""
        return str(self.plan.answers.status[self.lead])

    def cell(self, column: str) -> int:
        """Give an index of the level table at the level shown, -1: none."""
        return int(getattr(self.plan.levels, column)[self.lead, self.level]) if self.level >= 0 else -1

    @cached_property
    def astray(self) -> str | None:
        """How the empty leg leaves the loaded one's roads; see `astray`; None without a trip. A layout asks again.

        Who turns round elsewhere than at the first place past the dump site is told every step.
        """
        trip = self.cell("trip")
        if trip < 0 or any(step.turns_round and not step.past for step in self.group.back_steps):
            return None
        return astray(self.plan, trip)

    def told(self, *, loaded: bool, run_on: bool) -> list[str]:
        """Say the steps of a leg with their numbers, forks of one road counted where it is `run_on`."""
        if (loaded, run_on) not in self._told:
            steps = self.group.out_steps if loaded else self.group.back_steps
            said = words.directions(steps, folded=run_on) or [("1", "Directions are not known")]
            self._told[loaded, run_on] = [f"{number}. {step}" for number, step in said]
        return self._told[loaded, run_on]

    @cached_property
    def officer_words(self) -> str:
        """What `first_minutes` sums up of the lead address; a layout asks again."""
        return first_minutes.officer_words(self.plan, self.lead)

    @property
    def turns_here(self) -> bool:
        """Tell whether tankers turn round at the dump site."""
        return bool(self.plan.trips.turn_at_dump[self.cell("trip")])

    @property
    def level_words(self) -> str:
        """The level shown, in full."""
        return words.level_words(self.plan.district.levels[self.level].name)


def where(facts: Facts) -> tuple[str, str]:
    """Give the headline and the line below it."""
    plan, group = facts.plan, facts.group
    road, count = words.printable(group.road), len(group.addresses)
    label = words.where_words(plan, facts.lead)
    if count == 1 or not road:
        headline = label
    elif group.first_number < 0:
        headline = f"{road}: {count} addresses"
    elif group.first_number == group.last_number:
        headline = f"{road} {group.first_number}"
    else:
        headline = f"{road} {group.first_number} to {group.last_number}"
    below = [f"Cross street: {words.printable(group.cross_street) or words.NOT_KNOWN}"]
    if count > 1:
        below.append(f"{count} addresses; figures are for the weakest, {label}")
    elif road:
        below.append(f"on {road}")
    return headline, "; ".join(below)


def place(facts: Facts) -> str:
    """Give the place in degrees and minutes, in decimal degrees, and on the national grid."""
    lon, lat = float(facts.plan.addresses.lon[facts.lead]), float(facts.plan.addresses.lat[facts.lead])
    minutes, decimal = words.coordinates(lon, lat)
    grid = us_grid.grid_words(lon, lat)
    return f"{minutes}   ({decimal})" + (f"   US National Grid {grid}" if grid else "")


def call(facts: Facts) -> list[Line]:
    """Say what to call: the level in full, units by name with their job and arrival."""
    title = {
        "served": "Meets the required flow with the first response level.",
        "higher level": "A lower response level does not meet the required flow.",
        "not met": _none_meets(facts),
    }
    if facts.level < 0:
        head, said = "No response level", "no response level can be named here"
        advice = "Call by local procedure; count on the water on wheels alone"
        without = _months_without(facts)
        if without:
            head, advice = f"{head} in {without}", f"{advice} then"
            said = "no tanker gets here from a fill site and back"
        said = f"No tanker shuttle is computed for this address{f' in {without}' if without else ''}: {said}."
        titled, size = paper.shrunk(head, 15.0, 10.0, HALF_PT, bold=True)
        return [Line(titled, size, bold=True), *_other_seasons(facts), *paragraph(said, HALF_PT),
                *paragraph(f"{advice}.", HALF_PT, bold=True)]  # fmt: skip
    if facts.status == "served" and facts.level > 0:
        title["served"] = "Meets the required flow."
    if crew.short_words(facts.plan, facts.lead, facts.level):
        title["not met"] = "No response level meets: the hose of each is too short."
    named, size = paper.shrunk(words.first_up(facts.level_words), 15.0, 10.0, HALF_PT, bold=True)
    lines = [Line(named, size, bold=True)]
    lines += paragraph(title.get(facts.status, ""), HALF_PT, SMALL_PT)
    for urgent in (
        crew.lacking_words(facts.plan, facts.lead, facts.level),
        crew.request_words(facts.plan, facts.lead, facts.level),
    ):
        lines += paragraph(urgent, HALF_PT, BODY_PT, bold=True, most=2) if urgent else []
    for job, units in crew.crew_words(facts.plan, facts.lead, facts.level):
        lines += paragraph(f"{words.first_up(job)}: {units}", HALF_PT, BODY_PT, indent=10.0, most=3)
    return lines


def _none_meets(facts: Facts) -> str:
    """Say what is best about the level shown where none meets, and which one brings more later."""
    steady = np.nan_to_num(facts.plan.levels.sustained_gpm[facts.lead])
    most = int(steady.argmax())
    said = "No response level meets. This one holds the most"
    if not most > facts.level >= 0 or steady[most] <= MORE_SHARE * steady[facts.level]:
        return f"{said}."
    later = words.supply(float(steady[most]), STEP_GPM)
    name = words.level_words(facts.plan.district.levels[most].name)
    return f"{said} from the first minutes on; {name} brings more later: {later} gpm steady."


def can(facts: Facts) -> list[Line]:
    """Say whether the water is enough: flow of required flow, what holds it back, what stands on wheels."""
    plan, lead = facts.plan, facts.lead
    need = float(plan.needs.required_gpm[lead])
    held = words.number(float(plan.needs.required_min[lead]))
    total = _total_words(facts)
    wants = f"Required: {words.need(need, STEP_GPM)} gpm for {held} min; {total} gal by the method."
    if facts.level < 0:
        why = {
            "no route": "No way was found by which a loaded tanker can come, dump and return.",
            "not met": "No tanker shuttle can be run here: see the reasons below.",
        }.get(facts.status, "")
        without = _months_without(facts)
        if facts.status == "no route" and without:
            why = f"{words.first_up(without)}: {why[0].lower()}{why[1:]}"
        return [*paragraph(why, HALF_PT, BODY_PT, bold=True), *paragraph(wants, HALF_PT)]
    flow = float(plan.levels.uninterrupted_gpm[lead, facts.level])
    have, want = words.flow_pair(flow, need)
    lines = [Line(f"{have} gpm of {want} required", 15.0, bold=True)]
    lasts = first_minutes.duration(float(plan.needs.required_min[lead]))
    said = f"held {lasts} without a break, all alerted at once, worst season"
    if float(plan.levels.sustained_gpm[lead, facts.level]) > LATER_SHARE * flow:
        lines += paragraph(f"{said}.", HALF_PT, SMALL_PT)
        lines += paragraph(f"Later, when tankers go round: {_steady(facts)}.", HALF_PT, bold=True)
    else:
        stored = facts.cell("site") >= 0 and plan.sites[facts.cell("site")].storage_gal is not None
        lines += paragraph(f"{said}; {'' if stored else 'after that '}{_steady(facts)}", HALF_PT, SMALL_PT)
    limit = str(plan.levels.limited_by[lead, facts.level])
    by_hose = crew.lay_meets_words(plan, lead)
    if by_hose:  # takes the room of what holds tankers back, which stands in the table too
        lines += paragraph(by_hose, HALF_PT, bold=True, most=2)
    elif limit:
        lines += paragraph(f"Held back by {words.limit_words(limit)}.", HALF_PT, most=2)
    short = crew.short_words(plan, lead, facts.level)
    lines += paragraph(short, HALF_PT, bold=True, most=2) if short else []
    lines += paragraph(wants, HALF_PT)
    for flag in plan.answers.flags[lead]:
        lines += paragraph(words.flag_words(flag), HALF_PT, bold=True, most=2) if flag.code == HYDRANT else []
    return lines + paragraph(crew.wheels_words(plan, lead, facts.level), HALF_PT, most=3)


def _total_words(facts: Facts) -> str:
    """Write the method's own total of gallons: the largest of the card's addresses."""
    every = facts.plan.needs.required_gal[[facts.lead, *facts.group.addresses]]
    most = words.need(float(every.max()))
    return f"up to {most}" if most != words.need(float(every.min())) else most


def _months_without(facts: Facts) -> str:
    """Name the months in which no site serves where one does in others; '' where that is not so."""
    top = len(facts.plan.district.levels) - 1
    served = any(int(season.best_site[facts.lead, top]) >= 0 for season in facts.plan.seasons)
    return words.months_of(facts.plan, facts.lead, top, -1) if served else ""


def _other_seasons(facts: Facts) -> list[Line]:
    """Say, where no level can be named in the worst season, which level meets in others, or what the highest brings.

    A level meets where it does so at every address of the card; its flow is that of the weakest then.
    """
    plan, rows = facts.plan, [facts.lead, *facts.group.addresses]
    need = plan.needs.required_gpm[rows]
    told: dict[str, list[int]] = {}
    for season in plan.seasons:
        flow = np.nan_to_num(season.uninterrupted_gpm[rows])
        meeting = np.flatnonzero(np.all(flow >= need[:, None] - ROUNDING_GPM, axis=0)).tolist()
        level = meeting[0] if meeting else flow.shape[1] - 1
        served = season.best_site[rows, level] >= 0
        if not served.any():
            continue
        weakest = int((flow[:, level] - need).argmin())
        have, want = words.flow_pair(float(flow[weakest, level]), float(need[weakest]))
        named = words.level_words(plan.district.levels[level].name)
        said = f"{named} {'meets' if meeting else 'does not meet'}: {have} gpm of {want} required"
        from_site = f", from fill site {int(season.best_site[rows[weakest], level]) + 1}"
        said += from_site if served.all() else ", not every address of this card is reached"
        told.setdefault(f"{said}.", []).extend(season.months)
    lines = [f"{words.first_up(words.months(those))}: {said}" for said, those in told.items()]
    return [line for said in lines for line in paragraph(said, HALF_PT, bold=True, most=3)]


def _steady(facts: Facts) -> str:
    """Write the steady flow of the level shown: what the shuttle brings when first loads and stores are gone."""
    flow = words.supply(float(facts.plan.levels.sustained_gpm[facts.lead, facts.level]), STEP_GPM)
    site = facts.cell("site")
    lasts = words.lasting_words(facts.plan.sites[site]) if site >= 0 else ""
    return f"{flow} gpm steady{lasts}"


def officer(facts: Facts) -> list[Line]:
    """Say in short sentences from when water flows, what holds, by when to call, and when it runs dry."""
    said = facts.officer_words
    return paragraph(said, WIDTH_PT, 10.0, bold=True, most=3) if said else []


def dump(facts: Facts) -> list[Line]:
    """Say where tankers dump and what hose it takes."""
    plan, lead, front = facts.plan, facts.lead, facts.plan.frontages
    lines = [Line("DUMP SITE", SMALL_PT, bold=True)]
    if facts.level < 0 or facts.cell("trip") < 0:
        none = "no place on a road that tankers can use and leave again"
        without = _months_without(facts)
        said = f"In {without} none: {none}." if without else f"None: {none}."
        others = ["For the other months this card has no way, dump site or table."] if without else []
        return [*lines, *(line for one in (said, *others) for line in paragraph(one, HALF_PT))]
    segment = int(front.segment[lead])
    road = words.road_words(plan, segment) if segment >= 0 else words.printable(facts.group.road)
    how = {"named": ", the road of its address", "driveway": ", at the mouth of its driveway",
           "nearest": ", the nearest road (assumed)"}.get(str(front.how[lead]), "")  # fmt: skip
    side = _arriving_side(facts)
    building = f"; building on the {side} as loaded tankers arrive" if side else ""
    if front.along_ft[lead] > 0.0:
        lane = words.printable(facts.group.road) or "the dead end"
        where = "" if lane == road else f" of {lane}"
        how = f" at the junction{where}; {words.feet(float(front.along_ft[lead]))} of the hose goes along the dead end"
    lines += paragraph(f"On {road or 'an unnamed road'}{how}{building}.", HALF_PT, most=3)
    turn = words.turning_words(facts.group.back_steps, at_dump=facts.turns_here)
    lines += paragraph(f"Tankers {turn}. Leave a lane open: the room here is not known.", HALF_PT, most=3)
    return lines + paragraph(_hose_words(facts), HALF_PT, most=4)


def _hose_words(facts: Facts) -> str:
    """Say how far the building is, and whose hose makes the supply line."""
    plan = facts.plan
    attack, dump = facts.cell("attack_engine"), facts.cell("dump_engine")
    said = f"Hose to the building: {words.feet(float(plan.frontages.driveway_ft[facts.lead]))} from the road"
    if dump < 0 or attack < 0:
        return f"{said}; no engine is left to draft here."
    if dump == attack:
        return f"{said}; {words.printable(plan.units[attack].unit_id)} attacks and drafts here itself, without a line."
    return f"{said}; {crew.supply_words(plan, facts.lead, facts.level)}"


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
    lines = [Line("WHERE TANKERS FILL", SMALL_PT, bold=True)]
    if site < 0:
        without = _months_without(facts)
        none = f"No fill site serves this address{f' in {without}' if without else ''}."
        return [*lines, *_other_seasons(facts), *paragraph(none, HALF_PT)]
    there = plan.sites[site]
    lines += paragraph(words.site_words(plan, site), HALF_PT, 11.0, bold=True, most=2)
    lines += _by_season(facts)
    connection = words.printable(there.connection) or words.NOT_KNOWN
    lines += paragraph(f"{there.kind}, connection: {connection}; {words.turn_words(there)}.", HALF_PT, most=2)
    season = f"; {words.months(there.months)} only" if there.seasonal else ""
    said = f"{words.rate_words(there)}; {words.places_words(there)}{season}."
    lines += paragraph(words.first_up(said), HALF_PT, most=3)
    note = f"Note: {words.printable(there.notes)}" if there.notes else ""
    lines += paragraph(note, HALF_PT, SMALL_PT, bold=True, most=2) if note else []
    said = f"{approach} {crew.fill_engine_words(plan, facts.lead, facts.level)}".strip()
    lines += paragraph(said, HALF_PT, most=3) if said else []
    split = facts.cell("split")
    if split >= 0:
        lines += paragraph(f"Some tankers fill at {words.site_words(plan, split)}.", HALF_PT, most=2)
    return lines


def _by_season(facts: Facts) -> list[Line]:
    """Say, where another site is better in other months, which, and for which months map and directions hold."""
    plan, lead, level, site = facts.plan, facts.lead, facts.level, facts.cell("site")
    sites = {int(season.best_site[lead, level]) for season in plan.seasons}
    own = words.months_of(plan, lead, level, site)
    if not own or sites <= {site}:
        return []
    lines = [
        line for said in words.season_words(plan, lead, level) for line in paragraph(f"{said}.", HALF_PT, bold=True)
    ]
    return [*lines, *paragraph(f"Map, way and table here: {own}.", HALF_PT, SMALL_PT)]


def way(facts: Facts, width: float, run_on: RunOn = BY_STEP) -> list[Line]:
    """List directions out and back."""
    if facts.cell("trip") < 0:
        return why_not(facts, width)
    return [*out_leg(facts, width, run_on=run_on[0]), *back_leg(facts, width, run_on=run_on[1])]


def out_leg(facts: Facts, width: float, *, run_on: bool = False) -> list[Line]:
    """List the directions of the loaded leg."""
    trip, trips = facts.cell("trip"), facts.plan.trips
    length = f"{words.minutes(float(trips.out_min[trip]))}, {words.miles(float(trips.out_mi[trip]))}"
    warned = words.weight_warnings(facts.plan, facts.group, words.ON_THE_WAY)
    return [*_leg(LOADED, facts.told(loaded=True, run_on=run_on), width, length, warned, run_on=run_on), Line("", 4.0)]


def back_leg(facts: Facts, width: float, *, run_on: bool = False) -> list[Line]:
    """List the directions of the empty leg; where it is the way back, that is said instead."""
    trip, trips = facts.cell("trip"), facts.plan.trips
    turns = trips.turn_at_dump[trip] or trips.turn_at_site[trip]
    length = f"{words.minutes(float(trips.back_min[trip]))}{' with turning' * bool(turns)}, "
    length += words.miles(float(trips.back_mi[trip]))
    if facts.astray is None:
        return [*_leg(EMPTY, facts.told(loaded=False, run_on=run_on), width, length, run_on=run_on), Line("", 4.0)]
    other = [flag.value for flag in facts.plan.answers.flags[facts.lead] if flag.code == ONE_WAY]
    said = _way_back(facts)
    said += f". One truck wide: loaded goes first, empties wait; or {words.printable(other[0])}." if other else "."
    lines = [Line(EMPTY, SMALL_PT, bold=True), Line(length, SMALL_PT)]
    return [*lines, *paragraph(said, width, SMALL_PT, bold=bool(other)), Line("", 4.0)]


def _way_back(facts: Facts) -> str:
    """Say how tankers leave the dump site for the way they came, and on which roads they stray from it."""
    first, *rest = facts.group.back_steps
    leave = f"{first.turn} {words.printable(first.road)}"
    for step in rest:
        if step.turns_round:
            leave += f", turn round {words.way_length(step.past_mi)} past the {step.past} ({step.room})"
    return f"{leave}: back the way you came{facts.astray}"


def _leg(
    head: str,
    steps: Sequence[str],
    width: float,
    length: str = "",
    warned: Sequence[str] = (),
    *,
    run_on: bool = False,
) -> list[Line]:
    """Write a leg below what the driver is warned of: step by step, or all steps in one paragraph."""
    told = [*([length] if length else []), *steps]
    lines = [Line(head, SMALL_PT, bold=True)]
    for warning in warned:
        lines += paragraph(warning, width, SMALL_PT, bold=True)
    for one in [f"{'. '.join(told)}."] if run_on else told:
        lines += paragraph(one, width, SMALL_PT, indent=9.0)
    return lines


def tells_all_turns(facts: Facts, run_on: RunOn) -> bool:
    """Tell whether every turn is told by itself."""
    legs = (facts.group.out_steps, () if facts.astray is not None else facts.group.back_steps)
    return not any(folded and any(s.keeps_on for s in steps) for steps, folded in zip(legs, run_on, strict=True))


def further(facts: Facts) -> list[Line]:
    """Give what a full card had no room for: every turn of both legs, what else there is, what to take care of.

    Set for a width that is full when the letters are `LARGER`.
    """
    width = WIDTH_PT / LARGER
    lines = way(facts, width)
    if facts.cell("trip") >= 0 and facts.astray is not None:
        lines += [*_leg("EMPTY, turn by turn", facts.told(loaded=False, run_on=False), width), Line("", 4.0)]
    return [*lines, *otherwise(facts), *under_heading(cautions(facts, width)).lines]


def astray(plan: Plan, trip: int) -> str | None:
    """Say on which roads the empty leg leaves the loaded one's: '' nowhere, None where it does so for long."""
    (out, back), forest = plan.trip_rows(trip) if trip >= 0 else ([], []), plan.forest
    if not out or not back:
        return None
    there = set(zip(forest.segment[out].tolist(), (~forest.forward[out]).tolist(), strict=True))
    home = zip(forest.segment[back].tolist(), forest.forward[back].tolist(), strict=True)
    off = [segment for segment, forward in home if (segment, forward) not in there]
    miles = float(plan.roads.length_m[off].sum()) / M_PER_MI
    if miles > min(MOST_ASTRAY_MI, MOST_ASTRAY_SHARE * float(plan.trips.back_mi[trip])):
        return None
    roads = [name for name in dict.fromkeys(words.road_words(plan, segment) for segment in off) if name]
    on = f" on {' and '.join(roads[:2])}" if 0 < len(roads) <= 2 else ""
    return f", but for {words.way_length(miles)}{on}" if off else ""


def why_not(facts: Facts, width: float) -> list[Line]:
    """Say what is known where there is no trip."""
    plan, lead = facts.plan, facts.lead
    lines = [Line("WHY THERE IS NO TRIP", SMALL_PT, bold=True)]
    for flag in plan.answers.flags[lead]:
        lines += paragraph(words.flag_words(flag), width, BODY_PT, most=3)
    gap = float(plan.frontages.gap_ft[lead])
    if np.isfinite(gap) and not any(flag.code == "off road data" for flag in plan.answers.flags[lead]):
        lines += paragraph(f"Nearest place on a road: {words.feet(gap)} from the point.", width)
    lines += paragraph(
        "Look on the ground for a road, drive, gate or bridge that the road data lacks, a nearer water, or another "
        "way to bring it; then correct the tables and plan again.",
        width,
    )
    return lines


def below(left: Block, items: Sequence[Block], head: str, right: Block) -> tuple[Block, Block]:
    """Give the two columns below the table: `left` and `right`, and cautions, which even the columns."""
    total, best = sum(item.height for item in items), len(items)
    head_pt = Line(head, SMALL_PT, bold=True).height
    least_pt = max(left.height, right.height + total + head_pt * bool(items))
    right_pt = total
    for kept in range(len(items) - 1, -1, -1):
        right_pt -= items[kept].height
        high_pt = max(left.height + head_pt + total - right_pt, right.height + right_pt + head_pt * bool(kept))
        if high_pt < least_pt - _SAME_PT:
            best, least_pt = kept, high_pt
    also = f"{head}, ALSO" if best else head
    return left.over(under_heading(items[best:], also)), right.over(under_heading(items[:best], head))


def otherwise(facts: Facts, *, brief: bool = False) -> list[Line]:
    """Give the backup, a hose lay that does more, the seasons, and, where not `brief`, who waits or adds nothing.

    What one tanker out costs stands in the table.
    """
    plan, lead, level = facts.plan, facts.lead, facts.level
    lines: list[Line] = []
    if level >= 0 and facts.cell("site") >= 0:
        lines.append(Line("IF SOMETHING IS OUT", SMALL_PT, bold=True))
        backup = facts.cell("backup")
        said = "none at this response level."
        if backup >= 0:
            flow = float(plan.levels.backup_gpm[lead, level])
            there = plan.sites[backup]
            season = f" ({words.months(there.months)} only)" if there.seasonal else ""
            said = f"{words.site_words(plan, backup)}{season}, {_flow_words(facts, flow)}"
            said += f" Note: {words.printable(there.notes)}" if there.notes and not brief else ""
        lines += paragraph(f"Backup: {said}", HALF_PT, bold=backup < 0, most=3)
        by_hose = crew.lay_words(plan, lead, brief=brief)
        lines += paragraph(by_hose, HALF_PT, most=4) if by_hose else []
        for season in [] if _by_season(facts) else words.season_words(plan, lead, level):
            lines += paragraph(season, HALF_PT, SMALL_PT, indent=8.0)
        said_of_tankers = [] if brief else [crew.spare_words(plan, lead, level), crew.queue_words(plan, lead, level)]
        for said in said_of_tankers:
            lines += paragraph(said, HALF_PT, SMALL_PT, indent=8.0, most=3) if said else []
        return lines
    return lines


def _flow_words(facts: Facts, flow_gpm: float) -> str:
    """Write a flow, and whether it is enough."""
    if not np.isfinite(flow_gpm):
        return f"{words.NOT_KNOWN}."
    need = float(facts.plan.needs.required_gpm[facts.lead])
    have, _ = words.flow_pair(flow_gpm, need)
    return f"{have} gpm, {'meets' if flow_gpm >= need - ROUNDING_GPM else 'does not meet'}."


def covered(facts: Facts) -> list[Line]:
    """List the addresses of the card, the weakest whole and first; none where the headline says it all."""
    plan, group = facts.plan, facts.group
    if len(group.addresses) == 1 and paper.width_of(where(facts)[0], LEAST_HEAD_PT, bold=True) <= WIDTH_PT:
        return []
    order = [group.lead, *(a for a in group.addresses if a != group.lead)]
    shown = order[:60]
    said = "; ".join(words.where_words(plan, a) for a in shown)
    more = f"; and {len(order) - len(shown)} more: see the index" if len(order) > len(shown) else ""
    lines = paragraph(f"Covers {len(order)}: {said}{more}", WIDTH_PT, SMALL_PT, indent=8.0)
    most = max(4, len(paragraph(words.where_words(plan, group.lead), WIDTH_PT, SMALL_PT)) + 2)
    if len(lines) > most:
        lines = [*lines[: most - 1], Line("… and more: every address is in the index", SMALL_PT, indent=8.0)]
    return lines


SAID_ABOVE = frozenset({"gap", "send with first alarm"})
"""Flags that the officer's sentences say already."""
SAID_ELSEWHERE = frozenset({HYDRANT, "assumed building", "not tested", "single fill site", "hose lay"})
"""Flags that stand with the flow, the basis, the fill site and the backup."""


def cautions(facts: Facts, width: float) -> list[Block]:
    """List the flags in plain words, each a block of its own; where there is no trip they are the reasons instead."""
    if facts.cell("trip") < 0:
        return []
    flags = facts.plan.answers.flags[facts.lead]
    skipped = SAID_ELSEWHERE | words.ON_THE_WAY | words.OFF_THE_WAY
    skipped |= SAID_ABOVE if facts.officer_words else frozenset()
    if flags and facts.astray is not None:
        skipped |= {ONE_WAY}  # stands with the way back
    grave = words.weight_warnings(facts.plan, facts.group, words.OFF_THE_WAY)
    blocks = [paragraph(f"• {said}", width, SMALL_PT, bold=True, indent=7.0) for said in grave]
    others = [words.flag_words(flag) for flag in flags if flag.code not in skipped]
    blocks += [paragraph(f"• {said}", width, SMALL_PT, indent=7.0) for said in others]
    return [Block.of(lines) for lines in blocks]


def under_heading(items: Sequence[Block], head: str = "TAKE CARE") -> Block:
    """Put a heading over some cautions; nothing where there are none."""
    if not items:
        return _NOTHING
    title = Line(head, SMALL_PT, bold=True)
    parts = ((title,), *chain.from_iterable(item.parts for item in items))
    return Block(parts, title.height + sum(item.height for item in items))


def assumed(facts: Facts) -> list[Line]:
    """List what was assumed for want of a value."""
    plan, lead, site = facts.plan, facts.lead, facts.cell("site")
    assumed = [f"Required flow {words.basis_words(str(plan.needs.basis[lead]))}."]
    if site >= 0:
        there = plan.sites[site]
        assumed += [] if there.fill_gpm_given else ["Rate of the fill site."]
        assumed += [] if there.turnaround_given else ["Tankers back in to turn at the fill site."]
        fleet = np.flatnonzero(plan.levels.fleet[lead, facts.level])
        guessed = [words.printable(plan.units[u].unit_id) for u in fleet.tolist() if plan.units[u].assumed]
        assumed += [f"Some values of {', '.join(guessed)}."] if guessed else []
    known = len(assumed) == 1 and not plan.needs.assumed[lead]
    head = "Basis" if known else "Assumed"
    return paragraph(f"{head}: {' '.join(assumed)}", WIDTH_PT, SMALL_PT, indent=8.0, most=3)


def level_rows(facts: Facts) -> Iterator[tuple[str, ...]]:
    """Write every response level as a row of the table."""
    plan, lead, table = facts.plan, facts.lead, facts.plan.levels
    need = float(plan.needs.required_gpm[lead])
    for k, level in enumerate(plan.district.levels):
        site, flow = int(table.site[lead, k]), float(table.uninterrupted_gpm[lead, k])
        have, _ = words.flow_pair(flow, need)
        late = words.supply(float(table.on_arrival_gpm[lead, k]), STEP_GPM)
        yield (
            words.level_words(level.name), have if site >= 0 else "no shuttle",
            "" if site < 0 else "same" if k == 0 else late,
            "meets" if table.meets[lead, k] else "does not", str(site + 1) if site >= 0 else "none",
            words.printable(table.limited_by[lead, k]),
            words.supply(float(table.one_out_gpm[lead, k]), STEP_GPM) if site >= 0 else "",
            " ".join(plan.unit_ids(table.used[lead, k], lead)),
        )  # fmt: skip
