"""The first minutes in an officer's words: first water, what a level holds, by when to call, when it runs dry."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Sequence
from itertools import chain

import numpy as np

from preplan.months import month_words
from preplan.plan import Plan
from preplan.plan_cards import CardGroup, Strip, ThenCalled
from preplan.plan_tables import (
    FIRST_ALARM_IN,
    LEAST_GAP_MIN,
    LONG_DRIVEWAY,
    MUCH_MORE,
    ROUNDING_GPM,
    SeasonLine,
    hurried,
)
from preplan.records import BoolArray
from preplan.render import words
from preplan.render.flag_words import flag_words

_NONE_GPM = 1.0  # less rounds down to nothing
_NO_FLOW = "no flow"
_MINUTES = ("gap_min", "nothing_min")
_GAP = ("gap_min", "first_gap_min", "longest_gap_min")
_DRY = ("nothing_min", "first_nothing_min", "longest_nothing_min")
"""Columns of the answers: minutes in all, the first, and the longest stretch; of all gaps, and where nothing flows."""
AT_ONCE = "with the first alarm"
"""When a level is called whose units come too late otherwise."""


def officer_words(plan: Plan, address: int, others: Sequence[int] = (), strip: Strip | None = None) -> str:
    """Sum up the timeline of an address in a few short sentences; '' where none runs.

    `others` are those that share its card: by when a level is called is told so that it holds for all of them. `strip`
    tells who nurses.
    """
    level = int(plan.answers.level[address])
    if level < 0 or not plan.answers.called[address]:
        return ""
    status = str(plan.answers.status[address])
    if status == "higher level":
        told = _higher(plan, address, level, [address, *others])
    elif status == "not met":
        told = _not_met(plan, address, level, [address, *others])
    else:
        told = _served(plan, address, level)
    first, arrival = plan.answers.first_water_min[address], plan.answers.first_arrival_min[address]
    nurse = nursed_words(plan, address, level, strip)
    return f"{first_words(plan, address, float(first), float(arrival))}. {nurse}{told}"


def nursed_words(plan: Plan, address: int, level: int, strip: Strip | None) -> str:
    """Say who nurses the attack engine of an address and level, and whose hose that takes; see `nurse_words`."""
    attack = int(plan.levels.attack_engine[address, level])
    return nurse_words(plan, strip, attack, hose_awaited(plan, address, attack, plan.supply.of(address, level)))


def hose_awaited(plan: Plan, address: int, attack_engine: int, laid_by: Collection[int]) -> list[int]:
    """List the units for whose hose a nurse waits, of those whose hose is in the supply line.

    None where it pumps through the attack engine's own hose: that reaches and is not wanted in the line.
    """
    alone = attack_engine not in laid_by
    if alone and plan.units[attack_engine].supply_hose_ft >= plan.supply_line_ft(address):
        return []
    return [unit for unit in laid_by if unit != attack_engine]


def nurse_words(plan: Plan, strip: Strip | None, attack_engine: int, awaited: Iterable[int] = ()) -> str:
    """Say which tanker pumps straight into the attack engine before the dump site is ready, before a blank; '' if none.

    The engine's own tank would be empty before that, and nobody else brings water then: every flow counts on it.
    `awaited` bring hose for it: the tanker waits for those of them that come after it.
    """
    nursed = None if strip is None else strip.nursed
    if strip is None or nursed is None or attack_engine < 0:
        return ""
    tanker, engine = words.printable(nursed.unit_id), words.printable(plan.units[attack_engine].unit_id)
    until = f"to {words.need(nursed.stop_min)}, then dump"
    if not nursed.dumps:
        until = f"until empty, about {words.number(math.floor(nursed.stop_min))}"
    others = [words.printable(plan.units[unit].unit_id) for unit in awaited]
    hose = f" That line needs hose of {' '.join(others)}." if others else ""
    early, start = strip.empty_from_min, words.need(nursed.start_min)
    empty = f" {engine} EMPTY minute {words.number(math.floor(early))} to {start}." if math.isfinite(early) else ""
    return f"{tanker}: pump straight into {engine} first, minute {start} {until}.{hose}{empty} "


def first_words(plan: Plan, address: int, first_water_min: float, first_arrival_min: float) -> str:
    """Say from when water flows, and from when more than the first attack's flow is asked for.

    The plan's clock ends where the engine leaves the road: on a long driveway that is told.
    """
    known = math.isfinite(first_water_min)
    # of the tenth that is printed elsewhere: 9.04 is 9.0 there, and no 10 here
    start = f"First water minute {words.need(round(first_water_min, 1))}" if known else "First water: not known"
    start += " at the road" * (known and has_long_driveway(plan, address))
    full = full_flow_min(plan, first_arrival_min)
    more = float(plan.needs.required_gpm[address]) > plan.district.rules.shuttle.attack_gpm
    return f"{start}, full flow asked for from {words.need(round(full, 1))}" if more and math.isfinite(full) else start


def has_long_driveway(plan: Plan, address: int) -> bool:
    """Tell whether the way from the road to the building is flagged as long."""
    return any(flag.code == LONG_DRIVEWAY for flag in plan.answers.flags[address])


def full_flow_min(plan: Plan, first_arrival_min: float) -> float:
    """Give the minute from which the required flow is asked for; nan or infinite where no engine comes."""
    return first_arrival_min + plan.district.rules.shuttle.full_flow_min


def full_flow_words(plan: Plan, address: int) -> str:
    """Write the minute from which an address's required flow is asked for."""
    return words.need(round(_full_flow_at(plan, address), 1))


def held_words(plan: Plan, address: int, level: int) -> str:
    """Say what a level holds without a dry minute, for how long, and in which months it is less."""
    name = words.first_up(words.level_words(plan.district.levels[level].name))
    flow = float(plan.levels.uninterrupted_gpm[address, level])
    lasts = duration(float(plan.needs.required_min[address]))
    have = _amount(plan, address, flow)
    said = f"{name} holds {have} for {lasts}{' without a break' * (have == _NO_FLOW)}"
    less = least_words(plan, address, level)
    return f"{said}, in {less}" if less else said


def least_words(plan: Plan, address: int, level: int) -> str:
    """Name the months in which a level holds least, and what, where that is less on paper than what is told of it.

    One season decides for all levels of an address, by what the highest bring: a lower one may hold less in another.
    """
    told = float(plan.levels.uninterrupted_gpm[address, level])
    decides = int(plan.levels.season[address, level])
    flows = [(float(season.uninterrupted_gpm[address, level]), season.months) for season in plan.seasons]
    others = [(0.0 if math.isnan(gpm) else gpm, months) for k, (gpm, months) in enumerate(flows) if k != decides]
    least = min((gpm for gpm, _ in others), default=math.inf)
    if not least < told or (said := _amount(plan, address, least)) == _amount(plan, address, told):
        return ""
    alike = (months for gpm, months in others if _amount(plan, address, gpm) == said)
    return f"{month_words(chain.from_iterable(alike))} {said}"


def duration(minutes: float) -> str:
    """Write how long a flow must hold, in hours where they are whole, else in minutes, rounded up.

    >>> duration(120.0), duration(60.0), duration(56.25)
    ('2 hours', '1 hour', '57 min')
    """
    hours = minutes / 60.0
    if hours >= 1 and hours == int(hours):
        return f"{hours:.0f} hour{'s' * (hours > 1)}"
    return f"{words.need(minutes)} min"


def gap_words(plan: Plan, address: int) -> str:
    """Say for how long in all nothing flows, and for how long too little, how much is lacking then; '' where enough.

    What flows in some minutes is not spread over others in which nothing does: an officer plans for these.
    """
    answers = plan.answers
    gap, nothing = float(answers.gap_min[address]), float(np.nan_to_num(answers.nothing_min[address]))
    if not gap > LEAST_GAP_MIN or not math.isfinite(answers.first_gap_min[address]):
        return ""
    dry, short = how_dry(gap, nothing)
    said = [f"dry {_stretches(plan, address, _DRY if short else _GAP)}"] if dry else []
    if short and dry:
        first = float(answers.first_gap_min[address])
        earlier = first < float(answers.first_nothing_min[address]) - LEAST_GAP_MIN
        since = f", first at minute {dry_from(_full_flow_at(plan, address), first)}" if earlier else ""
        # rounded as the whole and the dry minutes are, with which it adds up
        more = min(gap - nothing, float(math.ceil(gap) - math.ceil(nothing)))
        said.append(f"{_lacking(plan, address, but_dry=True)} for {words.lasting(more)} more{since}")
    elif short:
        said.append(f"{_lacking(plan, address, but_dry=False)} for {_stretches(plan, address, _GAP)}")
    by = str(answers.short_by[address]) if short else ""
    return f"{'; '.join(said)}{f', by the {by}' if by else ''}"


def how_dry(gap_min: float, nothing_min: float) -> tuple[bool, bool]:
    """Tell whether of minutes with too little water some without any are told, and others in which too little flows."""
    dry = nothing_min > LEAST_GAP_MIN
    return dry, gap_min - nothing_min > LEAST_GAP_MIN or not dry


def flowing_words(gap_min: float, nothing_min: float, first: str = "") -> str:
    """Say that too little flows for so long, `first` then, and for how long nothing does; where nothing does all of it.

    >>> flowing_words(9.0, 0.0), flowing_words(9.0, 9.0)
    ('too little flows for 9 min in all', 'nothing flows for 9 min in all')
    >>> flowing_words(9.0, 4.2, ", first at minute 30")
    'too little flows for 9 min in all, first at minute 30, nothing for 5 min of it'
    """
    dry, short = how_dry(gap_min, nothing_min)
    said = f"{'too little' if short else 'nothing'} flows for {words.lasting(gap_min)} in all{first}"
    return f"{said}, nothing for {words.lasting(nothing_min)} of it" if dry and short else said


def _stretches(plan: Plan, address: int, columns: tuple[str, str, str]) -> str:
    """Say how many minutes it is in all, from which one, and how long the longest stretch is of several."""
    whole, first, longest = (float(getattr(plan.answers, word)[address]) for word in columns)
    full = _full_flow_at(plan, address)
    # else that is what the sentence begins with
    early = ", before full flow" * (not _before_full_flow(plan, address) and first < full - LEAST_GAP_MIN)
    if not whole - longest > LEAST_GAP_MIN:
        return f"{words.lasting(whole)} {'at' if whole < 1.0 else 'from'} minute {dry_from(full, first)}{early}"
    stretch = words.lasting(longest)
    return f"{words.lasting(whole)} in all, first at minute {dry_from(full, first)}{early}, the longest {stretch}"


def _lacking(plan: Plan, address: int, *, but_dry: bool) -> str:
    """Say how much flow is lacking where too little flows; `but_dry`: leave out the minutes in which nothing does."""
    answers = plan.answers
    gal, minutes = float(answers.short_gal[address]), float(answers.gap_min[address])
    if but_dry:
        gal, minutes = gal - float(answers.nothing_gal[address]), minutes - float(answers.nothing_min[address])
    return f"about {words.need(gal / minutes, words.CARD_STEP_GPM)} gpm too little"


def _full_flow_at(plan: Plan, address: int) -> float:
    return full_flow_min(plan, float(plan.answers.first_arrival_min[address]))


def _once(plan: Plan, address: int) -> bool:
    """Tell whether all minutes with too little water that are told are of one stretch."""
    return not plan.answers.gap_min[address] - plan.answers.longest_gap_min[address] > LEAST_GAP_MIN


def _before_full_flow(plan: Plan, address: int) -> bool:
    """Tell whether it is dry before full flow is asked for alone: then the attack's flow is what lacks."""
    if plan.answers.status[address] == "served":
        return True
    last = float(plan.answers.first_gap_min[address] + plan.answers.gap_min[address])
    full = full_flow_min(plan, float(plan.answers.first_arrival_min[address]))
    return _once(plan, address) and last <= full + LEAST_GAP_MIN


def _served(plan: Plan, address: int, level: int) -> str:
    dry = gap_words(plan, address)
    early = f" Before that flow is asked for: {dry}." if dry else ""
    return f"{held_words(plan, address, level)}.{early}"


def _higher(plan: Plan, address: int, level: int, sharing: Sequence[int]) -> str:
    answers, name = plan.answers, words.level_words(plan.district.levels[level].name)
    need = words.need(float(plan.needs.required_gpm[address]), words.CARD_STEP_GPM)
    by_min = answers.called_by_min(sharing)
    in_time = math.isfinite(by_min)
    dry = gap_words(plan, address)
    called, asked = float(plan.levels.on_arrival_gpm[address, level]), float(plan.needs.required_gpm[address])
    brings, enough = _amount(plan, address, called), called >= asked - ROUNDING_GPM
    late = ""
    if dry:
        asked_for = "before that is asked for" if _before_full_flow(plan, address) else f"asked for {need}"
        late = f"; called on arrival it holds {brings}; {asked_for}: {dry}; {_dry_at_once(plan, address, level)}"
    elif not (in_time and enough):  # else it goes without saying
        ample = called > asked * (1.0 + plan.district.rules.plan.close_share)
        holds = "holds it too" if ample else "only just holds it"
        late = f"; called on arrival it {holds if enough else f'holds {brings}'}"
        if not in_time and plan.levels.gap_min[address, level] > LEAST_GAP_MIN:
            late += f"; {_dry_at_once(plan, address, level)}"
    then = "".join(f" {one}" for one in then_at_once(plan, sharing)) if in_time else ""
    when = when_words(by_min, hurried=bool(np.any(little_time(plan, sharing))))
    return f"{held_words(plan, address, 0)}. For {need} gpm: {name} {when}{late}.{then}"


def little_time(plan: Plan, rows: Sequence[int]) -> BoolArray:
    """Mask those of some addresses whose higher level may wait for a call on arrival, and had better not.

    The latest minute comes right after the arrival, or a call on arrival falls short by a trifle.
    """
    answers, those = plan.answers, np.array(rows, dtype=np.int32)
    soon = hurried(answers.call_by_min[those], answers.first_arrival_min[those])
    held = plan.levels.on_arrival_gpm[those, answers.level[those]]
    short: BoolArray = soon | (held < plan.needs.met_from_gpm[those])
    return short & answers.in_time(those)


def little_time_then(plan: Plan, address: int, then: ThenCalled) -> bool:
    """Tell the same of what the crew of other months holds."""
    soon = bool(hurried(np.asarray(then.advised_min), np.asarray(then.first_arrival_min)))
    return soon or then.on_arrival_gpm < float(plan.needs.met_from_gpm[address])


def when_words(by_min: float, *, hurried: bool) -> str:
    """Say when a higher level is called: on arrival, until some minute, or with the first alarm; NaN: only so.

    Who reads a minute alone takes it for leave to wait.

    >>> when_words(112.0, hurried=False), when_words(math.nan, hurried=False)
    ('on arrival, by minute 112 at the latest', 'with the first alarm')
    >>> when_words(9.0, hurried=True)
    'best with the first alarm, by minute 9 at the latest'
    """
    if not math.isfinite(by_min):
        return AT_ONCE
    return f"{f'best {AT_ONCE}' if hurried else 'on arrival'}, by minute {words.number(by_min)} at the latest"


def _dry_at_once(plan: Plan, address: int, level: int) -> str:
    """Say for how long it is dry where a higher level goes with the first alarm, beside how long called on arrival.

    Where that is no less, nobody should think that it would help.
    """
    at_once, later = float(plan.levels.gap_min[address, level]), float(plan.answers.gap_min[address])
    if not at_once > LEAST_GAP_MIN:
        return f"{AT_ONCE} none"
    dry = float(plan.levels.nothing_min[address, level]), float(np.nan_to_num(plan.answers.nothing_min[address]))
    if LEAST_GAP_MIN < later <= at_once + LEAST_GAP_MIN and dry[1] <= dry[0] + LEAST_GAP_MIN:
        return f"{AT_ONCE} no less"
    return f"{AT_ONCE} {_so_long(plan, address, level)}"


def _so_long(plan: Plan, address: int, level: int) -> str:
    """Write for how long too little flows at a level, all alerted at once; for how long nothing does, if need be.

    Of one kind alone, and of that of which the answer is told, the kind goes without saying.
    """
    gap, nothing = (float(column[address, level]) for column in (plan.levels.gap_min, plan.levels.nothing_min))
    kind, told = how_dry(gap, nothing), how_dry(*(float(getattr(plan.answers, word)[address]) for word in _MINUTES))
    dry, short = kind
    if kind == told and not (dry and short) and plan.answers.gap_min[address] > LEAST_GAP_MIN:
        return f"for {words.lasting(gap)}"
    said = f"{'too little' if short else 'dry'} for {words.lasting(gap)}"
    return f"{said}, dry for {words.lasting(nothing)} of it" if dry and short else said


def then_at_once(plan: Plan, sharing: Sequence[int]) -> list[str]:
    """Name the months in which the level of some addresses goes with the first alarm all the same, each once."""
    flags = (one for a in sharing for one in plan.answers.flags[a] if one.code == FIRST_ALARM_IN)
    return list(dict.fromkeys(map(flag_words, flags)))


def _not_met(plan: Plan, address: int, level: int, sharing: Sequence[int]) -> str:
    need = words.need(float(plan.needs.required_gpm[address]), words.CARD_STEP_GPM)
    dry = gap_words(plan, address)
    less, mine = less_called_later(plan, sharing), less_called_later(plan, [address])
    later = f"it holds {_amount(plan, address, float(plan.levels.on_arrival_gpm[address, level]))}"
    if less and not mine:
        later = "it brings less at some of these addresses"
    elif less and not _holds_less_later(plan, address):
        late = plan.levels.gap_on_arrival_min, plan.levels.nothing_on_arrival_min
        gap_min, nothing_min = (float(column[address, level]) for column in late)
        later = flowing_words(gap_min, nothing_min)
    call = f" Call it with the first alarm: called on arrival {later}." if less else ""
    at_once = ", all alerted at once" * less
    asked_for = "Before that is asked for" if _before_full_flow(plan, address) else f"Asked for {need}"
    asked = f" {asked_for}{at_once}: {dry}{_less_dry(plan, address, level) if dry else ''}." if dry else ""
    none = f"none holds {need}{_when_none(plan, address)}{_but_later(plan, address, sharing)}"
    return f"{held_words(plan, address, level)}; {none}.{call}{asked}"


def _but_later(plan: Plan, address: int, sharing: Sequence[int]) -> str:
    """Say from when on the level shown does hold what is required, if little is drawn until then; '' where never."""
    later, need = plan.built_up.at_all(sharing), float(plan.needs.met_from_gpm[address])
    if later is None or later.gpm < need:
        return ""
    return f", but this one from minute {words.need(later.from_min)} on, if little is drawn until then"


def best_words(plan: Plan, address: int) -> str:
    """Say what is best about the level shown where none meets: what it holds at once, or what it brings in all.

    Who holds nothing does not hold the most, nor does who holds what another one prints.
    """
    held = np.nan_to_num(plan.levels.uninterrupted_gpm[address])
    printed, shown = np.floor(held / words.CARD_STEP_GPM + ROUNDING_GPM), int(plan.answers.level[address])
    if held[shown] < _NONE_GPM or printed[shown] < printed.max():
        return "brings the most water"
    return "holds the most" if np.sum(printed == printed[shown]) == 1 else "holds as much as any"


def built_up_words(plan: Plan, address: int, sharing: Sequence[int]) -> tuple[str, str, str]:
    """Say from when much more is held than at once, and how little may be drawn until then; all '' if never.

    Held at all addresses `sharing` the words: the weakest at once need not be so later. Last what else a card says of
    it: what is left in the end. Where what is held at once is worth drawing, an officer has the choice: the one flow
    throughout, or less until then and the other.
    """
    held = float(plan.levels.uninterrupted_gpm[address, int(plan.answers.level[address])])
    later = plan.built_up.at_all(sharing)
    if later is None or later.gpm <= MUCH_MORE * held:
        return "", "", ""
    attack_gpm = min(plan.district.rules.shuttle.attack_gpm, float(plan.needs.required_gpm[address]))
    attack = words.supply(attack_gpm, 1)
    then = f"from minute {words.need(later.from_min)}: {_amount(plan, address, later.gpm)}"
    # the attack flow is drawn until then as far as it lasts, which need not be all the way
    besides = _after(plan, address, later.gpm, later.steady_gpm)
    if held >= attack_gpm:
        return f"or {then}", f"if you draw no more than {attack} gpm until then.", besides
    lasts = f", {_amount(plan, address, held)} lasts" if held >= _NONE_GPM else ""
    return then, f"Draw as little as you can until then: {attack} gpm runs dry{lasts}.", besides


def _after(plan: Plan, address: int, flow_gpm: float, steady_gpm: float) -> str:
    """Say how long a flow is held that is more than comes round without end, and what is left then, behind a blank."""
    more, left = _amount(plan, address, flow_gpm), _amount(plan, address, steady_gpm)
    if more == left or not steady_gpm < flow_gpm:
        return ""
    return f" After {duration(float(plan.needs.required_min[address]))} {left}."


def _when_none(plan: Plan, address: int) -> str:
    """Name the months in which no level holds what is required, where one does in others, behind a blank."""
    need = float(plan.needs.met_from_gpm[address])
    short = [one.months for one in plan.seasons if not np.nan_to_num(one.uninterrupted_gpm[address]).max() >= need]
    return f" in {month_words(chain.from_iterable(short))}" if 0 < len(short) < len(plan.seasons) else ""


def less_called_later(plan: Plan, sharing: Sequence[int]) -> bool:
    """Tell whether the level shown brings less at some of the addresses that share it where it is called on arrival.

    It holds less on paper, or too little flows for longer.
    """
    return any(_loses_later(plan, address) for address in sharing)


def _loses_later(plan: Plan, address: int) -> bool:
    """Tell the same of one address."""
    table, cell = plan.levels, (address, int(plan.answers.level[address]))
    short = float(table.gap_on_arrival_min[cell]), float(table.gap_min[cell])
    dry = float(table.nothing_on_arrival_min[cell]), float(table.nothing_min[cell])
    return _holds_less_later(plan, address) or _longer(*short) or _longer(*dry)


def _holds_less_later(plan: Plan, address: int) -> bool:
    """Tell whether the level shown holds less on paper where it is called on arrival."""
    cell = address, int(plan.answers.level[address])
    flows = (float(column[cell]) for column in (plan.levels.on_arrival_gpm, plan.levels.uninterrupted_gpm))
    return _prints_less(plan, address, *flows)


def at_once_in(plan: Plan, group: CardGroup) -> str:
    """Say in which months of its sheets a level that none meets goes with the first alarm, where the front need not.

    Behind a blank; '' where there are none.
    """
    lead = group.lead
    none_meets = plan.answers.status[lead] == "not met" and plan.answers.level[lead] >= 0
    if not none_meets or less_called_later(plan, [lead, *group.addresses]):
        return ""
    of = {season.months: season for season in plan.seasons}
    those = [
        then.months
        for one in group.others
        for then in one.then
        if (then.fleet and then.strip.called == "first alarm") or later_is_less(plan, lead, of[then.months], then)
    ]
    months = sorted({*chain.from_iterable(those)})
    return f" In {month_words(months)}: send this response level with the first alarm." if months else ""


def later_is_less(plan: Plan, address: int, season: SeasonLine, then: ThenCalled) -> bool:
    """Tell the same of one address, whose level does not meet in a season."""
    if then.strip.called != "at dispatch" or not then.fleet:
        return False
    held = float(season.uninterrupted_gpm[address, then.fleet])
    lacks = _longer(then.gap_min, then.strip.dry_min) or _longer(then.nothing_min, then.strip.nothing_within_min())
    return lacks or _prints_less(plan, address, then.on_arrival_gpm, held)


def may_wait(plan: Plan, address: int, season: SeasonLine, then: ThenCalled) -> bool:
    """Tell whether a level that does not meet in a season brings as much where it is called on arrival."""
    return then.strip.called == "at dispatch" and not later_is_less(plan, address, season, then)


def _longer(minutes: float, than_min: float) -> bool:
    """Tell whether minutes with too little water are one or more longer."""
    return minutes >= than_min + 1.0


def _prints_less(plan: Plan, address: int, gpm: float, than_gpm: float) -> bool:
    """Tell whether a flow is less than another, on paper too."""
    return gpm < than_gpm and _amount(plan, address, gpm) != _amount(plan, address, than_gpm)


def _amount(plan: Plan, address: int, gpm: float) -> str:
    """Write a flow that is held, beside what is required."""
    if not math.isfinite(gpm) or gpm < _NONE_GPM:
        return _NO_FLOW
    return f"{words.flow_pair(gpm, float(plan.needs.required_gpm[address]))[0]} gpm"


def _less_dry(plan: Plan, address: int, level: int) -> str:
    """Say behind how long it is dry which higher level leaves less of that, by a minute or more; '' where none does."""
    gaps = plan.levels.gap_min[address]
    higher = [k for k in range(level + 1, len(gaps)) if gaps[k] <= gaps[level] - 1.0]
    if not higher:
        return ""
    least = min(higher, key=lambda k: float(gaps[k]))
    name = words.level_words(plan.district.levels[least].name)
    lasts = _so_long(plan, address, least).removeprefix("for ") if gaps[least] > LEAST_GAP_MIN else "none"
    return f"; {name}: {lasts}"


def dry_from(full: float, minute: float) -> str:
    """Write from when too little flows: the whole minute before, but not before more is asked for at minute `full`."""
    return words.number(math.ceil(full) if minute >= full > math.floor(minute) else math.floor(minute))
