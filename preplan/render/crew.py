"""Who comes to an address, when, and for which job: in words, by name."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence

import numpy as np

from preplan.months import month_words
from preplan.plan import Plan
from preplan.records import BoolArray, FloatArray
from preplan.render import words
from preplan.render.first_minutes import full_flow_min

LEFT_OUT = "left out of the shuttle"
"""The job of a tanker that is sent and would bring no more."""
NO_SHUTTLE = "cannot shuttle, bring their water"
"""Job of tankers where none can: what they carry is all that comes."""


def arrivals(plan: Plan, units: Iterable[int], when: FloatArray) -> str:
    """Write units by arrival, in whole minutes after each one's call, rounded up; `when` is (units,).

    Units without a way come last, and say so.
    """
    ordered = sorted(units, key=lambda u: (when[u], plan.units[u].unit_id))
    said = []
    for u in ordered:
        at = f"at {words.need(when[u])}" if math.isfinite(when[u]) else "(no way)"
        said.append(f"{words.printable(plan.units[u].unit_id)} {at}")
    minutes = " min" if any(math.isfinite(when[u]) for u in ordered) else ""
    return ", ".join(said) + minutes


def crew_words(plan: Plan, address: int, level: int) -> list[tuple[str, str]]:
    """List (job, units by name with their arrival) for one address and level; units without a job are named too."""
    table, arrival = plan.levels, plan.arrival_min[address]
    engines = table.attack_engine, table.fill_engine, table.dump_engine, table.split_engine
    attack, fill, dump, second = (int(column[address, level]) for column in engines)

    def timed(units: Iterable[int]) -> str:
        return arrivals(plan, units, arrival)

    jobs = {"attack": attack, "dump site": dump}
    if dump == attack >= 0:
        jobs = {"attack and dump site": attack}
    rows = [(job, timed([unit])) for job, unit in jobs.items() if unit >= 0]
    site, split = int(table.site[address, level]), int(table.split[address, level])
    for pump, there in ((fill, site), (second, split)):
        if pump >= 0 and there >= 0:
            named = "fill site" if split < 0 else f"fill site {there + 1}"
            rows.append((named, arrivals(plan, [pump], plan.site_arrival_min[there])))
    used, at_split = table.used[address, level], table.at_split[address, level]
    for mask, there in ((used & ~at_split, site), (at_split, split)):
        shuttle = np.flatnonzero(mask).tolist()
        if shuttle:
            named = "tankers" if split < 0 else f"tankers, fill site {there + 1}"
            # the gallons first: where many names have no room on a card, its next page has them
            rows.append((named, f"{words.gallons(sum(plan.units[u].tank_gal for u in shuttle))}; {timed(shuttle)}"))
    rest = LEFT_OUT if used.any() else NO_SHUTTLE, "hose", "no job yet"
    for job, mask in zip(rest, _others(plan, address, level), strict=True):
        if mask.any():
            rows.append((job, timed(np.flatnonzero(mask).tolist())))
    return rows


def _others(plan: Plan, address: int, level: int) -> tuple[BoolArray, BoolArray, BoolArray]:
    """Tell who of a fleet neither pumps nor shuttles, (units,): tankers, who brings hose, all without a job."""
    table = plan.levels
    engines = table.attack_engine, table.fill_engine, table.dump_engine, table.split_engine
    left = table.fleet[address, level] & ~table.used[address, level]
    left[[unit for column in engines if (unit := int(column[address, level])) >= 0]] = False
    tankers = left & table.tankers[address, level]
    lays = np.zeros_like(left)
    lays[list(plan.supply.of(address, level))] = True
    return tankers, left & ~tankers & lays, left & ~tankers & ~lays


def request_words(plan: Plan, address: int, level: int) -> str:
    """Name the units of a level that come only when somebody asks, and who of them has no job; '' where none does.

    Who asks for a neighbour's engine that has nothing to do yet should know it.
    """
    asked = plan.levels.fleet[address, level] & plan.on_request
    idle = asked & _others(plan, address, level)[-1]
    said = asked_words(plan, np.flatnonzero(asked).tolist())
    if not idle.any():
        return said
    whom = f" for {_ids(plan, np.flatnonzero(idle).tolist())}" if (asked != idle).any() else ""
    return f"{said.removesuffix('.')}, no job yet{whom}."


def asked_words(plan: Plan, units: Iterable[int]) -> str:
    """Name those of some units that come only when somebody asks for them; '' where none does."""
    named = _ids(plan, [u for u in units if plan.on_request[u]])
    return f"Ask for {named}: on request only." if named else ""


def _ids(plan: Plan, units: Iterable[int]) -> str:
    return " ".join(words.printable(plan.units[u].unit_id) for u in units)


def split_words(plan: Plan, address: int, level: int) -> str:
    """Say who fills where, of tankers split over two fill sites; '' where all fill at one."""
    table = plan.levels
    split, there = int(table.split[address, level]), table.at_split[address, level]
    if split < 0:
        return ""
    names = [plan.sites[site].name.casefold() for site in (int(table.site[address, level]), split)]
    other = f"at fill site {split + 1}{', which has the same name' * (names[0] == names[1])}"
    parts = (table.used[address, level] & ~there, "here"), (there, other)
    return "; ".join(
        f"{words.printable(' '.join(ids))} fill{'s' if len(ids) == 1 else ''} {where}"
        for ids, where in ((plan.unit_ids(mask, address), where) for mask, where in parts)
    )


def fill_engine_words(plan: Plan, address: int, level: int, *, second: bool = False) -> str:
    """Say who pumps at the fill site, or the second one, or why nobody need; '' where nobody is left to do so."""
    table = plan.levels
    sites, engines = (table.split, table.split_engine) if second else (table.site, table.fill_engine)
    site, fill = int(sites[address, level]), int(engines[address, level])
    if site < 0:
        return ""
    if fill >= 0:
        return f"{words.printable(plan.units[fill].unit_id)} pumps here."
    if not plan.sites[site].needs_engine:
        return "No engine is needed here."
    there = table.at_split[address, level]
    used = plan.unit_ids(there if second else table.used[address, level] & ~there, address)
    alone = {unit.unit_id for unit in plan.units if unit.self_fill_gpm is not None}
    if used and alone.issuperset(used):
        return f"No engine here: {words.printable(' '.join(used))} fill{'s' if len(used) == 1 else ''} by vacuum."
    return ""


def lacking_words(plan: Plan, address: int, level: int) -> str:
    """Say what a response level asks for and cannot be given here; '' where it is whole."""
    asked = plan.district.levels[level]
    lacks = []
    for kind, wanted, column in (
        ("engine", asked.engines, plan.levels.short_engines),
        ("tanker", asked.tankers, plan.levels.short_tankers),
    ):
        short = int(column[address, level])
        if short > 0:
            lacks.append(f"{wanted - short} of {wanted} {kind}s")
    return f"Short: only {' and '.join(lacks)} can come." if lacks else ""


MOST_QUEUED = 3
"""Tankers that are named for standing in queues."""
LEAST_QUEUED_MIN = 10.0
"""Minutes in queues that are worth a word."""


def lay_meets_words(plan: Plan, address: int, sharing: Sequence[int] = ()) -> str:
    """Say in a line that a hose lay carries the required flow where no level's tankers do, or those of a higher one.

    '' where that is not so; beside a higher level that meets, where the lay is ready when full flow is asked for. Of
    the addresses that share a card the figures are those of all, the latest and the least, and it says at how many.
    """
    every, rows = len({address, *sharing}), _meeting_lays(plan, address, sharing)
    if not rows:
        return ""
    lays, sites = plan.lays, sorted({*plan.lays.site[rows].tolist()})
    flow, minute = (
        words.supply(float(lays.gpm[rows].min()), words.CARD_STEP_GPM),
        words.need(lays.ready_min[rows].max()),
    )
    named = words.level_words(plan.district.levels[int(lays.level[rows].max())].name)
    some = f" at {len(rows)} of these {every} addresses" if len(rows) < every else ""
    seasonal = any(plan.sites[site].seasonal for site in sites)
    months = f" in {month_words(_months_of(plan, sites))}" if seasonal else ""
    return (
        f"By hose instead of tankers it meets{some}{months} from about minute {minute}: {flow} gpm from fill site "
        f"{' or '.join(str(site + 1) for site in sites)}, {named}, on level ground."
    )


def _meeting_lays(plan: Plan, address: int, sharing: Sequence[int]) -> list[int]:
    """Give the rows of the lays that meet at an address and at those that share its card; none where not at itself."""
    rows = np.flatnonzero(np.isin(plan.lays.address, [address, *sharing])).tolist()
    meeting = [row for row in rows if _lay_meets(plan, row)]
    return meeting if address in plan.lays.address[meeting] else []


def _lay_meets(plan: Plan, row: int) -> bool:
    """Tell whether a lay carries what is required, and tankers do not, or not so soon, or at a higher level only."""
    address, ready_min = int(plan.lays.address[row]), float(plan.lays.ready_min[row])
    need = float(plan.needs.met_from_gpm[address])
    if plan.lays.gpm[row] < need:
        return False
    if plan.answers.status[address] == "higher level":
        in_time = ready_min <= full_flow_min(plan, float(plan.answers.first_arrival_min[address]))
        return bool(in_time and plan.lays.level[row] < plan.answers.level[address])
    at, later = plan.built_up.row_of(address), plan.built_up
    by_tanker = at >= 0 and later.gpm[at] >= need and later.from_min[at] <= ready_min
    return plan.answers.status[address] == "not met" and not by_tanker


def _months_of(plan: Plan, sites: Iterable[int]) -> frozenset[int]:
    """Give the months in which all of some fill sites stand."""
    return frozenset.intersection(*(plan.sites[site].months for site in sites))


def lay_meets_then(plan: Plan, address: int, months: Collection[int], sharing: Sequence[int] = ()) -> str:
    """Say the same on a sheet of some months; '' where a lay's fill site does not stand in all of them."""
    rows = _meeting_lays(plan, address, sharing)
    stands = rows and {*months} <= _months_of(plan, plan.lays.site[rows].tolist())
    return lay_meets_words(plan, address, sharing) if stands else ""


def lay_words(plan: Plan, address: int, *, brief: bool = False, named: bool = False) -> str:
    """Say what a hose lay from a fill site brings where it does more than the tankers; '' where none does.

    `named`: with the address, among others.
    """
    found = np.flatnonzero(plan.lays.address == address)
    if not found.size:
        return ""
    lay = plan.lays.rows(found[:1].astype(np.int32))
    length, lines, engines = words.feet(float(lay.length_ft[0])), int(lay.lines[0]), int(lay.engines[0])
    site, flow = _lay_site(plan, int(lay.site[0])), words.supply(float(lay.gpm[0]), words.CARD_STEP_GPM)
    minute = words.need(float(lay.ready_min[0]))
    size = f"{float(lay.hose_in[0]):g} in"
    level = words.level_words(plan.district.levels[int(lay.level[0])].name)
    at = f" at {words.where_words(plan, address)}" if named else ""
    if brief:
        lay_of = f"{lines} x {size}" if lines > 1 else size
        return f"By hose{at}: {length}, {lay_of}, {site}: {flow} gpm, minute {minute}, {level}."
    hose = f"{length} of {size}" + (f", {lines} lines" if lines > 1 else "")
    pumping = f"{engines} engine{'s' * (engines != 1)} pumping at {level}"
    return f"By hose instead{at}: {hose} from {site}, {pumping}: {flow} gpm, about minute {minute}, on level ground."


def lay_numbers(plan: Plan, address: int) -> str:
    """Say from where, how long and how much such a lay is, for a list of neighbours."""
    at = int(np.flatnonzero(plan.lays.address == address)[0])
    length, flow = (
        words.feet(float(plan.lays.length_ft[at])),
        words.supply(float(plan.lays.gpm[at]), words.CARD_STEP_GPM),
    )
    return f"{_lay_site(plan, int(plan.lays.site[at]))}, {length}, {flow} gpm"


def _lay_site(plan: Plan, site: int) -> str:
    """Name the fill site of a hose lay, with the months in which it stands where that is not all year."""
    there = plan.sites[site]
    return f"fill site {site + 1}{f' ({month_words(there.months)} only)' if there.seasonal else ''}"


def supply_words(plan: Plan, address: int, level: int) -> str:
    """Say how long the supply line is, whose hose makes it, and by how many feet it is short."""
    table = plan.levels
    at_work = {int(table.attack_engine[address, level]), int(table.dump_engine[address, level])}
    laid = plan.supply.of(address, level)
    short_ft = float(table.hose_short_ft[address, level])
    return line_words(plan, address, laid, short_ft, at_work, plan.arrival_min[address].tolist())


def line_words(
    plan: Plan,
    address: int,
    laid: Mapping[int, float],
    short_ft: float,
    at_work: Collection[int],
    arrival_min: Sequence[float],
) -> str:
    """Say the same of any supply line: `laid` feet of hose by unit, of which those `at_work` are there anyway.

    `arrival_min` (units,) is when each is there in the months that are told.
    """
    wanted = words.feet(plan.supply_line_ft(address))
    sections = []
    for unit, feet in laid.items():
        one = plan.units[unit]
        named = f"{words.printable(one.unit_id)}'s {one.supply_hose_in:g} in{_guessed(plan, unit)}"
        brings = "" if unit in at_work else f", there at {words.need(arrival_min[unit])} min"
        sections.append(f"{words.feet(feet)} of {named}{brings}" if len(laid) > 1 else f"{named}{brings}")
    line = f"supply line {wanted}"
    if short_ft > 0:
        line += f", TOO SHORT by {words.feet(short_ft)}"
    return f"{line}: {'; '.join(sections) or 'the engines carry no hose'}."


def _guessed(plan: Plan, unit: int) -> str:
    """Mark a hose load that is the default."""
    guessed = {"supply_hose_ft", "supply_hose_in"} & set(plan.units[unit].assumed)
    return " (assumed)" if guessed else ""


def short_words(plan: Plan, address: int, level: int) -> str:
    """Say by how many feet hose is short and what would flow with it, which is not counted; '' where it reaches."""
    short_ft = float(plan.levels.hose_short_ft[address, level])
    if not short_ft > 0:
        return ""
    carry = plan.supply.of(address, level)
    load = " of ASSUMED hose" if any(_guessed(plan, unit) for unit in carry) else " of hose"
    flow = words.supply(float(plan.levels.reached_gpm[address, level]), words.CARD_STEP_GPM)
    return f"{words.feet(short_ft)} short{load}; with it {flow} gpm, not counted."


def spare_words(plan: Plan, address: int, level: int) -> str:
    """Name the tankers that bring nothing more to what the level holds; '' where each does."""
    rows = plan.haul_rows(address, level)
    idle = [words.printable(plan.units[u].unit_id) for u in plan.hauls.unit[rows][~plan.hauls.adds[rows]].tolist()]
    if not idle:
        return ""
    named = words.level_words(plan.district.levels[level].name)
    return f"{', '.join(idle)} {'adds' if len(idle) == 1 else 'add'} nothing to what {named} holds."


def queue_words(plan: Plan, address: int, level: int) -> str:
    """Name who stands longest in the queue at the fill site, all alerted at once; '' where nobody stands long.

    Who waits at the dump site mostly waits for room: then more water comes than is asked for, and nothing is amiss.
    """
    rows = plan.haul_rows(address, level)
    waits, unit = plan.hauls.fill_wait_min[rows], plan.hauls.unit[rows]
    order = [at for at in np.argsort(-waits, kind="stable").tolist() if waits[at] >= LEAST_QUEUED_MIN][:MOST_QUEUED]
    if not order:
        return ""
    said = ", ".join(f"{words.printable(plan.units[int(unit[at])].unit_id)} {words.need(waits[at])}" for at in order)
    lasts = words.number(float(plan.needs.required_min[address]))
    return f"Longest waits at the fill site in {lasts} min: {said} min."


def surge_words(plan: Plan, address: int) -> str:
    """Say how long a master stream is held from full flow on; '' where none is asked for."""
    held, rules = float(plan.answers.surge_min[address]), plan.district.rules.shuttle
    if not math.isfinite(held):
        return ""
    full = full_flow_min(plan, float(plan.answers.first_arrival_min[address]))
    asked = max(rules.surge_gpm, float(plan.needs.required_gpm[address]))
    lasts = f"held {words.supply(held)} of {words.number(rules.surge_min)} min" if held >= 1.0 else "not held"
    return f"Master stream, {words.need(asked)} gpm in all from minute {words.need(full)}: {lasts}."


def without_shuttle_words(plan: Plan, address: int) -> list[str]:
    """List, where no response level can be named, the district's units by gallons, and by minutes if those are known.

    Tankers come first, units that come on request only last, by name alone.
    """
    asked = plan.on_request
    arrival, said = plan.arrival_min[address], []
    for named, kinds in (("Tankers", ("tanker", "pumper-tanker")), ("Engines", ("engine",))):
        units = [u for u, one in enumerate(plan.units) if one.kind in kinds and not asked[u]]
        listed = []
        for u in sorted(units, key=lambda u: (arrival[u], plan.units[u].unit_id)):
            at = f" at {words.need(arrival[u])} min" if math.isfinite(arrival[u]) else ""
            listed.append(f"{words.printable(plan.units[u].unit_id)} {words.gallons(plan.units[u].tank_gal)}{at}")
        said += [f"{named}: {', '.join(listed)}."] if listed else []
    on_request = [words.printable(one.unit_id) for one, is_so in zip(plan.units, asked, strict=True) if is_so]
    said += [f"On request only: {' '.join(on_request)}."] if on_request else []
    if said and not np.isfinite(arrival).any():
        said.append("Minutes are not known.")
    return said


def wheels_words(plan: Plan, address: int, level: int) -> str:
    """Say how much water the fleet brings, and how long the attack engine's own tank lasts."""
    fleet = np.flatnonzero(plan.levels.fleet[address, level]).tolist()
    hauls = plan.levels.tankers[address, level]
    tankers = sum(plan.units[u].tank_gal for u in fleet if hauls[u])
    engines = sum(plan.units[u].tank_gal for u in fleet if not hauls[u])
    idle = sum(plan.units[u].tank_gal for u in fleet if hauls[u] and not plan.levels.used[address, level, u])
    apart = f" ({words.gallons(idle)} of it left out)" if 0 < idle < tankers else ""
    said = f"On wheels: {words.gallons(tankers)} in tankers{apart}, {words.gallons(engines)} in engines."
    attack = int(plan.levels.attack_engine[address, level])
    if attack < 0:
        return said
    unit = plan.units[attack]
    flow_gpm = min(plan.district.rules.shuttle.attack_gpm, float(plan.needs.required_gpm[address]))
    lasts = words.supply(unit.tank_gal / flow_gpm)
    return f"{said} {words.printable(unit.unit_id)} alone: {lasts} min at {words.number(flow_gpm)} gpm."
