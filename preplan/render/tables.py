"""The tables a spreadsheet or a dispatch system reads: CSV as bytes, in UTF-8, with LF and an empty cell for not known.

Here numbers are rounded, and nowhere before: minutes to 0.1, miles to 0.01, gallons, gallons a minute and feet
to whole numbers, a supply downward and a need upward. The columns are typed until the very end, so that other
formats print the same numbers.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

import numpy as np
import numpy.typing as npt

from preplan.months import month_words
from preplan.plan_tables import ROUNDING_GPM, at_level, flow_at_level, text_at_level
from preplan.records import BoolArray, FloatArray, IntArray, TextArray, text_array

if TYPE_CHECKING:
    from preplan.plan import Plan
    from preplan.plan_inputs import Rejected

ADDRESS_COLUMNS = (
    "address_id", "label", "lon", "lat", "status", "response_level", "required_gpm", "required_gal",
    "required_min", "required_basis", "fill_site_id", "backup_site_id", "split_site_id", "out_min", "back_min",
    "round_trip_min", "round_trip_mi", "cycle_min", "sustained_gpm", "uninterrupted_gpm", "limited_by",
    "first_water_min", "mws_by_min", "gap_min", "short_gal", "call_by_min", "tankers", "driveway_ft", "flags",
    "deciding_months",
)  # fmt: skip
"""Columns of addresses.csv, in order."""
LEVEL_COLUMNS = (
    "address_id", "response_level", "fill_site_id", "tankers", "left_out", "sustained_gpm", "uninterrupted_gpm",
    "uninterrupted_on_arrival_gpm", "gap_min", "gap_on_arrival_min", "one_out_gpm", "limited_by", "meets",
    "split_site_id", "average_gpm", "deciding_months",
)  # fmt: skip
"""Columns of levels.csv, in order."""
SEASON_COLUMNS = (
    "address_id", "response_level", "months", "decides", "fill_site_id", "split_site_id", "uninterrupted_gpm",
    "average_gpm", "meets", "backup_site_id", "backup_gpm",
)  # fmt: skip
"""Columns of seasons.csv, in order."""
TRIP_COLUMNS = (
    "address_id", "site_id", "out_min", "out_mi", "back_min", "back_mi", "posted_avoided_min", "unposted_bridges",
    "in_service",
)  # fmt: skip
"""Columns of trips.csv, in order."""
HAUL_COLUMNS = (
    "address_id", "response_level", "unit_id", "arrives_min", "loads", "fill_queue_min", "dump_queue_min", "room_min",
    "loads_on_arrival", "fill_queue_on_arrival_min", "dump_queue_on_arrival_min", "room_on_arrival_min",
    "gpm_without", "adds",
)  # fmt: skip
"""Columns of tankers.csv, in order."""
CARD_COLUMNS = (
    "address_id", "road", "file", "page", "units", "attack_engine", "fill_engine", "dump_engine", "split_engine",
    "seasons", "from_station", "sheets", "near_fill_site",
)  # fmt: skip
"""Columns of cards.csv, in order."""
REJECTED_COLUMNS = ("file", "row", "id", "column", "value", "rule")
"""Columns of rejected.csv, in order."""
NOISE = 1e-6
"""What arithmetic may leave above or below a whole number; less is not rounded away from it."""
FORMULA_STARTS = frozenset("=+-@\t\r\n")
"""First characters at which a spreadsheet may take a text for a formula."""
NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""What XML 1.0 cannot hold, even escaped (Extensible Markup Language 1.0, production 2)."""
_BREAKS = str.maketrans(dict.fromkeys("\r\n\v\f\x00\x1c\x1d\x1e\x85\u2028\u2029", " "))


@dataclass(frozen=True, slots=True)
class Numbers:
    """A column of numbers, rounded as it is printed; NaN where not known."""

    values: FloatArray
    decimals: int


Cells: TypeAlias = Numbers | Sequence[str]
"""One column: numbers, or texts with '' where not known."""


# --------------------------------------------------------------------------- rounding


def minutes(values_min: FloatArray) -> Numbers:
    """Round to 0.1 min; no way (inf) is not known."""
    return numbers(np.round(values_min, 1), 1)


def miles(values_mi: FloatArray) -> Numbers:
    """Round to 0.01 mi."""
    return numbers(np.round(values_mi, 2), 2)


def supply(values: FloatArray) -> Numbers:
    """Round gallons or gpm that are there: down.

    >>> supply(np.array([236.8, 249.9999999, np.nan])).values.tolist()
    [236.0, 250.0, nan]
    """
    return numbers(np.floor(values + NOISE), 0)


def need(values: FloatArray) -> Numbers:
    """Round gallons, gpm or feet of hose that are needed: up.

    >>> need(np.array([236.2, 250.0000001])).values.tolist()
    [237.0, 250.0]
    """
    return numbers(np.ceil(values - NOISE), 0)


def numbers(values: FloatArray, decimals: int) -> Numbers:
    """Turn infinities into NaN, and minus zero into zero."""
    return Numbers(np.where(np.isfinite(values), values, np.nan) + 0.0, decimals)


# --------------------------------------------------------------------------- columns


def address_columns(plan: Plan) -> dict[str, Cells]:
    """Return the columns of addresses.csv by name, one row an address, before they become text."""
    addresses, levels, level = plan.addresses, plan.levels, plan.answers.level
    trip = at_level(levels.trip, level)
    site_ids = [site.site_id for site in plan.sites]
    out_min, back_min = _from_trip(plan.trips.out_min, trip), _from_trip(plan.trips.back_min, trip)
    shown = np.where(np.isin(plan.answers.status, ("served", "higher level")), level, -1)
    return _in_order(ADDRESS_COLUMNS, {
        "address_id": addresses.address_id.tolist(),
        "label": addresses.label.tolist(),
        "lon": numbers(np.round(addresses.lon, 6), 6),
        "lat": numbers(np.round(addresses.lat, 6), 6),
        "status": plan.answers.status.tolist(),
        "response_level": named([one.name for one in plan.district.levels], shown),
        "required_gpm": need(plan.needs.required_gpm),
        "required_gal": need(plan.needs.required_gal),
        "required_min": minutes(plan.needs.required_min),
        "required_basis": plan.needs.basis.tolist(),
        "fill_site_id": named(site_ids, at_level(levels.site, level)),
        "backup_site_id": named(site_ids, at_level(levels.backup, level)),
        "split_site_id": named(site_ids, at_level(levels.split, level)),
        "out_min": minutes(out_min),
        "back_min": minutes(back_min),
        "round_trip_min": minutes(out_min + back_min),
        "round_trip_mi": miles(_from_trip(plan.trips.out_mi, trip) + _from_trip(plan.trips.back_mi, trip)),
        "cycle_min": minutes(flow_at_level(levels.cycle_min, level)),
        "sustained_gpm": supply(flow_at_level(levels.sustained_gpm, level)),
        "uninterrupted_gpm": supply(flow_at_level(levels.uninterrupted_gpm, level)),
        "limited_by": text_at_level(levels.limited_by, level).tolist(),
        "first_water_min": minutes(plan.answers.first_water_min),
        "mws_by_min": minutes(plan.answers.mws_by_min),
        "gap_min": minutes(plan.answers.gap_min),
        "short_gal": need(plan.answers.short_gal),
        "call_by_min": minutes(plan.answers.call_by_min),
        "tankers": units_by_arrival(plan, plan.answers.shown_units(levels.used), np.arange(len(addresses))),
        "driveway_ft": need(plan.frontages.driveway_ft),
        "flags": ["; ".join(map(str, flags)) for flags in plan.answers.flags],
        "deciding_months": text_at_level(deciding_months(plan), level).tolist(),
    })  # fmt: skip


def level_columns(plan: Plan) -> dict[str, Cells]:
    """Return the columns of levels.csv by name: one row an address and level, levels lowest first."""
    levels = plan.levels
    n_levels = len(plan.district.levels)
    address = np.repeat(np.arange(len(plan.addresses)), n_levels)
    return _in_order(LEVEL_COLUMNS, {
        "address_id": plan.addresses.address_id[address].tolist(),
        "response_level": [one.name for one in plan.district.levels] * len(plan.addresses),
        "fill_site_id": named([site.site_id for site in plan.sites], levels.site.ravel()),
        "tankers": units_by_arrival(plan, levels.used.reshape(len(address), len(plan.units)), address),
        "left_out": units_by_arrival(plan, _left_out(plan).reshape(len(address), len(plan.units)), address),
        "sustained_gpm": supply(levels.sustained_gpm.ravel()),
        "uninterrupted_gpm": supply(levels.uninterrupted_gpm.ravel()),
        "uninterrupted_on_arrival_gpm": supply(levels.on_arrival_gpm.ravel()),
        "gap_min": minutes(levels.gap_min.ravel()),
        "gap_on_arrival_min": minutes(levels.gap_on_arrival_min.ravel()),
        "one_out_gpm": supply(levels.one_out_gpm.ravel()),
        "limited_by": levels.limited_by.ravel().tolist(),
        "meets": _meets(plan),
        "split_site_id": named([site.site_id for site in plan.sites], levels.split.ravel()),
        "average_gpm": supply(np.minimum(levels.brings_gpm, plan.needs.required_gpm[:, None]).ravel()),
        "deciding_months": deciding_months(plan).ravel().tolist(),
    })  # fmt: skip


def season_columns(plan: Plan) -> dict[str, Cells]:
    """Return the columns of seasons.csv by name: a row an address, level and months in which all of it is the same."""
    seasons = _by_season(plan)
    address, level, season = np.nonzero(np.moveaxis(seasons.alike == _own(seasons.alike), 0, -1))
    cell = season, address, level
    site_ids = [site.site_id for site in plan.sites]
    decides = _deciding(plan, seasons)[address, level] == season
    return _in_order(SEASON_COLUMNS, {
        "address_id": plan.addresses.address_id[address].tolist(),
        "response_level": named([one.name for one in plan.district.levels], level.astype(np.int32)),
        "months": _months(plan, seasons, season, address, level),
        "decides": np.where(decides, "yes", "no").tolist(),
        "fill_site_id": named(site_ids, seasons.site[cell]),
        "split_site_id": named(site_ids, seasons.split[cell]),
        "uninterrupted_gpm": supply(seasons.held_gpm[cell]),
        "average_gpm": supply(seasons.average_gpm[cell]),
        "meets": np.where(_unasked(plan)[address, level], "", np.where(seasons.meets[cell], "yes", "no")).tolist(),
        "backup_site_id": named(site_ids, seasons.backup[cell]),
        "backup_gpm": supply(seasons.backup_gpm[cell]),
    })  # fmt: skip


def trip_columns(plan: Plan) -> dict[str, Cells]:
    """Return the columns of trips.csv by name: one row a kept round trip, to fill sites out of service too."""
    trips = plan.trips
    serves = np.array([site.in_service for site in plan.sites], dtype=np.bool_)
    return _in_order(TRIP_COLUMNS, {
        "address_id": plan.addresses.address_id[trips.address].tolist(),
        "site_id": named([site.site_id for site in plan.sites], trips.site),
        "out_min": minutes(trips.out_min),
        "out_mi": miles(trips.out_mi),
        "back_min": minutes(trips.back_min),
        "back_mi": miles(trips.back_mi),
        "posted_avoided_min": minutes(trips.posted_avoided_min),
        "unposted_bridges": numbers(trips.unposted_bridges.astype(np.float64), 0),
        "in_service": np.where(serves[trips.site], "yes", "no").tolist(),
    })  # fmt: skip


def haul_columns(plan: Plan) -> dict[str, Cells]:
    """Return the columns of tankers.csv by name: one row an address, level and tanker in use, by arrival."""
    hauls, address = plan.hauls, plan.hauls.address
    return _in_order(HAUL_COLUMNS, {
        "address_id": plan.addresses.address_id[address].tolist(),
        "response_level": named([one.name for one in plan.district.levels], hauls.level),
        "unit_id": named([unit.unit_id for unit in plan.units], hauls.unit),
        "arrives_min": minutes(plan.arrival_min[address, hauls.unit]),
        "loads": numbers(hauls.loads, 0),
        "fill_queue_min": minutes(hauls.fill_wait_min),
        "dump_queue_min": minutes(hauls.dump_wait_min),
        "room_min": minutes(hauls.room_wait_min),
        "loads_on_arrival": numbers(hauls.called_loads, 0),
        "fill_queue_on_arrival_min": minutes(hauls.called_fill_wait_min),
        "dump_queue_on_arrival_min": minutes(hauls.called_dump_wait_min),
        "room_on_arrival_min": minutes(hauls.called_room_wait_min),
        "gpm_without": supply(hauls.without_gpm),
        "adds": np.where(hauls.adds, "yes", "no").tolist(),
    })  # fmt: skip


def rejected_columns(rejected: Sequence[Rejected]) -> dict[str, Cells]:
    """Return the columns of rejected.csv by name: one row a fault, with the row of the spreadsheet (header: 1)."""
    row = Numbers(np.array([one.row for one in rejected], dtype=np.float64), 0)
    return {name: row if name == "row" else [getattr(one, name) for one in rejected] for name in REJECTED_COLUMNS}


def units_by_arrival(plan: Plan, mask: BoolArray, address: npt.NDArray[np.integer]) -> list[str]:
    """Name the units of each row of a mask by their arrival at the row's address, space between.

    The same order as `Plan.unit_ids`, for many rows at once: units stand in the order of their ids, so a
    stable sort by arrival breaks ties as that does.

    Parameters
    ----------
    plan
        The plan.
    mask
        Units to name, shape (rows, units).
    address
        Index of the address of each row.
    """
    order = np.argsort(plan.arrival_min, axis=1, kind="stable")[address]
    row, place = np.nonzero(np.take_along_axis(mask, order, axis=1))
    names = text_array([unit.unit_id for unit in plan.units])[order[row, place]].tolist()
    ends = np.cumsum(np.bincount(row, minlength=len(mask))).tolist()
    return [" ".join(names[start:end]) for start, end in zip([0, *ends[:-1]], ends, strict=True)] if ends else []


def _left_out(plan: Plan) -> BoolArray:
    """Mark the tankers that are sent and do not shuttle, where there is a shuttle at all."""
    levels = plan.levels
    left: BoolArray = levels.tankers & ~levels.used & (levels.site >= 0)[..., None]
    return left


def _meets(plan: Plan) -> list[str]:
    """Say yes or no; nothing where a hydrant made the question idle and no flow was computed."""
    words: list[str] = np.where(_unasked(plan), "", np.where(plan.levels.meets, "yes", "no")).ravel().tolist()
    return words


def _unasked(plan: Plan) -> BoolArray:
    """Mask the (addresses, levels) for which no flow was computed, since a hydrant is near."""
    unasked: BoolArray = (plan.answers.status == "hydrant")[:, None] & np.isnan(plan.levels.uninterrupted_gpm)
    return unasked


def _in_order(names: Iterable[str], columns: Mapping[str, Cells]) -> dict[str, Cells]:
    """Put columns into the order of the contract."""
    return {name: columns[name] for name in names}


def named(names: list[str], index: IntArray) -> list[str]:
    """Look names up by index; -1 is the empty text."""
    found: list[str] = text_array([*names, ""])[index].tolist()
    return found


def _from_trip(values: FloatArray, trip: IntArray) -> FloatArray:
    """Look trips up by row; NaN where there is none."""
    return np.append(values, np.nan)[trip]


# --------------------------------------------------------------------------- seasons


@dataclass(frozen=True, slots=True, kw_only=True)
class _BySeason:
    """What each season brings, flows rounded as printed: arrays of shape (seasons, addresses, levels)."""

    site: IntArray
    split: IntArray
    backup: IntArray
    held_gpm: FloatArray
    average_gpm: FloatArray
    backup_gpm: FloatArray
    meets: BoolArray
    alike: IntArray
    """The first season in which all of this is the same."""


def _by_season(plan: Plan) -> _BySeason:
    """Gather what the seasons bring, and which of them agree, cell by cell."""
    lines, required = plan.seasons, plan.needs.required_gpm[:, None]
    site, split, backup = (
        np.stack([getattr(line, name) for line in lines]) for name in ("best_site", "split_site", "backup_site")
    )
    flow, brings, backup_gpm = (
        np.stack([getattr(line, name) for line in lines]) for name in ("uninterrupted_gpm", "brings_gpm", "backup_gpm")
    )
    meets = np.nan_to_num(flow) >= required - ROUNDING_GPM
    printed = [supply(one).values for one in (flow, np.minimum(brings, required), backup_gpm)]
    cells = [site, split, backup, meets, *(np.nan_to_num(one, nan=-1.0) for one in printed)]
    alike = _own(site).copy()
    for later in range(len(lines)):
        for earlier in reversed(range(later)):
            same = np.logical_and.reduce([one[later] == one[earlier] for one in cells])
            alike[later][same] = earlier
    held_gpm, average_gpm, backup_gpm = printed
    return _BySeason(
        site=site, split=split, backup=backup, held_gpm=held_gpm, average_gpm=average_gpm, backup_gpm=backup_gpm,
        meets=meets, alike=alike,
    )  # fmt: skip


def _own(cells: IntArray) -> IntArray:
    """Give each season's own index in every cell of (seasons, addresses, levels)."""
    return np.broadcast_to(np.arange(len(cells), dtype=np.int32)[:, None, None], cells.shape)


def _deciding(plan: Plan, seasons: _BySeason) -> IntArray:
    """Give the row of each (address, level) in which the season that decides stands, as the first of those alike."""
    address, level = np.indices(plan.levels.season.shape)
    deciding: IntArray = seasons.alike[plan.levels.season, address, level]
    return deciding


def deciding_months(plan: Plan) -> TextArray:
    """Name the months for which what is told of each (address, level) is true: fill sites, flow and backup.

    They are those of the season that decides and of all that print the same: one home for tables and map.
    """
    if not plan.seasons:
        return np.full(plan.levels.season.shape, "", dtype=object)
    seasons = _by_season(plan)
    address, level = np.indices(plan.levels.season.shape)
    named_months = _months(plan, seasons, _deciding(plan, seasons).ravel(), address.ravel(), level.ravel())
    return text_array(named_months).reshape(address.shape)


def _months(
    plan: Plan,
    seasons: _BySeason,
    season: npt.NDArray[np.integer],
    address: npt.NDArray[np.integer],
    level: npt.NDArray[np.integer],
) -> list[str]:
    """Name the months of all seasons that are as one of them is at an address and level."""
    joins = seasons.alike[:, address, level] == season
    patterns, pattern = np.unique(joins, axis=1, return_inverse=True)
    said = [
        month_words(month for line, joined in zip(plan.seasons, one, strict=True) if joined for month in line.months)
        for one in patterns.T.tolist()
    ]
    return text_array(said)[pattern.ravel()].tolist() if said else []


# --------------------------------------------------------------------------- files


def addresses_csv(plan: Plan) -> bytes:
    """Write addresses.csv: one row an address, in code point order of address_id."""
    return csv_bytes(address_columns(plan))


def levels_csv(plan: Plan) -> bytes:
    """Write levels.csv: one row an address and response level."""
    return csv_bytes(level_columns(plan))


def seasons_csv(plan: Plan) -> bytes:
    """Write seasons.csv: what each address and response level has in which months."""
    return csv_bytes(season_columns(plan))


def trips_csv(plan: Plan) -> bytes:
    """Write trips.csv: the kept round trips, by address, then site."""
    return csv_bytes(trip_columns(plan))


def hauls_csv(plan: Plan) -> bytes:
    """Write tankers.csv: what each tanker in use does, by address, level and arrival."""
    return csv_bytes(haul_columns(plan))


def rejected_csv(rejected: Sequence[Rejected]) -> bytes:
    """Write rejected.csv: one row a fault."""
    return csv_bytes(rejected_columns(rejected))


def csv_bytes(columns: Mapping[str, Cells]) -> bytes:
    """Write columns as CSV; only texts can be kept from running as a formula, numbers are left alone."""
    buffer = io.StringIO(newline="")
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(zip(*map(_printed, columns.values()), strict=True))
    return buffer.getvalue().encode("utf-8", "backslashreplace")


def _printed(cells: Cells) -> list[str]:
    """Turn one column into the texts of its cells."""
    if isinstance(cells, Numbers):
        form = f"%.{cells.decimals}f"
        return ["" if math.isnan(value) else form % value for value in cells.values.tolist()]
    return [text if text.isalnum() else safe_text(text) for text in cells]


def safe_text(text: str) -> str:
    """Keep a text from running as a formula, and on one line.

    >>> print(safe_text('=HYPERLINK("x")'))
    '=HYPERLINK("x")
    """
    return one_line("'" + text if text[:1] in FORMULA_STARTS else text)


def one_line(text: str) -> str:
    r"""Put a space for whatever a reader may take for the end of a line, or of the text.

    >>> one_line("two\nlines")
    'two lines'
    """
    return text if text.isprintable() else text.translate(_BREAKS)
