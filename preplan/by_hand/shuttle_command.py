"""`preplan shuttle`: its options, their checks and their defaults."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Annotated, TypeVar

import numpy as np
import typer

from preplan.by_hand.options import BY_HAND, must_be, one_of, option, option_name, refused, switch, written
from preplan.by_hand.shuttle import Circuit, HandShuttle
from preplan.by_hand.timeline import MOST_LOADS, Fireground, HandTimeline
from preplan.errors import Finding, InputError
from preplan.render.words import printable
from preplan.rules import SMALL_TANK_GAL, ApparatusRules, RequiredFlowRules, ShuttleRules
from preplan.water.timeline import Surge

_RULES = ShuttleRules()
_BOOSTER_GAL = ApparatusRules().engine_tank_gal
_REQUIRED_MIN = float(RequiredFlowRules().required_min)
_SMALL = " to ".join(f"{gal:,.0f}" for gal in SMALL_TANK_GAL)
_Value = TypeVar("_Value")
PLOTS = (".pdf", ".png", ".svg")
"""Endings of the file of `--plot`."""
EXAMPLES = """Examples, the first steady, the second minute by minute:

\b
  preplan shuttle --tank 2000 --tank 3000 --miles-out 2 --miles-back 2
  preplan shuttle --tank 2000 --tank 3000 --min-out 6 --min-back 4
    --arrive 13 --arrive 20 --attack-engine 10 --demand 250 --events --plot shuttle.pdf
"""

Number = float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Steady:
    """The options of the circuit."""

    tank: Annotated[list[float], option("GAL", "Tank of a tanker; repeat for each.")]
    miles_out: Annotated[Number, option("MI", "Fill site to dump site, by road.")] = None
    miles_back: Annotated[Number, option("MI", "Dump site back to fill site.")] = None
    min_out: Annotated[Number, option("MIN", "The same in minutes, loaded.")] = None
    min_back: Annotated[Number, option("MIN", "The way back in minutes, empty.")] = None
    fill_gpm: Annotated[float, typer.Option(metavar="GPM", help="Rate into one tanker.")] = _RULES.fill_gpm
    site_gpm: Annotated[Number, option("GPM", "What the site gives in all. Default: fill-gpm x fill-positions.")] = None
    dump_gpm: Annotated[
        Number,
        option("GPM", f"Default: {_RULES.small_dump_gpm:g} for tanks of {_SMALL} gal, else {_RULES.other_dump_gpm:g}."),
    ] = None
    fill_hookup: Annotated[float, typer.Option(metavar="MIN", help="Connecting and breaking at the fill site.")] = (
        _RULES.fill_hookup_min
    )
    fill_maneuver: Annotated[
        float, typer.Option(metavar="MIN", help="Positioning at the fill site; holds no place.")
    ] = _RULES.fill_maneuver_min
    dump_hookup: Annotated[float, typer.Option(metavar="MIN", help="Opening and closing at the dump site.")] = (
        _RULES.dump_hookup_min
    )
    dump_maneuver: Annotated[
        float, typer.Option(metavar="MIN", help="Positioning at the dump site; holds no place.")
    ] = _RULES.dump_maneuver_min
    fill_positions: Annotated[int, typer.Option(metavar="N", help="Tankers that can fill at once.")] = 1
    dump_places: Annotated[int, typer.Option(metavar="N", help="Tankers that can dump at once.")] = _RULES.dump_places
    usable: Annotated[float, typer.Option(metavar="SHARE", help="Share of a tank that reaches the fire.")] = (
        _RULES.usable_fraction
    )
    draft_gpm: Annotated[Number, option("GPM", "Most that the dump-site engine drafts. Default: no limit.")] = None
    supply_gpm: Annotated[Number, option("GPM", "Most through the supply line to the building. Default: no limit.")] = (
        None
    )
    storage: Annotated[Number, option("GAL", "Water stored at the fill site. Default: no limit.")] = None
    refill: Annotated[Number, option("GPM", "Flow into that store. Default: 0.")] = None
    minutes: Annotated[
        Number, option("MIN", f"How long the flow must hold, and a store last. Default: {_REQUIRED_MIN:g}.")
    ] = None


@dataclass(frozen=True, slots=True, kw_only=True)
class MinuteByMinute(Steady):
    """All options: those of the circuit, and those of the timeline."""

    arrive: Annotated[
        list[float] | None,
        option(
            "MIN",
            "Minute, from the alerting of units, at which a tanker is at the dump site with its first load; repeat "
            "in the order of --tank. With --demand: water minute by minute, and all options below.",
        ),
    ] = None
    unit: Annotated[
        list[str] | None,
        option("NAME", "Name of a tanker; repeat in the order of --tank. Default: T1, T2 and so on."),
    ] = None
    demand: Annotated[Number, option("GPM", "Required flow, from the full demand on for --minutes.")] = None
    total: Annotated[Number, option("GAL", "Print the minute by which so much has arrived.")] = None
    attack_engine: Annotated[Number, option("MIN", "Attack engine's arrival. Default: with the first tanker.")] = None
    dump_engine: Annotated[
        Number,
        option("MIN", "Arrival of the engine that drafts at the dump site. Default: the attack engine drafts too."),
    ] = None
    fill_engine: Annotated[
        Number,
        option("MIN", "Fill engine's arrival at the fill site. Default: the attack engine's minute at the fire."),
    ] = None
    hydrant: Annotated[bool, switch("--hydrant", "The fill site needs no engine: the first tanker there opens it.")] = (
        False
    )
    booster: Annotated[Number, option("GAL", f"Booster tank of the attack engine. Default: {_BOOSTER_GAL:g}.")] = None
    portable: Annotated[
        list[float] | None,
        option(
            "GAL",
            "Portable tank that a tanker carries, 0: none; once for all, or repeat in the order of --tank. "
            "Default: as large as its own tank.",
        ),
    ] = None
    room: Annotated[
        Number, option("SHARE", f"Usable room of a portable tank. Default: {_RULES.tank_room_fraction:g}.")
    ] = None
    dead: Annotated[
        Number,
        option("SHARE", f"Share of a portable tank under the strainer. Default: {_RULES.dead_water_fraction:g}."),
    ] = None
    can_nurse: Annotated[
        list[int] | None, option("N", "A tanker, by its number, that has a pump and can nurse; repeat for each.")
    ] = None
    attack_gpm: Annotated[
        Number, option("GPM", f"Attack flow before the full demand. Default: {_RULES.attack_gpm:g}.")
    ] = None
    attack_setup: Annotated[
        Number, option("MIN", f"Attack engine's arrival to first water. Default: {_RULES.attack_setup_min:g}.")
    ] = None
    full_flow_after: Annotated[
        Number,
        option("MIN", f"Attack engine's arrival to the full demand. Default: {_RULES.full_flow_after_min:g}."),
    ] = None
    dump_setup: Annotated[
        Number,
        option(
            "MIN", f"First portable tank and drafting engine to dump site ready. Default: {_RULES.dump_setup_min:g}."
        ),
    ] = None
    tank_setup: Annotated[
        Number, option("MIN", f"Set-up of each further portable tank. Default: {_RULES.tank_setup_min:g}.")
    ] = None
    fill_setup: Annotated[
        Number,
        option(
            "MIN",
            f"Set-up of the fill site. Default: {_RULES.dry_hydrant_setup_min:g}, with --hydrant "
            f"{_RULES.hydrant_setup_min:g}; open water takes about {_RULES.draft_setup_min:g}.",
        ),
    ] = None
    surge: Annotated[
        Number, option("GPM", "A master stream: the demand is at least this from --surge-at for --surge-for.")
    ] = None
    surge_at: Annotated[Number, option("MIN", "Minute at which the surge begins.")] = None
    surge_for: Annotated[Number, option("MIN", "Minutes that it lasts.")] = None
    events: Annotated[bool, switch("--events", "Print the event table with every gallon.")] = False
    plot: Annotated[
        Path | None,
        option("FILE", f"Draw the timeline strip into a file; its ending says how: {', '.join(PLOTS)}."),
    ] = None
    json: Annotated[bool, switch("--json", "Print JSON, unrounded.")] = False


def shuttle(asked: MinuteByMinute) -> str:
    """Work out one tanker shuttle by hand: what it sustains, and what holds it back.

    Give the way either in miles (0.65 + 1.7 x miles minutes for each leg) or in minutes. With the arrival of each
    tanker and a demand the water is followed minute by minute: first water, when the shuttle is established, where
    too little flows, the flow it holds without a break, who queues, and which tankers bring nothing.
    """
    steady = HandShuttle(_circuit(asked))
    if not _minute_by_minute(asked):
        return steady.json() if asked.json else steady.text()
    account = HandTimeline(steady, _fireground(asked))
    if account.most_loads > MOST_LOADS:
        rule = f"would be over {MOST_LOADS:,} loads: tanks, times or rates cannot be meant so, or --minutes is too long"
        raise refused("--tank", rule)
    if asked.plot is not None:
        _draw(account, asked.plot)
    return account.json(events=asked.events) if asked.json else account.text(events=asked.events)


# --------------------------------------------------------------------------- the circuit


def _circuit(asked: MinuteByMinute) -> Circuit:
    _check(asked, ("tank", "fill_gpm", "site_gpm", "dump_gpm", "draft_gpm", "supply_gpm", "storage"), above=0)
    from preplan.inputs.apparatus import TANKER_TANK_GAL  # noqa: PLC0415 - the tables' room is slow to import

    _check(asked, ("tank",), most=TANKER_TANK_GAL[1])
    _check(asked, ("minutes",), above=0)
    _check(asked, ("fill_hookup", "fill_maneuver", "dump_hookup", "dump_maneuver", "refill"), least=0)
    _check(asked, ("usable",), above=0, most=1)
    _check(asked, ("fill_positions", "dump_places"), least=1)
    if asked.refill is not None and asked.storage is None:
        raise refused("--refill", "needs --storage: without it the source is taken as enough")
    out_min, back_min = legs_min(asked)
    return Circuit(
        tank_gal=tuple(asked.tank), out_min=out_min, back_min=back_min, fill_gpm=asked.fill_gpm,
        site_gpm=_or(asked.site_gpm, asked.fill_gpm * asked.fill_positions), dump_gpm=asked.dump_gpm,
        positions=asked.fill_positions, rules=_rules(asked), required_min=_or(asked.minutes, _REQUIRED_MIN),
        draft_gpm=_or(asked.draft_gpm, math.inf), supply_gpm=_or(asked.supply_gpm, math.inf),
        storage_gal=_or(asked.storage, math.inf), refill_gpm=_or(asked.refill, 0.0),
    )  # fmt: skip


def _rules(asked: MinuteByMinute) -> ShuttleRules:
    """Put what is given in the place of the defaults."""
    return ShuttleRules(
        fill_hookup_min=asked.fill_hookup, fill_maneuver_min=asked.fill_maneuver, dump_hookup_min=asked.dump_hookup,
        dump_maneuver_min=asked.dump_maneuver, usable_fraction=asked.usable, dump_places=asked.dump_places,
        attack_gpm=_or(asked.attack_gpm, _RULES.attack_gpm),
        attack_setup_min=_or(asked.attack_setup, _RULES.attack_setup_min),
        full_flow_after_min=_or(asked.full_flow_after, _RULES.full_flow_after_min),
        dump_setup_min=_or(asked.dump_setup, _RULES.dump_setup_min),
        tank_setup_min=_or(asked.tank_setup, _RULES.tank_setup_min),
        tank_room_fraction=_or(asked.room, _RULES.tank_room_fraction),
        dead_water_fraction=_or(asked.dead, _RULES.dead_water_fraction),
    )  # fmt: skip


def legs_min(asked: Steady) -> tuple[float, float]:
    """Give the minutes of both legs, from miles or from minutes.

    Raises
    ------
    InputError
        Unless both of one pair are given and none of the other.
    """
    _check(asked, ("miles_out", "miles_back", "min_out", "min_back"), least=0)
    by_miles, by_minutes = (asked.miles_out, asked.miles_back), (asked.min_out, asked.min_back)
    if None not in by_minutes and by_miles == (None, None):
        return by_minutes  # type: ignore[return-value]  # both are numbers
    if None not in by_miles and by_minutes == (None, None):
        from preplan.roads.speeds import rule_min  # noqa: PLC0415 - the roads' room is slow to import

        out_min, back_min = rule_min(np.array(by_miles, dtype=np.float64)).tolist()
        return out_min, back_min
    rule = "give --miles-out and --miles-back, or --min-out and --min-back: both of one pair and none of the other"
    raise InputError([Finding(file=BY_HAND, rule=rule)])


# --------------------------------------------------------------------------- minute by minute


_NEEDS = {
    "arrive": "needs --demand too, and stands once for each --tank",
    "demand": "needs --arrive too, once for each --tank",
    "": "needs --arrive, once for each --tank, and --demand",
}
"""What an option of the timeline needs besides."""


def _minute_by_minute(asked: MinuteByMinute) -> bool:
    """Tell whether the timeline is asked for; options that only it has are refused without it."""
    mine = {field.name for field in fields(MinuteByMinute)} - {field.name for field in fields(Steady)} - {"json"}
    answers = {name: getattr(asked, name) for name in sorted(mine)}
    given = [name for name, one in answers.items() if one is not None and one is not False]  # 0 equals False
    if not given:
        return False
    if asked.arrive is None or asked.demand is None:
        raise refused(option_name(given[0]), _NEEDS.get(given[0], _NEEDS[""]))
    return True


def _fireground(asked: MinuteByMinute) -> Fireground:
    _check_fireground(asked)
    tankers, arrive = len(asked.tank), tuple(asked.arrive or ())
    attack_min = _or(asked.attack_engine, min(arrive))
    portable = asked.portable or asked.tank
    setup = _RULES.hydrant_setup_min if asked.hydrant else _RULES.dry_hydrant_setup_min
    return Fireground(
        names=_names(asked), arrive_min=arrive, demand_gpm=_or(asked.demand, 0.0), attack_engine_min=attack_min,
        dump_engine_min=_or(asked.dump_engine, attack_min),
        fill_engine_min=None if asked.hydrant else _or(asked.fill_engine, attack_min),
        fill_setup_min=_or(asked.fill_setup, setup), booster_gal=_or(asked.booster, _BOOSTER_GAL),
        portable_gal=tuple(portable * tankers if len(portable) == 1 else portable),
        with_pump=frozenset(asked.can_nurse or ()), total_gal=_or(asked.total, math.nan), surge=_surge(asked),
    )  # fmt: skip


def _check_fireground(asked: MinuteByMinute) -> None:
    _check(asked, ("arrive", "attack_engine", "dump_engine", "fill_engine", "booster", "portable", "surge_at"), least=0)
    _check(asked, ("attack_setup", "full_flow_after", "dump_setup", "tank_setup", "fill_setup"), least=0)
    _check(asked, ("demand", "total", "attack_gpm", "surge", "surge_for"), above=0)
    _check(asked, ("room",), above=0, most=1)
    _check(asked, ("dead",), least=0, most=_or(asked.room, _RULES.tank_room_fraction))
    tankers = len(asked.tank)
    _check(asked, ("can_nurse",), least=1, most=tankers)
    if len(asked.arrive or ()) != tankers:
        rule = f"must be given once for each --tank, {tankers} in all, and is given {_times(asked.arrive or ())}"
        raise refused("--arrive", rule)
    if asked.portable is not None and len(asked.portable) not in {1, tankers}:
        rule = f"must be given once, or once for each --tank, {tankers} in all, and is given {_times(asked.portable)}"
        raise refused("--portable", rule)
    if asked.hydrant and asked.fill_engine is not None:
        raise refused("--hydrant", "cannot go with --fill-engine: a hydrant needs none")


def _times(given: Sequence[float]) -> str:
    return "once" if len(given) == 1 else f"{len(given)} times"


def _names(asked: MinuteByMinute) -> tuple[str, ...]:
    """Name the tankers; of equal length, so that those named here stand in the order given."""
    tankers = len(asked.tank)
    if asked.unit is None:
        return tuple(f"T{number:0{len(str(tankers))}d}" for number in range(1, tankers + 1))
    names = tuple(printable(name) for name in asked.unit)
    if len(names) != tankers or len(set(names)) != tankers or "" in names:
        raise refused("--unit", f"must be given once for each --tank, {tankers} in all, each another name")
    return names


def _surge(asked: MinuteByMinute) -> Surge | None:
    parts = asked.surge, asked.surge_at, asked.surge_for
    if parts == (None, None, None):
        return None
    if None in parts:
        raise refused("--surge", "needs --surge, --surge-at and --surge-for: all three or none")
    gpm, start_min, for_min = (float(part or 0.0) for part in parts)
    return Surge(start_min=start_min, gpm=gpm, minutes=for_min)


def _draw(account: HandTimeline, path: Path) -> None:
    """Draw the strip into a file of a folder that is there."""
    ending = one_of("--plot", path.suffix.lower(), PLOTS)
    if not path.parent.exists():
        raise refused("--plot", "lies in a folder that is not there; make it first", str(path))
    if path.exists():
        raise refused("--plot", "is there already; delete it, or choose another name", str(path))
    from preplan.render import strip_sheet  # noqa: PLC0415 - drawing is slow to import
    from preplan.write import write_file  # noqa: PLC0415 - only here

    write_file(path, strip_sheet.sheet(account.strip(), account.title(), ending), "--plot")
    written(path)


def _check(asked: Steady, names: Sequence[str], **bounds: float) -> None:
    """Hold some options to their range."""
    must_be({option_name(name): getattr(asked, name) for name in names}, **bounds)


def _or(given: _Value | None, default: _Value) -> _Value:
    return default if given is None else given
