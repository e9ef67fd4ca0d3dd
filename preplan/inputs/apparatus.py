"""The station and apparatus tables. What a neighbour did not say is filled from the rules and named."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Mapping
from collections.abc import Set as AbstractSet
from functools import partial
from typing import Any

import numpy as np

from preplan.errors import Finding
from preplan.inputs import bounds, cells
from preplan.inputs.sheet import Sheet
from preplan.records import BoolArray, FloatArray, Station, TextArray, Unit
from preplan.rules import ApparatusRules, Rules
from preplan.units import L_PER_GAL, LB_PER_GAL, LB_PER_KG

UNIT_KINDS: Mapping[str, str] = {
    "engine": "engine",
    "pumper": "engine",
    "tanker": "tanker",
    "tender": "tanker",
    "water tender": "tanker",
    **dict.fromkeys(("pumper-tanker", "pumper tanker", "pumper-tender", "pumper tender"), "pumper-tanker"),
}
"""Accepted spellings of a kind of apparatus."""
_OTHER_TRUCK = "leave out the row of a unit that brings no water and pumps none"
KIND_HINTS: Mapping[str, str] = {
    "quint": "write engine where it pumps and carries a tank and supply hose; else leave the row out",
    **dict.fromkeys(
        ("ladder", "aerial", "tower", "brush", "wildland", "rescue", "ambulance", "utility", "command", "chief",
         "squad", "hazmat", "boat", "utv", "atv", "type 3", "type 4", "type 5", "type 6", "type 7"), _OTHER_TRUCK
    ),
    **dict.fromkeys(("tender", "tanker"), "write tanker, or pumper-tanker where it serves as an engine too"),
    **dict.fromkeys(("engine", "pumper", "type 1", "type 2"), "write engine"),
    "combination": "write pumper-tanker, which serves as an engine or as a tanker",
    "truck": _OTHER_TRUCK,
}  # fmt: skip
"""What to do about other words for a kind, by a part of them, the first that fits (this program's choice)."""
AID_HINTS: Mapping[str, str] = {
    "mutual": "write on request where it is asked for, automatic where it rolls with the alarm",
    "auto": "write automatic",
}
"""The same of aid."""
AID: Mapping[str, str] = {
    **{word: word for word in ("own", "automatic", "on request")},
    "auto": "automatic",
    "mutual": "on request",
    "request": "on request",
}
TANKER_TANK_GAL = (100.0, 20000.0)
"""No tanker's tank is smaller, and no truck's larger (from memory: brush trucks carry 200 gal, trailers 10,000)."""
LEAST_TRUCK_LB_PER_GAL = 2.0
"""The lightest trailer weighs more for each gallon of its tank (from memory: some 4 lb)."""
CONTENTS_SHARE = 0.8
"""Loaded less empty weight that is less than this share of the water is worth a look."""

ALIKE_NAMED = 5
"""Units that a note names of those whose ids are alike."""
_MARKS = re.compile(r"[\s._\u2010-\u2015-]+")
"""What one person writes into the name of a unit and another leaves out."""

_LIMITS: Mapping[str, Mapping[str, Any]] = {
    "tank_gal": {"low": 0.0},
    "pump_gpm": {"low": 0.0},
    "dump_gpm": {"above": 0.0},
    "intake_gpm": {"above": 0.0},
    "self_fill_gpm": {"above": 0.0},
    "loaded_lb": {"above": 0.0},
    "empty_lb": {"above": 0.0},
    "axle_lb": {"above": 0.0},
    "height_ft": {"above": 0.0},
    "width_ft": {"above": 0.0},
    "max_mph": {"above": 0.0},
    "portable_tank_gal": {"low": 0.0},
    "usable_fraction": {"above": 0.0, "high": 1.0},
    "supply_hose_ft": {"low": 0.0},
    "supply_hose_in": {"above": 0.0},
}


def read_stations(sheet: Sheet, rules: ApparatusRules) -> tuple[Station, ...]:
    """Check every cell and build the stations without a fault, in the order of the table."""
    name = sheet.text("name", required=True)
    lon, lat = sheet.place()
    staffed = sheet.yes_no("staffed", cells.STAFFED) == 1.0  # an empty cell is a volunteer station, the slower one
    turnout = sheet.number("turnout_min", low=0.0, bound=bounds.STATIONS["turnout_min"])
    turnout = np.where(
        np.isnan(turnout), np.where(staffed, rules.turnout_staffed_min, rules.turnout_volunteer_min), turnout
    )
    aid = sheet.word("aid", AID, hints=AID_HINTS)
    most = {column: sheet.number(column, low=0.0, whole=True) for column in ("max_engines", "max_tankers")}
    return tuple(
        Station(
            station_id=sheet.id[i],
            name=name[i],
            lon=float(lon[i]),
            lat=float(lat[i]),
            turnout_min=float(turnout[i]),
            staffed=bool(staffed[i]),
            aid=aid[i] or "own",
            **{column: None if np.isnan(values[i]) else int(values[i]) for column, values in most.items()},
            file=sheet.file,
            row=int(sheet.row[i]),
        )
        for i in np.flatnonzero(sheet.good).tolist()
    )


def read_apparatus(sheet: Sheet, rules: Rules, station_ids: AbstractSet[str] | None) -> tuple[Unit, ...]:
    """Check every cell and build the units without a fault, in the order of the table.

    Parameters
    ----------
    station_ids
        Ids of the station table; None where it could not be read, and then stations are not checked.
    """
    kind = sheet.word("kind", UNIT_KINDS, required=True, hints=KIND_HINTS)
    station = sheet.text("station_id", required=True)
    if station_ids is not None:
        unknown = np.array([one not in station_ids and one != "" for one in station], dtype=np.bool_)
        sheet.fault(unknown, "station_id", f"is no station_id of the stations ({', '.join(sorted(station_ids))})")
    said = {
        column: sheet.number(column, bound=bounds.APPARATUS.get(column), **limits) for column, limits in _LIMITS.items()
    }
    _check_units(sheet, kind, said)
    used = _filled(kind, said, rules)
    _check_weights(sheet, kind, said, used)
    in_service = sheet.in_service() != 0.0
    _note_blanks(sheet)
    _note_alike(sheet, in_service)
    assumed = {column: np.isnan(said[column]) & ~np.isnan(used[column]) for column in _LIMITS}
    return tuple(
        Unit(
            unit_id=sheet.id[i],
            station_id=station[i],
            kind=kind[i],
            in_service=bool(in_service[i]),
            assumed=tuple(column for column, filled in assumed.items() if filled[i]),
            **_numbers(used, i),
        )
        for i in np.flatnonzero(sheet.good).tolist()
    )


def _note_blanks(sheet: Sheet) -> None:
    """Note units whose ids hold blanks: so are the units of a cell of the results parted."""
    blank = [one for one in sheet.id.tolist() if " " in one]
    if blank:
        more = f" and {len(blank) - 1:,} more" if blank[1:] else ""
        sheet.note(
            f"unit_id {blank[0]!r}{more}: has a blank; pages name such units whole, but tables of the results part "
            "units by blanks, and a dispatch system reads two: is there an id without, such as T3 or Tanker-3?"
        )


def _note_alike(sheet: Sheet, in_service: BoolArray) -> None:
    """Note units whose ids tell them apart by marks alone; those that differ only in capitals are noted already."""
    alike: defaultdict[str, dict[str, str]] = defaultdict(dict)
    for i in np.flatnonzero(in_service).tolist():
        folded = sheet.id[i].casefold()
        alike[_MARKS.sub("", folded)].setdefault(folded, f"{sheet.id[i]} (row {sheet.row[i]})")
    twice = [" and ".join(same.values()) for same in alike.values() if len(same) > 1]
    if twice:
        more = f", and {len(twice) - ALIKE_NAMED:,} more likewise" * (len(twice) > ALIKE_NAMED)
        sheet.note(
            f"unit_id {', '.join(twice[:ALIKE_NAMED])}{more}: may be one unit counted twice; they are taken as two. "
            "Take out the row that stands for none."
        )


def _numbers(used: Mapping[str, FloatArray], i: int) -> dict[str, Any]:
    """Take one unit's numbers; what nobody knows is None."""
    return {column: None if np.isnan(values[i]) else float(values[i]) for column, values in used.items()}


def _check_units(sheet: Sheet, kind: TextArray, said: Mapping[str, FloatArray]) -> None:
    """Refuse a tanker without a tank, a tank no tanker has, and an engine without a pump."""
    tank, hauls = said["tank_gal"], kind != "engine"
    sheet.fault(hauls & (tank <= 0.0), "tank_gal", "must be above 0 for a tanker")
    small, large = TANKER_TANK_GAL
    sheet.fault(
        hauls & (tank > 0.0) & (tank < small), "tank_gal",
        f"is no tanker's tank (under {small:g} gal): write 2500 or 2,500 for two and a half thousand",
    )  # fmt: skip
    sheet.fault(tank > large, "tank_gal", f"is no fire truck's tank (over {large:,g} gal): is it in liters?")
    few = (kind == "engine") & (tank >= bounds.ENGINE_TANK.low) & (tank < bounds.ENGINE_TANK.few)
    sheet.ask(few, "tank_gal", tank, lambda gal: bounds.seldom("gal", gal, bounds.ENGINE_TANK))
    for one, most in bounds.SELDOM_TANK_GAL.items():
        much = (kind == one) & (tank > most) & (tank <= large)
        sheet.ask(much, "tank_gal", tank, partial(_much_tank, one, most))
    sheet.fault(
        np.isin(kind, ("engine", "pumper-tanker")) & (said["pump_gpm"] <= 0.0),
        "pump_gpm",
        "must be above 0 for an engine",
    )


def _much_tank(kind: str, most_gal: float, gal: float) -> str:
    """Ask whether a large tank is in liters."""
    meant = f"{gal / L_PER_GAL:,.0f}"
    one = f"an {kind}" if kind == "engine" else f"a {kind}"
    return f"is much for {one}, seldom above {most_gal:,.0f} gal: is it in liters? Then write {meant}"


def _filled(kind: TextArray, said: Mapping[str, FloatArray], rules: Rules) -> dict[str, FloatArray]:
    """Fill every missing number of the units from the rules; those that may stay unknown stay NaN."""
    used = dict(said)
    own, shuttle = rules.apparatus, rules.shuttle
    pumps = np.isin(kind, ("engine", "pumper-tanker"))

    def fill(column: str, default: float | FloatArray) -> None:
        used[column] = np.where(np.isnan(said[column]), default, said[column])

    fill("tank_gal", np.where(kind == "engine", own.engine_tank_gal, own.tanker_tank_gal))
    tank = used["tank_gal"]
    # what little water one may count on, and what heavy truck a bridge may have to bear, are two questions
    heavy = (kind != "engine") & np.isnan(said["tank_gal"])
    weighed_gal = np.where(heavy, np.maximum(tank, own.heavy_tank_gal), tank)
    fill("pump_gpm", np.where(pumps, own.engine_pump_gpm, np.nan))
    fill("dump_gpm", shuttle.dump_gpm(tank))
    fill("intake_gpm", shuttle.intake_gpm)
    by_tank = own.chassis_lb + own.lb_per_tank_gal * weighed_gal
    by_kind = np.where(pumps, np.maximum(by_tank, own.engine_loaded_lb), by_tank)
    # an empty weight that is known says more than the rule, unless it contradicts it altogether
    with_water = said["empty_lb"] + LB_PER_GAL * weighed_gal
    fill("loaded_lb", np.where(said["empty_lb"] <= by_kind, np.maximum(by_kind, with_water), by_kind))
    fill("empty_lb", used["loaded_lb"] - LB_PER_GAL * np.where(np.isnan(said["loaded_lb"]), weighed_gal, tank))
    fill("axle_lb", own.axle_share * used["loaded_lb"])
    fill("height_ft", own.height_ft)
    fill("width_ft", own.width_ft)
    fill("max_mph", rules.roads.top_mph)
    # without any portable tank nothing could be dumped: a cell of 0 says that a tanker carries none
    fill("portable_tank_gal", np.where(kind == "engine", 0.0, own.portable_share * tank))
    vacuum = ~np.isnan(said["self_fill_gpm"])
    fill("usable_fraction", np.where(vacuum, shuttle.vacuum_usable_fraction, shuttle.usable_fraction))
    fill("supply_hose_ft", np.where(pumps, shuttle.supply_hose_ft, 0.0))  # the default is what an engine carries
    fill("supply_hose_in", shuttle.supply_hose_in)
    return used


def _check_weights(
    sheet: Sheet, kind: TextArray, said: Mapping[str, FloatArray], used: Mapping[str, FloatArray]
) -> None:
    """Refuse weights that contradict the tank or one another, and note a truck too heavy for its tank."""
    loaded, empty = used["loaded_lb"], said["empty_lb"]
    water_lb = LB_PER_GAL * used["tank_gal"]
    heavy = (sheet.cells("loaded_lb") == "") | ~np.isnan(said["loaded_lb"])  # else it is told, and a default stands in
    truckless = heavy & (loaded - water_lb < LEAST_TRUCK_LB_PER_GAL * used["tank_gal"])
    for i in np.flatnonzero(truckless).tolist():
        less = "less" if loaded[i] <= water_lb[i] else "hardly more"
        water = f"the {used['tank_gal'][i]:,.0f} gal of its tank weigh, {water_lb[i]:,.0f} lb"
        rule = f"is {less} than {water}: which of the two is wrong, and is one in liters or tons?"
        sheet.fault_at(i, "loaded_lb", sheet.cells("loaded_lb")[i], rule)
    for column, part in (("empty_lb", empty), ("axle_lb", said["axle_lb"])):
        more = heavy & (part > loaded)
        sheet.fault(more & ~np.isnan(said["loaded_lb"]), column, "is more than the loaded weight")
        for i in np.flatnonzero(more & np.isnan(said["loaded_lb"])).tolist():
            rule = (
                f"is more than such a unit usually weighs loaded, {loaded[i]:,.0f} lb: if it is right, give loaded_lb"
            )
            sheet.fault_at(i, column, sheet.cells(column)[i], rule)
    truck_lb = said["loaded_lb"] - LB_PER_GAL * said["tank_gal"]  # of a tank that nobody gave nothing is asked
    for i in np.flatnonzero((kind == "tanker") & (truck_lb > bounds.TRUCK_LB)).tolist():
        sheet.note(
            f"row {sheet.row[i]} ({sheet.id[i]}): with {used['tank_gal'][i]:,.0f} gal in tank_gal, loaded_lb leaves "
            f"{truck_lb[i]:,.0f} lb for the truck alone: is a digit of either wrong?"
        )
    _ask_contents(sheet, loaded, empty, water_lb)


def _ask_contents(sheet: Sheet, loaded: FloatArray, empty: FloatArray, water_lb: FloatArray) -> None:
    """Ask about weights between which the water does not fit, and whether they are kilograms where it then would."""
    contents = loaded - empty
    light = (contents >= 0.0) & (contents < CONTENTS_SHARE * water_lb)
    metric = light & (contents * LB_PER_KG >= CONTENTS_SHARE * water_lb)

    def ask(such: BoolArray, asked: str) -> None:
        if such.any():
            i = int(np.argmax(such))
            lb = f"less empty_lb is {contents[i]:,.0f} lb, but the water in the tank weighs {water_lb[i]:,.0f} lb"
            sheet.ask(such, "loaded_lb", loaded, lambda _: f"{lb}: {asked}")

    ask(metric, "are they kilograms? Then give pounds")
    ask(light & ~metric, "is one of them wrong?")


def fleet_findings(units: tuple[Unit, ...], file: str) -> list[Finding]:
    """Say what kind of unit is wanting; a pumper-tanker is either, never both."""
    kinds = [unit.kind for unit in units if unit.in_service]
    either = kinds.count("pumper-tanker")
    wanting = [kind for kind in ("engine", "tanker") if not kinds.count(kind) + either]
    if not wanting and len(kinds) < 2:
        wanting = ["second unit: a pumper-tanker is engine or tanker, not both"]
    return [Finding(file=file, column="kind", rule=f"no {kind} is in service") for kind in wanting]
