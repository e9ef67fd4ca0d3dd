"""What differs between two runs at large: program, inputs, rules, levels, fill sites, stations, units, postings.

Each difference says on what it can act, so that an address is told only what can have changed its answer.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd

from preplan.compare.results import Results
from preplan.records import FloatArray
from preplan.render.words import level_words, number, printable
from preplan.rules import Rules, rule_lines
from preplan.units import FT_PER_M

NOTHING: frozenset[str] = frozenset()
CHANNELS = frozenset({
    "requirement", "place", "driveway", "hydrant", "label", "trip", "arrival", "flow", "site", "warnings",
})  # fmt: skip
"""On what a difference can act."""
_ROADS = frozenset({"trip", "arrival"})
INPUT_ACTS: Mapping[str, frozenset[str]] = MappingProxyType(
    {
        "addresses": frozenset({"requirement", "place", "driveway", "hydrant", "label"}),
        "apparatus": frozenset({"trip", "arrival", "flow"}),
        "bridges": _ROADS,
        "closures": _ROADS,
        "fill_sites": frozenset({"site"}),
        "hydrants": frozenset({"hydrant"}),
        "roads": _ROADS | {"requirement", "driveway", "hydrant"},
        "stations": frozenset({"arrival"}),
    }
)
"""On what each input can act, beyond what the results tell of it: district.toml is told by its rules and levels."""
RULE_ACTS: Mapping[str, frozenset[str]] = MappingProxyType(
    {
        "roads": _ROADS,
        "required_flow": frozenset({"requirement"}),
        "hydrants": frozenset({"hydrant"}),
        "shuttle": frozenset({"flow"}),
        "shuttle.stagger_min": frozenset({"arrival"}),
        "plan.months": frozenset({"flow"}),
        "plan.keep_sites": frozenset({"flow"}),
        "plan.keep_site_gain": frozenset({"flow"}),
        "plan.split_sites": frozenset({"flow"}),
        "plan.driveway_factor": frozenset({"driveway"}),
        "plan.close_share": frozenset({"warnings"}),
        "plan.long_driveway_ft": frozenset({"warnings"}),
        "apparatus": frozenset({"flow", "trip", "arrival"}),
        "apparatus.turnout_volunteer_min": frozenset({"arrival"}),
        "apparatus.turnout_staffed_min": frozenset({"arrival"}),
    }
)
"""On what each rule can act: by its own name, else by its table."""
SITE_FLOW: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "kind": ("kind", ""), "fill_gpm": ("fill rate", " gpm"), "site_gpm": ("rate in all", " gpm"),
        "storage_gal": ("storage", " gal"), "refill_gpm": ("refill", " gpm"), "low_gpm": ("low-water rate", " gpm"),
        "lift_ft": ("lift", " ft"), "positions": ("places to fill", ""), "source_id": ("source", ""),
        "turnaround": ("turning", ""), "needs_engine": ("needs an engine", ""), "months": ("months", ""),
    }
)  # fmt: skip
"""What of a fill site acts on the flow or on the trip: words and unit."""
SITE_SAYS: Mapping[str, tuple[str, str]] = MappingProxyType(
    {"name": ("name", ""), "connection": ("connection", ""), "tested": ("tested", ""), "notes": ("notes", "")}
)
"""What cards only say of a fill site."""
_STATION: Mapping[str, tuple[str, str]] = MappingProxyType(
    {"turnout_min": ("turnout", " min"), "aid": ("aid", ""), "staffed": ("staffed", "")}
)
_LIMITS: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "max_lb": ("weight", " lb"), "max_axle_lb": ("axle weight", " lb"), "max_height_ft": ("height", " ft"),
        "max_width_ft": ("width", " ft"), "operating_lb": ("operating rating", " lb"),
    }
)  # fmt: skip
MOVED_FT = 30.0
"""A place that moved by less is the same (this program's choice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RunChange:
    """One difference between two runs."""

    kind: str
    """program, date, input, rule, response level, fill site, station, unit, posting or crossing."""
    subject: str
    """Which input, rule, site and so on."""
    old: str
    new: str
    said: str
    """All of it in words."""
    acts: frozenset[str] = NOTHING
    """Of `CHANNELS`: on what it can act besides what the results tell of it themselves."""
    state: str = ""
    """Of a fill site or unit: gone, new, out, back, changed, moved, number, or says (what only the cards print)."""
    short: str = ""
    """Its name where it stands behind a cause."""


def run_changes(old: Results, new: Results) -> list[RunChange]:
    """List what differs between two runs, what is broadest first."""
    finders = (_program, _inputs, _rules, _levels, _sites, _stations, _units, _postings)
    return [change for finder in finders for change in finder(old, new)]


Found = Iterator[RunChange]


def _program(old: Results, new: Results) -> Found:
    for key, kind, word in (("version", "program", "program version"), ("date", "date", "date of the data")):
        before, after = str(old.run[key]), str(new.run[key])
        if before != after:
            acts = CHANNELS if kind == "program" else NOTHING
            yield RunChange(
                kind=kind,
                subject=key,
                old=before,
                new=after,
                said=f"{word} {_to(before, after)}",
                acts=acts,
                short=word,
            )


def _inputs(old: Results, new: Results) -> Found:
    """Tell inputs by their checksums: that one changed, not what in it."""
    before, after = old.run["inputs"], new.run["inputs"]
    for role in sorted({*before, *after}):
        was, now = (str(of.get(role, {}).get("sha256", "")) for of in (before, after))
        if was != now:
            name = str((after.get(role) or before[role]).get("name", role))
            verb = "has other content" if was and now else "is new" if now else "is no longer given"
            said = f"{printable(name)} ({role.replace('_', ' ')}) {verb}"
            yield RunChange(
                kind="input", subject=role, old=was, new=now, said=said, acts=INPUT_ACTS.get(role, NOTHING),
                short=printable(name),
            )  # fmt: skip


def _rules(old: Results, new: Results) -> Found:
    units = {f"{line.group}.{line.name}": line.unit for line in rule_lines(Rules())}
    before, after = (_flat(one.run["rules"]) for one in (old, new))
    for name in [*after, *(name for name in before if name not in after)]:
        was, now = before.get(name, ""), after.get(name, "")
        if was != now:
            unit = f" {units[name]}" if units.get(name) else ""
            acts = RULE_ACTS.get(name, RULE_ACTS.get(name.partition(".")[0], NOTHING))
            said = f"rule {name} {_to(was, now)}{unit}"
            yield RunChange(kind="rule", subject=name, old=was, new=now, said=said, acts=acts, short=f"rule {name}")


def _flat(rules: Mapping[str, Any]) -> dict[str, str]:
    """Name every rule by its table and its own name."""
    groups = [(group, names) for group, names in rules.items() if isinstance(names, dict)]
    return {f"{group}.{name}": _plain(value) for group, names in groups for name, value in names.items()}


def _plain(value: object) -> str:
    return f"{value:g}" if isinstance(value, float) else value if isinstance(value, str) else json.dumps(value)


def _levels(old: Results, new: Results) -> Found:
    """Tell response levels by their place in the list, since a name may change alone."""
    before, after = (one.run["response_levels"] for one in (old, new))
    for at in range(max(len(before), len(after))):
        was, now = (_level(of[at]) if at < len(of) else "" for of in (before, after))
        if was != now:
            name = level_words(str((after if at < len(after) else before)[at].get("name", at + 1)))
            yield RunChange(
                kind="response level",
                subject=str(at),
                old=was,
                new=now,
                said=f"{name}: {_to(was, now, 'no such level')}",
            )


def _level(level: Mapping[str, Any]) -> str:
    return f"{printable(level.get('name'))}, {level.get('engines')} engines and {level.get('tankers')} tankers"


# --------------------------------------------------------------------------- fill sites, stations, units


def _sites(old: Results, new: Results) -> Found:
    pair = _pair(old["fill_sites"], new["fill_sites"], "site_id")
    for site_id, row in pair.iterrows():
        what = f"fill site {printable(site_id)} ({printable(row['name_new'] or row['name_old'])})"
        state, verb = _standing(row)
        if state:
            yield RunChange(
                kind="fill site", subject=str(site_id), old="", new=state, said=f"{what} {verb}", state=state
            )
        if row["there"] == "both":
            moved = _moved(row)
            changed = _unlike(row, SITE_FLOW) + ([f"place by {number(moved)} ft"] if moved > MOVED_FT else [])
            driven = row["turnaround_old"] != row["turnaround_new"] or moved > MOVED_FT
            for parts, state in ((changed, "changed"), (_unlike(row, SITE_SAYS), "says")):
                if parts:
                    said = f"{what} changed: {', '.join(parts)}"
                    acts = frozenset({"trip"}) if driven and state == "changed" else NOTHING
                    yield RunChange(
                        kind="fill site", subject=str(site_id), old="", new=", ".join(parts), said=said, acts=acts,
                        state=state, short=f"fill site {printable(site_id)}",
                    )  # fmt: skip
    renumbered = pair[(pair["there"] == "both") & (pair["number_old"] != pair["number_new"])]
    for site_id, row in renumbered.iterrows():
        was, now = f"{row['number_old']:.0f}", f"{row['number_new']:.0f}"
        said = f"fill site {printable(site_id)} has number {now} on map and cards, was {was}"
        yield RunChange(kind="fill site", subject=str(site_id), old=was, new=now, said=said, state="number")


def _standing(row: pd.Series[Any]) -> tuple[str, str]:
    """Say whether a fill site came, went, or changed between in and out of service."""
    if row["there"] == "left_only":
        return "gone", "is no longer in the table"
    if row["there"] == "right_only":
        return "new", "is new" if row["in_service_new"] == "yes" else "is new, and out of service"
    if row["in_service_old"] != row["in_service_new"]:
        return ("back", "is in service again") if row["in_service_new"] == "yes" else ("out", "is out of service")
    return "", ""


def _stations(old: Results, new: Results) -> Found:
    pair = _pair(old["stations"], new["stations"], "station_id")
    for station_id, row in pair.iterrows():
        what = f"station {printable(station_id)} ({printable(row['name_new'] or row['name_old'])})"
        if row["there"] != "both":
            verb = "is new" if row["there"] == "right_only" else "is no longer in the table"
            yield RunChange(kind="station", subject=str(station_id), old="", new=verb, said=f"{what} {verb}")
            continue
        moved = _moved(row)
        parts = _unlike(row, _STATION) + ([f"place by {number(moved)} ft"] if moved > MOVED_FT else [])
        if parts:
            yield RunChange(
                kind="station", subject=str(station_id), old="", new=", ".join(parts),
                said=f"{what} changed: {', '.join(parts)}", acts=frozenset({"arrival"}),
                short=f"station {printable(station_id)}",
            )  # fmt: skip


def units_in_service(results: Results) -> dict[str, str]:
    """Give the station of each unit in service."""
    stations = results["stations"]
    return {
        unit: str(station)
        for station, units in zip(stations["station_id"], stations["units"], strict=True)
        for unit in results.units_of(units)
    }


def _units(old: Results, new: Results) -> Found:
    before, after = units_in_service(old), units_in_service(new)
    for unit in sorted({*before, *after}):
        was, now = before.get(unit, ""), after.get(unit, "")
        if was == now:
            continue
        state = "moved" if was and now else "new" if now else "gone"
        verb = {
            "moved": f"stands at station {printable(now)}, was at {printable(was)}", "new": "is new in service",
            "gone": "is no longer in service",
        }[state]  # fmt: skip
        yield RunChange(kind="unit", subject=unit, old=was, new=now, said=f"{printable(unit)} {verb}", state=state)


# --------------------------------------------------------------------------- roads


def _postings(old: Results, new: Results) -> Found:
    """Tell limits of ways, and bridges that chosen trips crossed and none does now, where it is not for the sites."""
    pair = _pair(_by_way(old["bridges"]), _by_way(new["bridges"]), "way_id")
    for way, row in pair.iterrows():
        road = row["road_new"] or row["ref_new"] or row["road_old"] or row["ref_old"]
        name = road if isinstance(road, str) and road else "a road without a name"
        parts = _unlike(row, _LIMITS, "none recorded")
        if parts:
            said = f"limits of {printable(name)} (way {way}): {', '.join(parts)}"
            yield RunChange(
                kind="posting",
                subject=str(way),
                old="",
                new=", ".join(parts),
                said=said,
                acts=_ROADS,
                short=f"limits of {printable(name)}",
            )
    crossed = pair["trips_old"].fillna(0.0).to_numpy(), pair["trips_new"].fillna(0.0).to_numpy()
    for at in np.flatnonzero((crossed[0] > 0) & (crossed[1] == 0)).tolist():
        row = pair.iloc[at]
        name = row["road_old"] or row["ref_old"] or "a road without a name"
        was = f"{crossed[0][at]:.0f}"
        said = (
            f"bridge of {printable(name)} (way {pair.index[at]}): {was} legs of the trips chosen crossed it, none now"
        )
        yield RunChange(kind="crossing", subject=str(pair.index[at]), old=was, new="0", said=said)


def _by_way(bridges: pd.DataFrame) -> pd.DataFrame:
    """Join the stretches of each way: the lowest of each limit, and the most trips."""
    trips = bridges["loaded_trips"].fillna(0.0) + bridges["empty_trips"].fillna(0.0)
    least = dict.fromkeys(_LIMITS, "min")
    return (
        bridges.assign(trips=trips)
        .groupby("way_id", as_index=False, sort=True)
        .agg({"road": "first", "ref": "first", **least, "trips": "max"})
    )


# --------------------------------------------------------------------------- parts


def _pair(old: pd.DataFrame, new: pd.DataFrame, key: str) -> pd.DataFrame:
    """Put the rows of two tables side by side, by key in order; `there` says in which they are."""
    columns = [name for name in old.columns if name != key]
    before, after = (
        one.rename(columns={name: f"{name}{end}" for name in columns}) for one, end in ((old, "_old"), (new, "_new"))
    )
    pair = before.merge(after, on=key, how="outer", indicator="there", sort=True).set_index(key)
    texts = [
        f"{name}{end}" for name in columns for end in ("_old", "_new") if not pd.api.types.is_numeric_dtype(old[name])
    ]
    pair[texts] = pair[texts].fillna("")
    return pair


def _unlike(row: pd.Series[Any], columns: Mapping[str, tuple[str, str]], none: str = "not known") -> list[str]:
    """Say in which columns a row of a pair differs."""
    found = []
    for name, (word, unit) in columns.items():
        was, now = (_cell(row[f"{name}{end}"], unit) for end in ("_old", "_new"))
        if was != now:
            found.append(f"{word} {_to(was, now, none)}")
    return found


def _cell(value: object, unit: str) -> str:
    """Write a cell with its unit, '' where it is not known."""
    if isinstance(value, float):
        return "" if np.isnan(value) else f"{number(value, 0 if value.is_integer() else 1)}{unit}"
    return printable(value)


def _to(old: str, new: str, none: str = "not known") -> str:
    return f"{printable(old) or none} -> {printable(new) or none}"


def _moved(row: pd.Series[Any]) -> float:
    """Measure how far a point of a pair moved, feet."""
    return float(moved_ft(*(_lonlat([row[f"geom{end}"]]) for end in ("_old", "_new")))[0])


def _lonlat(points: Sequence[bytes]) -> FloatArray:
    """Read points of WKB, shape (points, 2)."""
    import shapely  # noqa: PLC0415 - slow to import

    return np.asarray(shapely.get_coordinates(shapely.from_wkb(list(points))), dtype=np.float64)


def moved_ft(old: FloatArray, new: FloatArray) -> FloatArray:
    """Measure how far points moved, feet on the ellipsoid; points as (n, 2) of lon, lat."""
    from pyproj import Geod  # noqa: PLC0415 - slow to import

    _, _, metres = Geod(ellps="WGS84").inv(old[:, 0], old[:, 1], new[:, 0], new[:, 1])
    return np.asarray(metres, dtype=np.float64) * FT_PER_M


def behind(changes: Sequence[RunChange], channel: str) -> list[RunChange]:
    """Pick the differences at large that can act on something."""
    return [change for change in changes if channel in change.acts]
