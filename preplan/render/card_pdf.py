"""Cards: one page for neighbours along a road whose answers agree, and the index that finds them.

A card answers in the order in which a night officer asks: where, what to call, can we do it, where is the dump
site, where do tankers fill; then the map, the way, what else there is, and what was assumed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from preplan.plan import CardGroup, Plan
from preplan.render import paper, symbols_pdf, words
from preplan.render.charts import Picture
from preplan.render.paper import BODY_PT, FOOT_PT, LEFT_PT, RIGHT_PT, SMALL_PT, Document, Line, paragraph
from preplan.render.scene import Box

MOST_IN_ONE_FILE = 500
"""Above this many cards the set is split, and cards.pdf is the index alone."""
_WIDTH = RIGHT_PT - LEFT_PT
_GAP = 14.0
_HALF = (_WIDTH - _GAP) / 2
_MAP_PT = 318.0
_LEAST_MAP_PT, _MOST_MAP_PT = 202.0, 286.0
_NOTES_PT, _LEAST_NOTES_PT = 66.0, 30.0
_LEAST_BELOW_PT = 48.0
_ROW_PT = (126.0, 92.0)
"""Most height of the two rows of the top third."""
_MOST_LEVELS = 6
"""Most rows of the table of response levels."""
_TABLE = (("response level", 84.0), ("steady gpm", 60.0), ("required", 50.0), ("meets?", 50.0), ("fill site", 46.0),
          ("held back by", 68.0), ("one tanker out", 76.0), ("tankers", 106.0))  # fmt: skip


# --------------------------------------------------------------------------- what a card says


@dataclass(frozen=True, slots=True)
class Facts:
    """The lead address of a card and the rows of the plan that belong to it."""

    plan: Plan
    group: CardGroup

    @property
    def lead(self) -> int:
        """Address whose numbers the card prints."""
        return self.group.lead

    @property
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

    @property
    def level_words(self) -> str:
        """The level shown, in full."""
        return words.level_words(self.plan.district.levels[self.level].name)


def _where(facts: Facts) -> tuple[str, str]:
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
    near = words.printable(group.cross_street)
    cross = f"Cross street: {near}" if near else f"Cross street: {words.NOT_KNOWN}"
    below = [cross]
    if count > 1:
        below.append(f"{count} addresses; figures are for the weakest, {label}")
    elif road:
        below.append(f"on {road}")
    return headline, ".  ".join(below)


def _call(facts: Facts) -> list[Line]:
    """Say what to call: the level in full, units by name with their job."""
    title = {
        "served": "Meets the required flow with the first response level.",
        "higher level": "A lower response level does not meet the required flow.",
        "not met": "No response level meets. This one brings the most water.",
    }
    if facts.level < 0:
        said = "No tanker shuttle is computed for this address: no response level can be named here."
        return [Line("No response level", 15.0, bold=True), *paragraph(said, _HALF)]
    if facts.status == "served" and facts.level > 0:
        title["served"] = "Meets the required flow."
    named, size = paper.shrunk(words.first_up(facts.level_words), 15.0, 10.0, _HALF, bold=True)
    lines = [Line(named, size, bold=True)]
    lines += paragraph(title.get(facts.status, ""), _HALF, SMALL_PT)
    for job, units in words.crew_words(facts.plan, facts.lead, facts.level):
        lines += paragraph(f"{words.first_up(job)}: {units}", _HALF, BODY_PT, indent=10.0, most=3)
    short = [f"{n} {kind}{'s' * (n > 1)}" for kind in ("engine", "tanker")
             if (n := facts.cell(f"short_{kind}s")) > 0]  # fmt: skip
    if short:
        lines += paragraph(f"Cannot be filled: {' and '.join(short)} short.", _HALF, BODY_PT, bold=True)
    return lines


def _can(facts: Facts) -> list[Line]:
    """Say whether the water is enough: steady flow of required flow, what holds it back."""
    plan, lead = facts.plan, facts.lead
    need = float(plan.needs.required_gpm[lead])
    held = words.number(float(plan.needs.required_min[lead]))
    total = words.need(float(plan.needs.required_gal[lead]))
    wants = f"Required: {words.need(need, words.CARD_STEP_GPM)} gpm for {held} min; {total} gal by the method."
    if facts.level < 0:
        why = {
            "no route": "No way was found by which a loaded tanker can come, dump and return.",
            "not met": "No tanker shuttle can be run here: see the reasons below.",
        }.get(facts.status, "")
        return [*paragraph(why, _HALF, BODY_PT, bold=True), *paragraph(wants, _HALF)]
    flow = float(plan.levels.sustained_gpm[lead, facts.level])
    have, want = words.flow_pair(flow, need)
    lines = [Line(f"{have} gpm of {want} required", 15.0, bold=True)]
    lines += paragraph("steady flow of required flow, worst season", _HALF, SMALL_PT)
    limit = str(plan.levels.limited_by[lead, facts.level])
    if limit:
        lines += paragraph(f"Held back by {words.limit_words(limit)}.", _HALF, most=2)
    lines += paragraph(wants, _HALF)
    return lines + paragraph("Steady flow only: the first minutes are not estimated.", _HALF, SMALL_PT)


def _dump(facts: Facts) -> list[Line]:
    """Say where tankers dump and what hose it takes."""
    plan, lead, front = facts.plan, facts.lead, facts.plan.frontages
    lines = [Line("DUMP SITE", SMALL_PT, bold=True)]
    if facts.level < 0 or facts.cell("trip") < 0:
        return [*lines, *paragraph("None: no place on a road that tankers can use and leave again.", _HALF)]
    segment = int(front.segment[lead])
    road = words.road_words(plan, segment) if segment >= 0 else words.printable(facts.group.road)
    how = {"named": ", the road of its address", "driveway": ", at the mouth of its driveway",
           "nearest": ", the nearest road (assumed)"}.get(str(front.how[lead]), "")  # fmt: skip
    side = _arriving_side(facts)
    building = f"; building on the {side} as loaded tankers arrive" if side else ""
    lines += paragraph(f"On {road or 'an unnamed road'}{how}{building}.", _HALF, most=3)
    trip = facts.cell("trip")
    turn = "turn round here (assumed possible)" if plan.trips.turn_at_dump[trip] else "drive on, no turn here"
    lines += paragraph(f"Tankers {turn}.", _HALF)
    return lines + paragraph(_hose_words(facts), _HALF, most=4)


def _hose_words(facts: Facts) -> str:
    """Say how far the building is, and whether the hose of both engines reaches."""
    plan = facts.plan
    attack, dump = facts.cell("attack_engine"), facts.cell("dump_engine")
    far_ft = float(plan.frontages.driveway_ft[facts.lead])
    said = f"Hose to the building: {words.feet(far_ft)} from the road"
    if dump < 0 or attack < 0:
        return f"{said}; no engine is left to draft here."
    one, other = plan.units[attack], plan.units[dump]
    if dump == attack:
        return f"{said}; {words.printable(one.unit_id)} attacks and drafts here itself, without a supply line."
    carried_ft, size_in = one.supply_hose_ft + other.supply_hose_ft, min(one.supply_hose_in, other.supply_hose_in)
    wanted_ft = far_ft + plan.district.rules.shuttle.stand_off_ft
    said += f"; {words.printable(one.unit_id)} and {words.printable(other.unit_id)} carry {words.supply(carried_ft)} ft"
    said += f" of supply hose, reckoned as {size_in:g} in"
    return f"{said}: TOO SHORT for {words.feet(wanted_ft)}." if carried_ft < wanted_ft else f"{said}."


def _arriving_side(facts: Facts) -> str:
    """Name the building's side as loaded tankers arrive; '' where it is not known."""
    plan, lead = facts.plan, facts.lead
    side, leaf = str(plan.frontages.side[lead]), int(plan.trips.out_leaf[facts.cell("trip")])
    if leaf < 0 or not side or plan.forest.segment[leaf] != plan.frontages.segment[lead]:
        return ""
    return side if plan.forest.forward[leaf] else {"left": "right", "right": "left"}[side]


def _fill(facts: Facts) -> list[Line]:
    """Say where tankers fill."""
    plan, site = facts.plan, facts.cell("site")
    lines = [Line("WHERE TANKERS FILL", SMALL_PT, bold=True)]
    if site < 0:
        return [*lines, *paragraph("No fill site serves this address.", _HALF)]
    there = plan.sites[site]
    lines += paragraph(words.site_words(plan, site), _HALF, 11.0, bold=True, most=2)
    connection = words.printable(there.connection) or words.NOT_KNOWN
    lines += paragraph(f"{there.kind}, connection: {connection}", _HALF, most=2)
    lines += paragraph(f"{words.first_up(words.rate_words(there))}.", _HALF, most=2)
    places = "1 place" if there.positions == 1 else f"{there.positions} places"
    season = f"; {words.months(there.months)} only" if there.seasonal else ""
    lines += paragraph(f"Turnaround: {words.turn_words(there)}; {places} to fill{season}.", _HALF)
    split = facts.cell("split")
    if split >= 0:
        lines += paragraph(f"Some tankers fill at {words.site_words(plan, split)}.", _HALF, most=2)
    return lines


def _way(facts: Facts, width: float, most: int = 2) -> list[Line]:
    """List directions out and back, each step in at most `most` lines."""
    trip, trips = facts.cell("trip"), facts.plan.trips
    if trip < 0:
        return _why_not(facts, width)
    lines: list[Line] = []
    for head, steps, minutes, length in (
        ("LOADED, fill site to dump site", facts.group.out_steps, trips.out_min[trip], trips.out_mi[trip]),
        ("EMPTY, back to the fill site", facts.group.back_steps, trips.back_min[trip], trips.back_mi[trip]),
    ):
        lines.append(Line(head, SMALL_PT, bold=True))
        lines.append(Line(f"{words.minutes(float(minutes))}, {words.miles(float(length))}", SMALL_PT))
        said = words.directions(steps) or ["Directions are not known."]
        for at, step in enumerate(said, 1):
            lines += paragraph(f"{at}. {step}", width, SMALL_PT, indent=9.0, most=most)
        lines.append(Line("", 4.0))
    return lines


def _why_not(facts: Facts, width: float) -> list[Line]:
    """Say what is known where there is no trip."""
    plan, lead = facts.plan, facts.lead
    lines = [Line("WHY THERE IS NO TRIP", SMALL_PT, bold=True)]
    for flag in plan.answers.flags[lead]:
        lines += paragraph(words.flag_words(flag), width, BODY_PT, most=3)
    gap = float(plan.frontages.gap_ft[lead])
    if np.isfinite(gap):
        lines += paragraph(f"Nearest place on a road: {words.feet(gap)} from the point.", width)
    lines += paragraph(
        "Look on the ground for a road, drive, gate or bridge that the road data lacks, a nearer water, or another "
        "way to bring it; then correct the tables and plan again.",
        width,
    )
    return lines


def _else(facts: Facts) -> list[Line]:
    """Give the backup and the seasons."""
    plan, lead, level = facts.plan, facts.lead, facts.level
    lines: list[Line] = []
    if level >= 0:
        backup = facts.cell("backup")
        said = "none at this response level"
        if backup >= 0:
            flow = words.supply(float(plan.levels.backup_gpm[lead, level]), words.CARD_STEP_GPM)
            said = f"{words.site_words(plan, backup)}, {flow} gpm steady"
        lines += paragraph(f"Backup: {said}", _HALF, bold=backup < 0, most=3)
        for season in words.season_words(plan, lead, level):
            lines += paragraph(season, _HALF, SMALL_PT, indent=8.0)
    return lines


def _covered(facts: Facts) -> list[Line]:
    """List the addresses of the card, the weakest whole and first."""
    plan, group = facts.plan, facts.group
    order = [group.lead, *(a for a in group.addresses if a != group.lead)]
    shown = order[:60]
    said = "; ".join(words.where_words(plan, a) for a in shown)
    more = f"; and {len(order) - len(shown)} more: see the index" if len(order) > len(shown) else ""
    lines = paragraph(f"Covers {len(order)}: {said}{more}", _WIDTH, SMALL_PT, indent=8.0)
    most = max(4, len(paragraph(words.where_words(plan, group.lead), _WIDTH, SMALL_PT)) + 2)
    if len(lines) > most:
        lines = [*lines[: most - 1], Line("… and more: every address is in the index", SMALL_PT, indent=8.0)]
    return lines


def _care(facts: Facts) -> list[Line]:
    """List the flags in plain words; where there is no trip they stand beside the map."""
    flags = facts.plan.answers.flags[facts.lead] if facts.cell("trip") >= 0 else ()
    lines = [Line("TAKE CARE", SMALL_PT, bold=True)] if flags else []
    for flag in flags:
        lines += paragraph(f"• {words.flag_words(flag)}", _HALF, SMALL_PT, indent=7.0, most=3)
    return lines


def _assumed(facts: Facts) -> list[Line]:
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
    head = Line("BASIS" if known else "ASSUMED", SMALL_PT, bold=True)
    return [head, *paragraph(" ".join(assumed), _HALF, SMALL_PT, most=4)]


def _level_rows(facts: Facts) -> Iterator[tuple[str, ...]]:
    """Write every response level as a row of the table."""
    plan, lead, table = facts.plan, facts.lead, facts.plan.levels
    need = float(plan.needs.required_gpm[lead])
    for k, level in enumerate(plan.district.levels):
        site, flow = int(table.site[lead, k]), float(table.sustained_gpm[lead, k])
        have, want = words.flow_pair(flow, need)
        yield (
            words.level_words(level.name), have if site >= 0 else "no shuttle", want,
            "meets" if table.meets[lead, k] else "does not", str(site + 1) if site >= 0 else "none",
            words.printable(table.limited_by[lead, k]),
            words.supply(float(table.one_out_gpm[lead, k]), words.CARD_STEP_GPM) if site >= 0 else "",
            " ".join(plan.unit_ids(table.used[lead, k], lead)),
        )  # fmt: skip


# --------------------------------------------------------------------------- how a card is drawn


def _draw_card(document: Document, picture: Picture, group: CardGroup, count: str) -> None:
    """Draw one card on a new page."""
    facts = Facts(picture.plan, group)
    pen = document.pen
    document.begin(count)
    y = _draw_top(document, facts)
    rows = list(_level_rows(facts))
    first = min(max(0, facts.level - _MOST_LEVELS + 1), max(0, len(rows) - _MOST_LEVELS))
    rows = rows[first : first + _MOST_LEVELS]
    left, right, covered = [*_else(facts), *_assumed(facts)], _care(facts), _covered(facts)
    way = _way(facts, _WIDTH - _MAP_PT - _GAP)
    free = y - FOOT_PT - 24.0 - 11.5 * len(rows) - paper.height_of(covered) - 20.0
    height, below = _share(free, max(paper.height_of(left), paper.height_of(right)))
    if paper.height_of(way) > height:
        way = paper.trimmed(_way(facts, _WIDTH - _MAP_PT - _GAP, most=1), height)
    subject = picture.subject(group.addresses, facts.lead, facts.cell("trip"), facts.cell("backup"))
    picture.draw(pen, Box(LEFT_PT, y - height, LEFT_PT + _MAP_PT, y), subject)
    pen.lines(LEFT_PT + _MAP_PT + _GAP, y, way)
    if subject.out_ft is not None:
        pen.text(LEFT_PT, y - height - 9.0, _MAP_NOTE, SMALL_PT)
    y = _draw_table(pen, y - height - 13.0, rows, facts.level - first)
    pen.lines(LEFT_PT, y - 4.0, paper.trimmed(left, below))
    pen.lines(LEFT_PT + _HALF + _GAP, y - 4.0, paper.trimmed(right, below))
    y = pen.lines(LEFT_PT, y - 8.0 - below, covered)
    _draw_notes(pen, y - 4.0)


def _share(free: float, wanted: float) -> tuple[float, float]:
    """Share the height left among map, text below it and notes; gives map and text. Notes give way first."""
    height = min(_MOST_MAP_PT, max(_LEAST_MAP_PT, free - wanted - _NOTES_PT))
    below = min(wanted, free - height - _LEAST_NOTES_PT)
    if below < min(wanted, _LEAST_BELOW_PT):
        below = min(wanted, _LEAST_BELOW_PT)
        height = free - below - _LEAST_NOTES_PT
    return height, below


def _draw_top(document: Document, facts: Facts) -> float:
    """Draw the top third, which answers first; gives its lower edge."""
    pen, y, plan = document.pen, document.y, facts.plan
    headline, below = _where(facts)
    said, size = paper.shrunk(headline, 20.0, 12.0, _WIDTH, bold=True)
    y = pen.lines(LEFT_PT, y, [Line(said, size, bold=True)])
    place = words.coordinates(float(plan.addresses.lon[facts.lead]), float(plan.addresses.lat[facts.lead]))
    where = [Line(paper.ellipsis(below, BODY_PT, _WIDTH)), Line(f"{place[0]}   ({place[1]})")]
    y = pen.lines(LEFT_PT, y, where) - 3.0
    pen.rule(y, width=1.0)
    middle = LEFT_PT + _HALF + _GAP
    call, can = paper.trimmed(_call(facts), _ROW_PT[0]), paper.trimmed(_can(facts), _ROW_PT[0] - 18.0)
    first = pen.lines(LEFT_PT, y - 2.0, [Line("WHAT TO CALL", SMALL_PT, bold=True), *call])
    top = pen.lines(middle, y - 2.0, [Line("CAN WE DO IT", SMALL_PT, bold=True)])
    symbols_pdf.status_mark(pen, facts.status, middle + 7.0, top - 9.0, 14.0)
    second = pen.lines(middle + 20.0, top, [Line(facts.status, 15.0, bold=True)])
    second = pen.lines(middle, second, can)
    y = min(first, second) - 3.0
    pen.rule(y, width=0.5)
    dump, fill = paper.trimmed(_dump(facts), _ROW_PT[1]), paper.trimmed(_fill(facts), _ROW_PT[1])
    return min(pen.lines(LEFT_PT, y - 2.0, dump), pen.lines(middle, y - 2.0, fill)) - 5.0


def _draw_table(pen: paper.Pen, top: float, rows: Sequence[tuple[str, ...]], shown: int) -> float:
    """Draw the table of response levels, the one shown in bold; gives its lower edge."""
    runs: list[paper.Run] = []
    for k, row in enumerate([[head for head, _ in _TABLE], *rows]):
        x, y, bold = LEFT_PT, top - (9.0 if k == 0 else 10.5 + 11.5 * k), k in (0, shown + 1)
        for said, (_, width) in zip(row, _TABLE, strict=True):
            runs.append((x, y, paper.ellipsis(said, SMALL_PT, width - 4.0, bold=bold), SMALL_PT, bold))
            x += width
    pen.write(runs)
    pen.rule(top - 12.0, width=0.8)
    low = top - 15.0 - 11.5 * len(rows)
    pen.rule(low, width=0.5)
    return low


def _draw_notes(pen: paper.Pen, top: float) -> None:
    """Leave room for notes in the field, and a place to sign."""
    pen.text(LEFT_PT, top - 9.0, "Notes", SMALL_PT, bold=True)
    sign = FOOT_PT + 3.0
    y = top - 24.0
    pen.canvas.setStrokeColorRGB(*paper.GREY)
    while y > sign + 14.0:
        pen.rule(y, width=0.3)
        y -= 15.0
    pen.canvas.setStrokeColorRGB(*paper.BLACK)
    pen.text(LEFT_PT, sign, "Checked on the ground by", SMALL_PT)
    pen.rule(sign - 1.0, LEFT_PT + 118.0, LEFT_PT + 330.0)
    pen.text(LEFT_PT + 340.0, sign, "date", SMALL_PT)
    pen.rule(sign - 1.0, LEFT_PT + 364.0, RIGHT_PT)


# --------------------------------------------------------------------------- the index


@dataclass(frozen=True, slots=True)
class Entry:
    """One address in the index."""

    address: int
    road: str
    card: int
    """Position of its card, -1: no card."""


_COLUMN = (_WIDTH - 18.0) / 2
_LABEL = _COLUMN - 160.0
_LEVEL_NOTE = (
    "level: the lowest response level whose steady flow meets the required flow. "
    "Status colours are not hydrant flow classes."
)
_MAP_NOTE = "Solid: loaded, to the star. Dashed: empty, back to the drop."


def _entries(plan: Plan, groups: Sequence[CardGroup]) -> list[Entry]:
    """List every address by road and number."""
    card = {address: at for at, group in enumerate(groups) for address in group.addresses}
    listed = []
    for address in range(len(plan.addresses)):
        at = card.get(address, -1)
        road = words.printable(plan.addresses.street[address]) or (words.printable(groups[at].road) if at >= 0 else "")
        listed.append(Entry(address, road, at))

    def key(entry: Entry) -> tuple[object, ...]:
        number = int(plan.addresses.number[entry.address])
        label = words.natural_key(str(plan.addresses.label[entry.address]))
        return (not entry.road, words.natural_key(entry.road), number, label, entry.address)

    return sorted(listed, key=key)


@dataclass(frozen=True, slots=True)
class Row:
    """One row of the index: a road (no entry) or an address, its label broken into lines."""

    lines: tuple[str, ...]
    entry: Entry | None = None

    @property
    def height(self) -> float:
        """Give the room that the row takes, in points."""
        return len(self.lines) * SMALL_PT * 1.22 + (2.0 if self.entry else 8.0)


def _index_columns(plan: Plan, entries: Sequence[Entry]) -> list[list[Row]]:
    """Set the rows into columns, two a page, before anything is drawn: page numbers depend on it."""
    tall = paper.TOP_PT - 70.0 - FOOT_PT
    columns: list[list[Row]] = [[]]
    used, road = 0.0, None
    for entry in entries:
        label = Row(tuple(paper.wrap(words.where_words(plan, entry.address), SMALL_PT, _LABEL)), entry)
        head = Row(tuple(paper.wrap(entry.road or "No road name", SMALL_PT, _COLUMN, bold=True, most=2)))
        rows = [label] if entry.road == road else [head, label]
        if used + sum(row.height for row in rows) > tall and columns[-1]:
            columns.append([])
            used, rows = 0.0, [head, label]
        columns[-1] += rows
        used += sum(row.height for row in rows)
        road = entry.road
    return columns


def _draw_index(document: Document, plan: Plan, columns: Sequence[Sequence[Row]], places: Sequence[str]) -> None:
    """Draw the index; `places` says, card by card, where each is."""
    for at, column in enumerate(columns):
        left = LEFT_PT + (at % 2) * (_COLUMN + 18.0)
        if at % 2 == 0:
            document.begin("index")
            top = document.pen.lines(LEFT_PT, document.y, [Line("Index by road and number", 13.0, bold=True)])
            _draw_counts(document.pen, plan, top - 8.0)
            document.pen.lines(LEFT_PT, top - 10.0, [Line(_LEVEL_NOTE, SMALL_PT)])
            if at == 0:
                document.mark("index", "Index")
        y = document.y - 48.0
        for x, head in ((0.0, "address"), (_LABEL + 12.0, "status"), (_LABEL + 72.0, "level")):
            document.pen.text(left + x, y, head, SMALL_PT)
        document.pen.text(left + _COLUMN, y, "card", SMALL_PT, align="right")
        y -= 3.0
        for row in column:
            y = _draw_row(document, plan, row, left, y, places)


def _draw_counts(pen: paper.Pen, plan: Plan, y: float) -> None:
    """Draw each status with its symbol and the number of its addresses."""
    x = LEFT_PT
    for status, count in plan.counts().items():
        said = f"{count:,} {words.status_words(status, plan.district.rules.hydrants.reach_ft)}"
        symbols_pdf.status_mark(pen, status, x + 4.0, y + 3.0, 7.0)
        pen.text(x + 11.0, y, said, SMALL_PT)
        x += paper.width_of(said, SMALL_PT) + 25.0


def _draw_row(document: Document, plan: Plan, row: Row, left: float, top: float, places: Sequence[str]) -> float:
    """Draw one row of the index; gives its lower edge."""
    pen, low = document.pen, top - row.height
    first = top - SMALL_PT * 1.22 + 1.0 - (0.0 if row.entry else 6.0)
    for at, line in enumerate(row.lines):
        pen.text(left, first - at * SMALL_PT * 1.22, line, SMALL_PT, bold=row.entry is None)
    if row.entry is None:
        return low
    status = str(plan.answers.status[row.entry.address])
    symbols_pdf.status_mark(pen, status, left + _LABEL + 5.0, first + 3.0, 7.0)
    pen.text(left + _LABEL + 12.0, first, words.status_words(status, plan.district.rules.hydrants.reach_ft), SMALL_PT)
    level = int(plan.answers.level[row.entry.address])
    if row.entry.card < 0:
        return low
    if status in ("served", "higher level") and level >= 0:
        short = words.level_words(plan.district.levels[level].name).removeprefix("response level ")
        pen.text(left + _LABEL + 72.0, first, paper.ellipsis(short, SMALL_PT, 24.0), SMALL_PT)
    file, _, page = places[row.entry.card].partition("#")
    said = f"{file.removeprefix('cards/').removesuffix('.pdf')}, page {page}" if file else page
    pen.text(left + _COLUMN, first, said, SMALL_PT, align="right")
    area = (left, low, left + _COLUMN, top)
    if file:
        pen.canvas.linkURL(f"{file}#page={page}", area, relative=1)
    else:
        pen.canvas.linkAbsolute("", f"card{row.entry.card}", area, Border="[0 0 0]")
    return low


# --------------------------------------------------------------------------- files


def _sorted(plan: Plan) -> list[CardGroup]:
    """Put the groups in order of road and number."""
    return sorted(plan.groups, key=lambda g: (not g.road, words.natural_key(g.road), g.first_number, g.lead))


def _draw_all(document: Document, picture: Picture, groups: Sequence[CardGroup], first: int, total: int) -> None:
    """Draw cards one after the other, each with its bookmark under its road's."""
    road = None
    for at, group in enumerate(groups, first):
        _draw_card(document, picture, group, f"card {at + 1} of {total}")
        name = words.printable(group.road) or "No road name"
        if name != road:
            document.mark(f"road{at}", name)
            road = name
        document.mark(f"card{at}", _where(Facts(picture.plan, group))[0], 1)


def cards(plan: Plan) -> dict[str, bytes]:
    """Draw the index and every card: cards.pdf, and above 500 cards the files cards/001.pdf and on.

    Returns
    -------
    dict[str, bytes]
        Files by their name below the results folder.
    """
    groups = _sorted(plan)
    picture = Picture(plan)
    columns = _index_columns(plan, _entries(plan, groups))
    index_pages = (len(columns) + 1) // 2
    index = Document(plan.district, "tanker shuttle cards")
    split = len(groups) > MOST_IN_ONE_FILE
    if not split:
        index.pages = index_pages + len(groups)
        _draw_index(index, plan, columns, [f"#{index_pages + 1 + at}" for at in range(len(groups))])
        _draw_all(index, picture, groups, 0, len(groups))
        return {"cards.pdf": index.finish()}
    index.pages = index_pages
    files: dict[str, bytes] = {}
    places = [f"cards/{at // MOST_IN_ONE_FILE + 1:03d}.pdf#{at % MOST_IN_ONE_FILE + 1}" for at in range(len(groups))]
    _draw_index(index, plan, columns, places)
    files["cards.pdf"] = index.finish()
    for first in range(0, len(groups), MOST_IN_ONE_FILE):
        part = groups[first : first + MOST_IN_ONE_FILE]
        document = Document(plan.district, "tanker shuttle cards", pages=len(part))
        _draw_all(document, picture, part, first, len(groups))
        files[places[first].partition("#")[0]] = document.finish()
    return files


def one_card(plan: Plan, address: int) -> bytes:
    """Draw the one card that covers an address (row of the address table)."""
    for group in plan.groups:
        if address in group.addresses:
            document = Document(plan.district, "tanker shuttle card", pages=1)
            _draw_card(document, Picture(plan), group, "")
            return document.finish()
    document = Document(plan.district, "no card", pages=1)
    document.begin()
    document.heading(words.where_words(plan, address))
    status = words.status_words(str(plan.answers.status[address]), plan.district.rules.hydrants.reach_ft)
    document.flow(f"{words.first_up(status)}: no tanker shuttle is planned for this address.", 11.0)
    return document.finish()
