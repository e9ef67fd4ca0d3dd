"""Fill site cards: a page a site with what it gives, how to stand there, whom it serves, and the circuit to drive."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import zip_longest

import numpy as np

from preplan.months import month_words
from preplan.plan import Plan
from preplan.plan_cards import CardGroup, Step
from preplan.plan_tables import FIRST_CIRCUIT, NOT_THIS_WAY, Flag
from preplan.records import ALL_MONTHS, BoolArray, FillSite, IntArray
from preplan.render import card_pdf, card_seasons, index_pdf, paper, status_index_pdf, symbols_pdf, words
from preplan.render.card_facts import ONE_WAY, Facts
from preplan.render.card_rest import keep_off
from preplan.render.charts import Picture
from preplan.render.circuits import drivers_words, in_other_months, stands_in_besides, then_words
from preplan.render.driving_words import directions, turning_words
from preplan.render.first_drive import BORDER
from preplan.render.flag_words import HOLDS_OFF, OFF_THE_WAY, ON_THE_WAY, flag_words, flags_on
from preplan.render.limit_places import (
    named_limits,
    named_words,
    site_warnings,
    trip_limits,
    weight_warnings,
)
from preplan.render.paper import BODY_PT, FOOT_PT, LEFT_PT, RIGHT_PT, SMALL_PT, Document, Line, paragraph
from preplan.render.route_pdf import Subject
from preplan.render.scene import Box

_MAP_PT, _MAP_HIGH_PT = 270.0, 262.0
_GAP = 14.0
_MOST_ROADS = 60
_LEG_LEFT = LEFT_PT + 10.0
_LEG_PT = (RIGHT_PT - _LEG_LEFT - _GAP) / 2
"""Width of a leg's column."""
_LEG_RIGHT = _LEG_LEFT + _LEG_PT + _GAP
_WHOLE_PT = 560.0
"""A circuit no higher than this does not go over a page's end."""
_OTHERS_TOO = "Whoever else is heavier, higher or wider than what is posted or rated keeps off too."
_MET = frozenset({NOT_THIS_WAY, ONE_WAY, "meeting on narrow road", "circuits meet"})
"""Flags of when a circuit does not hold, and of who meets on a lane one truck wide."""
_MOST_CIRCUITS = 12
_MOST_NAME = 80
_SIGN = "Verified on the ground by ________________________   date ____________"


def _facts(plan: Plan, row: int) -> Iterator[tuple[str, str]]:
    """List (heading, words) of one site."""
    site, segment = plan.sites[row], int(plan.site_segment[row])
    if segment >= 0:
        yield "Access", f"from {words.road_words(plan, segment) or 'an unnamed road'}"
    else:
        yield "Access", "off the roads: no tanker can reach it"
    yield "Connection", words.printable(site.connection) or words.NOT_KNOWN
    twins = words.twins_words(plan, row)
    if twins:
        yield "NOT to be taken for", twins
    yield "Rate into one tanker", words.rate_words(site)
    low = f"; {words.supply(site.low_gpm)} gpm at low water" if site.low_gpm is not None else ""
    yield "Gives in all", f"{words.supply(site.total_gpm)} gpm{low}"
    yield "Places to fill", f"{site.positions}"
    yield "Season", month_words(site.months)
    yield "Storage", _storage(site)
    yield "Turnaround", words.turn_words(site)
    yield "Engine at the site", f"needed, {words.lift_words(site)}" if site.needs_engine else "not needed"
    same = [i + 1 for i, other in enumerate(plan.sites) if i != row and other.source == site.source]
    yield "Water shared with", f"fill site {', '.join(map(str, same))}" if same else "no other fill site"
    minutes, decimal = words.coordinates(site.lon, site.lat)
    yield "Place", f"{minutes} ({decimal})"
    if site.notes:
        yield "Notes", words.printable(site.notes)


def _storage(site: FillSite) -> str:
    held = f"{words.gallons(site.storage_gal)}" if site.storage_gal is not None else "not known, taken as enough"
    return f"{held}, refill {words.supply(site.refill_gpm)} gpm" if site.refill_gpm is not None else held


def _served(plan: Plan, mine: BoolArray) -> list[str]:
    """List roads with the number of their addresses, the most first."""
    roads: dict[str, int] = {}
    # Cards name each road once, however a table spells it; so does this list.
    for group in plan.groups:
        road = words.road_name(group.road) or "no road name"
        count = int(mine[list(group.addresses)].sum())
        if count:
            roads[road] = roads.get(road, 0) + count
    ordered = sorted(roads, key=lambda road: (-roads[road], words.natural_key(road)))
    said = [f"{road} ({roads[road]})" for road in ordered[:_MOST_ROADS]]
    return said + ([f"and {len(ordered) - _MOST_ROADS} more roads"] if len(ordered) > _MOST_ROADS else [])


def _one_way(plan: Plan, mine: BoolArray) -> list[str]:
    """List the cards served from a site on whose circuit the empties may go another way, and by which.

    By their road, where that is so at all of its cards.
    """
    by_road: dict[str, list[tuple[str, str]]] = {}
    for group in plan.groups:
        if mine[group.lead]:
            road = words.road_name(group.road) or words.where_words(plan, group.lead)
            flags = flags_on(plan, group.lead, FIRST_CIRCUIT)
            ways = [str(flag.value).rpartition(", ")[0] for flag in flags if flag.code == ONE_WAY]
            by_road.setdefault(road, []).append((_group_name(plan, group), words.printable("".join(ways[:1]))))
    said: dict[str, None] = {}
    for road, cards in by_road.items():
        alike = len({by for _, by in cards}) == 1
        for named, by in cards:
            # by another end of the same road: its name would say nothing
            way = "see its circuit" if by.endswith(road) else by
            said |= {f"{road if alike else named}: {way}": None} if by else {}
    return list(said)[:_MOST_ROADS]


def _site_page(
    document: Document,
    picture: Picture,
    row: int,
    first: IntArray,
    backup: IntArray,
    cards: Sequence[tuple[CardGroup, str]],
) -> None:
    """Draw the card of one site; what does not fit goes on to a next page."""
    plan, site = picture.plan, picture.plan.sites[row]
    document.begin(f"fill site {row + 1} of {len(plan.sites)}")
    title = words.site_words(plan, row)
    document.goes_on = f"{paper.ellipsis(title, SMALL_PT, 130.0)}, continued"
    document.mark(f"site{row}", title)
    pen, top = document.pen, document.y
    symbols_pdf.fill_mark(pen, site, str(row + 1), LEFT_PT + 12.0, top - 26.0, 22.0)
    # whoever opens the page must not take it for water
    headline = title if site.in_service else f"OUT OF SERVICE: {title}"
    said, size = paper.shrunk(headline, 17.0, 11.0, RIGHT_PT - LEFT_PT - 34.0, bold=True)
    low = pen.lines(LEFT_PT + 34.0, top - 4.0, [Line(said, size, bold=True)])
    pen.lines(LEFT_PT + 34.0, low, [Line(site.kind, 11.0)])
    circuits = _circuits(plan, row)
    largest = circuits[0] if circuits else None
    _draw_facts(document, picture, row, largest, top - 46.0)
    masks = first == row, backup == row, plan.answers.shown(plan.levels.split) == row
    _draw_service(document, plan, row, masks, cards)
    if largest is not None:
        _draw_circuit(document, largest, row)
    for warning in site_warnings(plan, row):
        document.flow(f"• {warning}", bold=True)
    for flag in plan.site_flags[row]:
        if not flag.stretches:
            document.flow(f"• {flag_words(flag)}")
    _draw_other_circuits(document, circuits[1:], cards)
    if document.y - 26.0 > FOOT_PT:
        pen.text(LEFT_PT, FOOT_PT + 4.0, _SIGN, SMALL_PT)


def _draw_facts(document: Document, picture: Picture, row: int, circuit: _Circuit | None, top: float) -> None:
    """Draw the facts on the left and the map on the right."""
    plan, pen = picture.plan, document.pen
    width = RIGHT_PT - LEFT_PT - _MAP_PT - _GAP
    lines: list[Line] = []
    for head, said in _facts(plan, row):
        lines.append(Line(head, SMALL_PT))
        bold = head in ("Connection", "Rate into one tanker") and plan.sites[row].in_service
        lines += paragraph(said, width - 10.0, BODY_PT, bold=bold)
        lines.append(Line("", 1.5))
    whole = top - FOOT_PT - 150.0
    low = pen.lines(LEFT_PT, top, paper.trimmed(lines, whole, "the table of fill sites"))
    if circuit is not None:
        group = circuit.group
        named = named_limits([*circuit.flags, *plan.site_flags[row]])
        steps = circuit.facts.group.out_steps
        subject = picture.subject(group.addresses, group.lead, circuit.trip, steps=steps, named=named, of=circuit.plan)
    else:
        subject = Subject((), site=row)
    picture.draw(pen, Box(RIGHT_PT - _MAP_PT, top - _MAP_HIGH_PT, RIGHT_PT, top), subject)
    document.y = min(low, top - _MAP_HIGH_PT) - 6.0


def _draw_service(
    document: Document,
    plan: Plan,
    site: int,
    masks: tuple[BoolArray, BoolArray, BoolArray],
    cards: Sequence[tuple[CardGroup, str]],
) -> None:
    """Say how many addresses fill here, and on which roads: first choice, backup, second (`masks`), other months."""
    mine, stands_in, second = masks
    need = plan.needs.required_gpm[mine | second]
    known = need[np.isfinite(need)]
    largest = f"; largest required flow {words.need(float(known.max()))} gpm" if len(known) else ""
    document.heading("Whom it serves", 11.0, keep=40.0)
    also = f"second fill site of {int(second.sum()):,}, " if second.any() else ""
    count = int(mine.sum())
    said = f"First choice of {count:,} address{'es' * (count != 1)} in the months that decide, {also}backup of "
    said += f"{int(stands_in.sum()):,}{largest}."
    parted = int(np.sum(mine & (plan.answers.shown(plan.levels.split) >= 0)))
    said += f" For {parted} of these some tankers fill at a second fill site." * bool(parted)
    document.flow(said, bold=True)
    roads = _served(plan, mine)
    more, when = in_other_months(plan, site)
    if roads or not (second.any() or more.any()):
        document.flow("; ".join(roads) + "." if roads else "No address fills here first.")
    if more.any():
        count = int(more.sum())
        at = f"{count:,} more address{'es' * (count != 1)}"
        document.flow(f"Best in {when} for {at}, where other months decide:", bold=True)
        document.flow("; ".join(_served(plan, more)) + ".")
        behind = [group for group, _ in cards if any(one.site == site and one.months for one in group.others)]
        if behind:
            listed = "; ".join(_cards_of(behind, cards))
            document.flow(f"The ways then stand on sheets behind the cards of: {listed}.", SMALL_PT)
    if stands_in.any():
        document.flow(f"Backup for: {'; '.join(_served(plan, stands_in))}.", SMALL_PT)
    besides, when = stands_in_besides(plan, site)
    if besides.any():
        document.flow(
            f"Backup in {when} for {int(besides.sum()):,} more: {'; '.join(_served(plan, besides))}.", SMALL_PT
        )
    one_way = _one_way(plan, mine)
    if one_way:
        document.flow(
            "Where the road is one truck wide, loaded goes first and empties wait, or empties go another way and meet "
            f"nobody. For {'; for '.join(one_way)}."
        )


@dataclass(frozen=True, slots=True)
class _Circuit:
    """A round trip from a fill site to the addresses of one card, or of one of the sheets behind it."""

    group: CardGroup
    facts: Facts
    """What its card, or its sheet, is written from."""

    @property
    def plan(self) -> Plan:
        """The plan whose trips it is one of."""
        return self.facts.plan

    @property
    def trip(self) -> int:
        """Its row among them."""
        return self.facts.cell("trip")

    @property
    def months(self) -> Sequence[int]:
        """The months for which it is told; none: all year."""
        return self.facts.other.months if self.facts.other else card_seasons.told_months(self.facts)

    @property
    def flags(self) -> list[Flag]:
        """What its drivers must hear, whichever address of the card it concerns."""
        return [*self.facts.card_flags, *self.facts.kept_off]


def _circuits(plan: Plan, row: int) -> list[_Circuit]:
    """List the circuits over a fill site: its own, then as a second site, then of other months.

    Of each the likeliest to be driven come first, by addresses and months: the very first is drawn. Who stands at a
    fill site in July that the months that decide do not know finds those of July too.
    """
    mine, seconds, others = list[_Circuit](), list[_Circuit](), list[_Circuit]()
    for group in plan.groups:
        facts = Facts(plan, group)
        if facts.cell("site") == row and facts.cell("trip") >= 0:
            mine.append(_Circuit(group, facts))
        elif facts.cell("split") == row and facts.cell("split_trip") >= 0:
            seconds.append(_Circuit(group, facts.over_second()))
        then = (other for other in group.others if other.site == row and other.months)
        others += [_Circuit(group, facts.over_other(other)) for other in then]
    return [circuit for some in (mine, seconds, others) for circuit in sorted(some, key=_likeliest)]


def _likeliest(circuit: _Circuit) -> tuple[int, bool, int]:
    """Sort circuits, those that serve most addresses in most months first; of equal ones those of all year."""
    months = len(circuit.months) or len(circuit.plan.district.rules.plan.months)
    return -months * len(circuit.group.addresses), bool(circuit.months), circuit.group.lead


def _circuit_name(circuit: _Circuit) -> str:
    """Name whom a circuit serves and when, and who drives it where that is not everybody."""
    plan, facts, lead = circuit.plan, circuit.facts, circuit.group.lead
    named = _group_name(plan, circuit.group)
    named += f", in {month_words(circuit.months)} only" if circuit.months else ""
    named += ", as second fill site" * facts.second
    drivers = then_words(plan, lead, facts.other) if facts.other else drivers_words(plan, lead, second=facts.second)
    return f"{named}: {drivers}" if drivers else named


def _group_name(plan: Plan, group: CardGroup) -> str:
    road, count = words.road_name(group.road), len(group.addresses)
    if not road or count == 1:
        return words.where_words(plan, group.lead)[:_MOST_NAME]
    if 0 <= group.first_number < group.last_number:
        road = f"{road} {group.first_number} to {group.last_number}"
    return f"{road[:_MOST_NAME]} ({count} addresses)"


def _draw_circuit(document: Document, circuit: _Circuit, row: int) -> None:
    """Write the circuit of the largest group as a driver's list, a line a step."""
    lines: list[Line] = []

    def say(said: str, *, bold: bool = False, indent: float = 0.0) -> None:
        broken = paragraph(said, RIGHT_PT - LEFT_PT - indent, BODY_PT, bold=bold)
        lines.extend(line._replace(indent=line.indent + indent) for line in broken)

    for head, warned, steps, length in _legs(circuit):
        say(f"{head}: {length}", bold=True)
        for warning in warned:
            say(warning, bold=True, indent=12.0)
        for number, step in directions(steps):
            say(f"{number}. {step}", indent=12.0)
    say(f"Limits: {_limits(circuit)}")
    for warning in (*_warnings(circuit), *_met(circuit)):
        say(warning, bold=True)
    say(f"At fill site {row + 1}: {words.turn_words(circuit.plan.sites[row])}. Leave full or empty, never half.")
    high = paper.height_of(lines)
    # a driver has one sheet: what fits on one is not parted
    document.heading(f"Circuit for {_circuit_name(circuit)}", 11.0, keep=high if high < _WHOLE_PT else 60.0)
    _write(document, lines)


def _warnings(circuit: _Circuit) -> list[str]:
    """Say what drivers of a circuit must keep off; the units named are those of the answer, so all others are told."""
    facts, flags = circuit.facts, circuit.flags
    said = weight_warnings(circuit.plan, flags, OFF_THE_WAY, circuit.group.lead)
    said += [keep_off(facts, flag) for flag in facts.kept_off if flag.code == NOT_THIS_WAY]
    return [*dict.fromkeys(said), *[_OTHERS_TOO] * any(flag.code in HOLDS_OFF for flag in flags)]


def _write(document: Document, lines: Sequence[Line]) -> None:
    """Write lines one below the other, over pages if need be."""
    for line in lines:
        document.room(line.height)
        document.y = document.pen.lines(LEFT_PT, document.y, [line])


def _met(circuit: _Circuit) -> list[str]:
    """Say in which months it does not hold, and what drivers do who meet on a lane one truck wide."""
    return [named_words(circuit.plan, flag) for flag in circuit.facts.flags if flag.code in _MET]


def _draw_other_circuits(
    document: Document, circuits: Sequence[_Circuit], cards: Sequence[tuple[CardGroup, str]]
) -> None:
    """Write further circuits, both legs beside each other; of those beyond, the roads and where their cards are."""
    if not circuits:
        return
    for at, circuit in enumerate(circuits[:_MOST_CIRCUITS]):
        loaded, empty = (_leg_lines(*leg) for leg in _legs(circuit))
        below = [(f"Limits: {_limits(circuit)}", False)]
        below += [(said, True) for said in _warnings(circuit)]
        below += [(said, True) for said in _met(circuit)]
        lines = [
            line._replace(indent=line.indent + 10.0)
            for said, bold in below
            for line in paragraph(said, RIGHT_PT - LEFT_PT - 10.0, SMALL_PT, bold=bold)
        ]
        high = max(map(paper.height_of, (loaded, empty))) + paper.height_of(lines)
        # its name, its legs and its limits stay together: a driver has one sheet
        keep = (high if high < _WHOLE_PT else 5.0 * SMALL_PT * 1.2) + 2.0 * BODY_PT * paper.LEADING
        if at == 0:
            document.heading("Further circuits from here", 11.0, keep=keep)
        document.room(keep)
        document.y -= 3.0
        document.flow(_circuit_name(circuit), bold=True)
        _beside(document, loaded, empty)
        _write(document, lines)
    rest = circuits[_MOST_CIRCUITS:]
    if rest:
        document.room(2.0 * BODY_PT * paper.LEADING + 2.0 * SMALL_PT * paper.LEADING)
        where = "the folder cards" if any(place.startswith("cards/") for _, place in cards) else "cards.pdf"
        sheets = " or on a sheet behind it" * any(circuit.facts.other is not None for circuit in rest)
        count = f"and {len(rest):,} more circuit{'s' * (len(rest) > 1)}"
        document.flow(f"{count}, each on its card{sheets} in {where}:", bold=True)
        listed = "; ".join(_cards_of([circuit.group for circuit in rest], cards))
        document.flow(f"{listed}.", SMALL_PT, indent=10.0)


def _leg_lines(head: str, warned: list[str], steps: tuple[Step, ...], length: str) -> list[Line]:
    """Write a leg for half the width of the page: what it is, what to heed, and every step from a new line on."""
    lines = [line for said in (f"{head}: {length}", *warned) for line in paragraph(said, _LEG_PT, SMALL_PT, bold=True)]
    told = [f"{number}. {step}" for number, step in directions(steps)] or ["Directions are not known."]
    return lines + [line for said in told for line in paragraph(said, _LEG_PT, SMALL_PT, indent=9.0)]


def _beside(document: Document, left: Sequence[Line], right: Sequence[Line]) -> None:
    """Write two columns, over pages if need be."""
    rows = list(zip_longest(left, right, fillvalue=Line("", SMALL_PT)))
    for one, other in rows:
        document.room(max(one.height, other.height))
        top = document.y
        ends = [document.pen.lines(x, top, [line]) for x, line in ((_LEG_LEFT, one), (_LEG_RIGHT, other))]
        document.y = min(ends)


def _cards_of(groups: Sequence[CardGroup], cards: Sequence[tuple[CardGroup, str]]) -> list[str]:
    """Name the roads of some groups in order, each with the pages of their cards."""
    mine = set(map(id, groups))
    roads: dict[str, list[str]] = {}
    for group, place in cards:
        if id(group) in mine:
            roads.setdefault(index_pdf.heading_of(group), []).append(place)
    return [f"{road}, {status_index_pdf.pages_words(pages)}" for road, pages in roads.items()]


def _legs(circuit: _Circuit) -> Iterator[tuple[str, list[str], tuple[Step, ...], str]]:
    """Give heading, warnings, steps, and minutes and miles of both legs."""
    trips, trip, group = circuit.plan.trips, circuit.trip, circuit.facts.group
    warned = weight_warnings(circuit.plan, circuit.flags, ON_THE_WAY, circuit.group.lead)
    for head, warnings, steps, minutes, length in (
        ("Loaded, fill site to dump site", warned, group.out_steps, trips.out_min[trip], trips.out_mi[trip]),
        ("Empty, back to the fill site", [], group.back_steps, trips.back_min[trip], trips.back_mi[trip]),
    ):
        yield head, warnings, steps, f"{words.minutes(float(minutes))}, {words.miles(float(length))}"


def _limits(circuit: _Circuit) -> str:
    """Say what a driver must know of a circuit: its vehicle, postings, bridges, where none can pass, how to turn."""
    group, other = circuit.facts.group, circuit.facts.other
    turn = turning_words(group.back_steps, at_dump=circuit.facts.turns_here)
    border = any(BORDER in step.note for step in (*group.out_steps, *group.back_steps))
    waits = "; past a border control, where no wait is counted" if border else ""
    months = other.months if other else ALL_MONTHS
    return f"{trip_limits(circuit.plan, circuit.trip, months)}{waits}. At the dump site: {turn}."


def sites(plan: Plan) -> bytes:
    """Draw a card for every fill site, those out of service included: sites.pdf."""
    document = Document(plan.district, "fill sites")
    picture = Picture(plan)
    first, backup = plan.answers.shown(plan.levels.site), plan.answers.shown(plan.levels.backup)
    cards = card_pdf.places(plan)
    for row in range(len(plan.sites)):
        _site_page(document, picture, row, first, backup, cards)
    if not plan.sites:
        document.begin()
        document.flow("The district has no fill site.")
    return document.finish()
