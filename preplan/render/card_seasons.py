"""What a card says of the seasons: what others bring, for which its front is told, who has other jobs then."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from preplan.months import month_words
from preplan.plan import Plan
from preplan.plan_cards import FillsElsewhere, OtherCircuit
from preplan.plan_tables import NOT_THIS_WAY, ROUNDING_GPM, SeasonLine
from preplan.records import BoolArray
from preplan.render import first_minutes, words
from preplan.render.card_facts import HALF_PT, STEP_GPM, Facts
from preplan.render.limit_places import named_words
from preplan.render.paper import BODY_PT, SMALL_PT, Line, paragraph


def months_without(facts: Facts) -> str:
    """Name the months in which no site serves where one does in others; '' where that is not so."""
    those = facts.plan.months_without(facts.lead)
    return month_words(those) if those else ""


def other_seasons(facts: Facts) -> list[Line]:
    """Say, where no level can be named in the worst season, what the others bring to the addresses of the card."""
    said = seasons_alone(facts.plan, [facts.lead, *facts.group.addresses], facts.group.others)
    return [line for one in said for line in paragraph(one, HALF_PT, bold=True, most=3)]


def seasons_alone(plan: Plan, rows: Sequence[int], sheets: Sequence[OtherCircuit]) -> list[str]:
    """Say season by season which level meets at some addresses, or what the highest brings; nothing of those without.

    A level meets where it does so at every address; its flow is that of the weakest then. `sheets` are those of their
    card, which know by when a level is called.
    """
    rows = list(rows)
    need = plan.needs.required_gpm[rows]
    told: dict[str, list[int]] = {}
    for season in plan.seasons:
        flow, level = np.nan_to_num(season.uninterrupted_gpm[rows]), season.level_of(rows, need)
        meets = bool(np.all(flow[:, level] >= need - ROUNDING_GPM))
        served = season.best_site[rows, level] >= 0
        if not served.any():
            continue
        weakest = int((flow[:, level] - need).argmin())
        have, want = words.flow_pair(float(flow[weakest, level]), float(need[weakest]))
        named = words.level_words(plan.district.levels[level].name)
        said = f"{named} {'meets' if meets else 'does not meet'}: {have} gpm of {want} required"
        near = plan.district.rules.plan.close_share * need[weakest]
        narrowly = ", only just" if meets else ", by little"
        said += narrowly if abs(float(flow[weakest, level]) - need[weakest]) <= near else ""
        sites = season.sites_of(rows[weakest], level)
        from_site = f", {from_words(sites)}{guessed(plan, sites)}"
        said += from_site if served.all() else ", not every address of this card is reached"
        called = called_then(plan, rows[weakest], sheets, season, level)
        told.setdefault(f"{said}{called}.", []).extend(season.months)
    return [f"{words.first_up(month_words(those))}: {said}" for said, those in told.items()]


def called_then(plan: Plan, address: int, sheets: Sequence[OtherCircuit], season: SeasonLine, level: int) -> str:
    """Say by when a higher level is called in a season, behind a comma; '' where a later call loses nothing.

    The sheets of the season know it; where they do not tell, at once.
    """
    those = [one for sheet in sheets for one in sheet.then if one.months == season.months and sheet.level == level]
    if not level or (those and all(first_minutes.may_wait(plan, address, season, one) for one in those)):
        return ""
    waits = [one.advised_min for one in those]
    if not waits or not np.isfinite(waits).all():
        return f", {first_minutes.AT_ONCE}"
    soon = any(first_minutes.little_time_then(plan, address, one) for one in those)
    return f", {first_minutes.when_words(min(waits), hurried=soon)}"


def sites_of(facts: Facts) -> list[int]:
    """List the fill sites of the level shown: one, or two where tankers are split; none without a shuttle."""
    return [site for site in (facts.cell("site"), facts.cell("split")) if site >= 0]


def for_other_months(facts: Facts) -> str:
    """Say where dump site and way of the other months stand, on a card without a shuttle."""
    if any(other.months for other in facts.sheets):
        return "For the other months see the sheet behind: dump site, map and way."
    return "For the other months this card has no way, dump site or table."


def by_season(facts: Facts) -> list[Line]:
    """Say, where another site is better in other months, which, and for which months map and directions hold."""
    own = told_months(facts)
    if not own:
        return []
    said = season_words(facts.plan, facts.lead, facts.level)
    lines = [line for one in said for line in paragraph(f"{one}.", HALF_PT, bold=True)]
    way, jobs = _their_way(facts), other_jobs(facts)
    lines += [line for one in jobs for line in paragraph(one, HALF_PT, bold=True)]
    return [*lines, *paragraph(f"Units, map, way and table here: {month_words(own)}.{way}", HALF_PT, SMALL_PT)]


def told_months(facts: Facts) -> list[int]:
    """List the months for which the front of a card is told, where tankers fill elsewhere in others; else none.

    They are those of the sheet of its second fill site too.
    """
    return facts.own_months if facts.other is None else []


def head(said: str, facts: Facts) -> str:
    """Write a heading of a card's front, or of its second fill site's sheet, with the months for which that is told."""
    months = told_months(facts)
    return f"{said}, {month_words(months, short=True).upper()}" if months else said


def not_this_way(facts: Facts) -> list[Line]:
    """Say in which months the way does not hold, for any address of the card, and where another one stands."""
    site = facts.cell("site")
    behind = {month for other in facts.group.others if other.site == site for month in other.months}
    said = dict.fromkeys(named_words(facts.plan, f) for f in facts.card_flags if f.code == NOT_THIS_WAY)
    lines = [line for one in said for line in paragraph(one, HALF_PT, BODY_PT, bold=True)]
    return lines + paragraph(f"Units and way in {month_words(behind)}: sheet behind.", HALF_PT) if behind else lines


def _elsewhere(facts: Facts) -> tuple[set[int], list[OtherCircuit]]:
    """Give the fill sites of other months that are not those in front, and the sheets of these."""
    plan, lead, level = facts.plan, facts.lead, facts.level
    others = {site for season in plan.seasons for site in season.sites_of(lead, level)}.difference(sites_of(facts))
    return others, [other for other in facts.sheets if other.months and other.site in others]


def _their_way(facts: Facts) -> str:
    """Say where the way over the fill sites of other months stands, or that it is not drawn, behind a blank."""
    others, sheets = _elsewhere(facts)
    drawn = {other.site for other in sheets}
    said = {"map and way on a sheet behind": others & drawn, "its way is not known": others - drawn}
    named = {what: " and ".join(str(site + 1) for site in sorted(sites)) for what, sites in said.items() if sites}
    return "".join(f" Fill site {sites}: {what}." for what, sites in named.items())


def other_jobs(facts: Facts) -> list[str]:
    """Say who has other jobs at the fill sites of other months, a line for each."""
    return [
        f"{words.first_up(month_words(other.months))}:{told}"
        for other in sorted(_elsewhere(facts)[1], key=lambda one: one.site)
        if (told := jobs_then(facts, other))
    ]


def jobs_then(facts: Facts, other: OtherCircuit) -> str:
    """Say which units have other jobs with another circuit's fill site than on the page, behind a blank; else ''.

    Who is not among the level's units in front, nor in the crew of its sheet, has to be called.
    """
    plan, lead, level = facts.plan, facts.lead, facts.level
    mine, jobs, sent = facts.other, list[str](), plan.levels.fleet[lead, level].copy()
    if mine:
        sent[[*mine.crew, *(one.fill_engine for one in mine.elsewhere if one.fill_engine >= 0)]] = True
    fills, drafts = (
        (mine.fill_engine, mine.dump_engine) if mine else (facts.cell("fill_engine"), facts.cell("dump_engine"))
    )
    for engine, own, job in (
        (other.fill_engine, fills, f"pumps at fill site {other.site + 1}"),
        (other.dump_engine, drafts, "drafts at the dump site then"),
    ):
        elsewhere = job.startswith("pumps") and (other.backup or other.site != facts.cell("site"))
        if engine >= 0 and (engine != own or elsewhere):
            who = words.printable(plan.units[engine].unit_id)
            named = who if sent[engine] else f"call {who} {_instead(facts, other, engine, sent)}: it"
            jobs.append(f"{named} {job}")
    if other.tankers and frozenset(other.tankers) != facts.tankers:
        jobs.append(f"{_fill_at(plan, other.tankers, other.site, sent)}{' then' * (not splits(plan, lead, other))}")
    told = {(one.site, month) for one in facts.group.others for month in one.months}
    # who fills at a fill site of the card itself then has no sheet of his own
    those = [one for one in other.elsewhere if (one.site, one.months[0]) not in told]
    jobs += elsewhere_words(plan, other, those, sent)
    return f" {words.first_up(', '.join(jobs))}." if jobs else ""


def _instead(facts: Facts, other: OtherCircuit, engine: int, sent: BoolArray) -> str:
    """Say in whose place an engine is called for another circuit: of one without a job that comes later; else too."""
    plan, arrival = facts.plan, np.array(other.arrival_min)
    front = map(facts.cell, ("attack_engine", "fill_engine", "dump_engine", "split_engine"))
    busy = {*(facts.other.crew if facts.other else front), *other.crew, *(one.fill_engine for one in other.elsewhere)}
    idle = [unit for unit in np.flatnonzero(sent).tolist() if unit not in busy and plan.units[unit].kind == "engine"]
    later = [unit for unit in idle if arrival.size and arrival[unit] > arrival[engine]]
    return f"in place of {words.printable(plan.units[later[0]].unit_id)}" if len(later) == 1 else "too"


def _fill_at(plan: Plan, tankers: Sequence[int], site: int, sent: BoolArray | None) -> str:
    more = () if sent is None else tuple(unit for unit in tankers if not sent[unit])
    named, called = (words.printable(" ".join(plan.units[unit].unit_id for unit in some)) for some in (tankers, more))
    return f"{f'call {called} too: ' * bool(more)}{named} fill{'s' * (len(tankers) == 1)} at fill site {site + 1}"


def elsewhere_words(
    plan: Plan, other: OtherCircuit, those: Sequence[FillsElsewhere], sent: BoolArray | None = None
) -> list[str]:
    """Say who fills at the other of two fill sites in the months of a circuit, and who pumps there.

    Each with its months where that is not so in all of them. Who is not among those `sent`, (units,), has to be called.
    """
    said: dict[str, list[int]] = {}
    for one in those:
        pumps = ""
        if one.fill_engine >= 0:
            engine = words.printable(plan.units[one.fill_engine].unit_id)
            comes = sent is None or sent[one.fill_engine]
            pumps = f" ({engine} pumps)" if comes else f" (call {engine} too: it pumps)"
        filled = f"{_fill_at(plan, one.tankers, one.site, sent)}{pumps}"
        lane = f", meeting on {words.printable(one.lane)}, one truck wide: loaded goes first, empties wait off it"
        said.setdefault(f"{filled}{lane if one.lane else ''}", []).extend(one.months)
    every = {*other.months}
    return [told if {*those} == every else f"in {month_words(those)} {told}" for told, those in said.items()]


def splits(plan: Plan, address: int, other: OtherCircuit) -> bool:
    """Tell whether tankers fill at two fill sites in the months of another circuit."""
    seasons = (season for season in plan.seasons if set(season.months) <= set(other.months))
    return any(len(season.sites_of(address, other.level)) > 1 for season in seasons)


def season_words(plan: Plan, address: int, level: int) -> list[str]:
    """Write a line for the seasons of equal answers where those of one address and level differ on paper, else none.

    Where the level meets in some of them alone, each says whether it does.
    """
    need = float(plan.needs.met_from_gpm[address])
    enough = [bool(one.uninterrupted_gpm[address, level] >= need) for one in plan.seasons]
    verdict = (", does not meet", ", meets") if len(set(enough)) > 1 else ("", "")
    lines: dict[str, list[int]] = {}
    for season, meets in zip(plan.seasons, enough, strict=True):
        sites = season.sites_of(address, level)
        flow = words.supply(float(season.uninterrupted_gpm[address, level]), STEP_GPM)
        held = f"{flow} gpm {words.FLOW_SHORT} {from_words(sites)}{guessed(plan, sites)}{verdict[meets]}"
        lines.setdefault(held if sites else "no fill site", []).extend(season.months)
    return [f"{words.first_up(month_words(those))}: {said}" for said, those in lines.items()] if len(lines) > 1 else []


def months_of_need(facts: Facts) -> str:
    """Name the months in which no level below the one shown meets where one does in others; else ''."""
    plan, lead = facts.plan, facts.lead
    need = float(plan.needs.met_from_gpm[lead])
    if facts.level < 1:
        return ""
    lower = [bool((season.uninterrupted_gpm[lead, : facts.level] >= need).any()) for season in plan.seasons]
    those = [month for season, meets in zip(plan.seasons, lower, strict=True) if not meets for month in season.months]
    return month_words(those) if any(lower) and those else ""


def months_short(facts: Facts) -> str:
    """Name the months in which no level meets where the one shown does in others; '' where that is not so."""
    plan, lead = facts.plan, facts.lead
    need = float(plan.needs.met_from_gpm[lead])
    if facts.status != "not met" or facts.level < 0:
        return ""
    flows = [np.nan_to_num(season.uninterrupted_gpm[lead]) for season in plan.seasons]
    if not any(flow[facts.level] >= need for flow in flows):
        return ""
    return month_words(
        month for season, flow in zip(plan.seasons, flows, strict=True) if flow.max() < need for month in season.months
    )


def guessed(plan: Plan, sites: Sequence[int]) -> str:
    """Say behind a flow that a rate which it rests on is assumed; '' where none is."""
    return "" if all(plan.sites[site].fill_gpm_given for site in sites) else " (rate assumed)"


def from_words(sites: Sequence[int]) -> str:
    """Say from which fill site, or from which two."""
    return f"from fill site{'s' * (len(sites) > 1)} {' and '.join(str(site + 1) for site in sites)}"
