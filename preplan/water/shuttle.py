"""The steady shuttle: gallons per minute that tankers circulating on one circuit deliver, in closed form.

Tankers lie on the last axis; every other axis (addresses, sites, levels) leads and broadcasts. Nothing here
knows a road or a file.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from types import MappingProxyType
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from preplan.records import BoolArray, FloatArray, TextArray
from preplan.water.same import SAME
from preplan.water.tanker import Handling, Tankers, filling, handling, into_one_gpm

__all__ = [
    "LIMITS", "LIMIT_CODE", "NO_LIMIT", "CodeArray", "Handling", "Shuttle", "Tankers", "best_fleet", "cap",
    "filling", "handling", "into_one_gpm", "joined_circuits", "limit_words", "storage_gpm", "sustained",
]  # fmt: skip

CodeArray: TypeAlias = npt.NDArray[np.int8]
"""Indices into `LIMITS`; -1 where nothing limits because nothing can run."""

LIMITS = (
    "tankers", "fill site", "source", "dump site", "draft", "transfer", "supply line", "hose", "engines",
    "arrival", "room",
)  # fmt: skip
"""What may hold a shuttle back, in the order in which equal terms are named."""
LIMIT_CODE = MappingProxyType({word: code for code, word in enumerate(LIMITS)})
"""The code of each word of `LIMITS`."""
NO_LIMIT = -1
"""Code where there is no way, so nothing to limit; printed as ''."""

_PIECE = 1 << 21  # array elements worked on at once: bounds temporary memory to some hundred megabytes
_DRY_GPM = 1e-12  # stands for a site that gives nothing, so that nothing is divided by zero


@dataclass(frozen=True, slots=True)
class Shuttle:
    """What a fleet delivers; leading axes as asked."""

    sum_gpm: FloatArray
    """(...,): sum of usable / cycle of the tankers in use, an upper bound."""
    sustained_gpm: FloatArray
    """(...,): what the fleet holds for ever."""
    cycle_min: FloatArray
    """(...,): longest cycle of the tankers in use; NaN where none is."""
    used: BoolArray
    """(..., n): the tankers in use."""
    limited_by: CodeArray
    """(...,): codes into `LIMITS`."""

    def put(self, rows: npt.NDArray[np.intp], part: Shuttle) -> Shuttle:
        """Write cases in the place of some rows of the first axis."""
        changed = {}
        for field in fields(self):
            changed[field.name] = column = getattr(self, field.name).copy()
            column[rows] = getattr(part, field.name)
        return Shuttle(**changed)

    def rows(self, pick: npt.NDArray[np.intp]) -> Shuttle:
        """Take some cases of the first axis."""
        return Shuttle(*(getattr(self, field.name)[pick] for field in fields(self)))


@dataclass(frozen=True, slots=True)
class _Case:
    """One question, its parts still unbroadcast: leading axes align from the right."""

    trip_min: FloatArray
    handling: Handling
    present: BoolArray
    positions: FloatArray
    site_gpm: FloatArray
    dump_places: int

    @property
    def shape(self) -> tuple[int, ...]:
        return np.broadcast_shapes(
            self.trip_min.shape, self.handling.fill_hold_min.shape[:-1], self.present.shape[:-1],
            self.positions.shape, self.site_gpm.shape,
        )  # fmt: skip

    def piece(self, part: slice) -> _Case:
        """Cut along the first leading axis."""
        axes = len(self.shape)

        def cut(array: npt.NDArray, trailing: int) -> npt.NDArray:  # type: ignore[type-arg]
            own = array.ndim - trailing == axes and array.shape[0] != 1
            return array[part] if own else array

        return _Case(
            cut(self.trip_min, 0),
            replace(self.handling, fill_hold_min=cut(self.handling.fill_hold_min, 1)),
            cut(self.present, 1), cut(self.positions, 0), cut(self.site_gpm, 0), self.dump_places,
        )  # fmt: skip

    def flow_gpm(
        self, gal: FloatArray, cycle_min: FloatArray, fill_min: FloatArray, dump_min: FloatArray
    ) -> FloatArray:
        """Divide the water by the longest of the four terms; arrays of shape (..., k)."""
        positions, site_gpm = self.positions[..., None], self.site_gpm[..., None]
        longest = np.maximum(cycle_min, fill_min / positions)
        np.maximum(longest, gal / site_gpm, out=longest)
        np.maximum(longest, dump_min / self.dump_places, out=longest)
        with np.errstate(invalid="ignore"):
            flow: FloatArray = np.where(longest > 0, gal / longest, 0.0)
        return flow


def _case(
    trip_min: FloatArray | float, handling: Handling, present: BoolArray, positions: FloatArray | float,
    site_gpm: FloatArray | float, dump_places: int,
) -> _Case:  # fmt: skip
    """Turn the arguments into arrays; sites without water (0 gpm) are kept from dividing by zero."""
    return _Case(
        np.asarray(trip_min, dtype=np.float64), handling, np.asarray(present, dtype=np.bool_),
        np.asarray(positions, dtype=np.float64),
        np.maximum(np.asarray(site_gpm, dtype=np.float64), _DRY_GPM), dump_places,
    )  # fmt: skip


def _in_pieces(solve: Callable[[_Case], Shuttle], case: _Case) -> Shuttle:
    """Solve along the first leading axis piece by piece, so that temporary memory stays bounded."""
    shape, tankers = case.shape, case.present.shape[-1]
    size = int(np.prod(shape)) * max(tankers, 1)
    if not shape or size <= _PIECE:
        return solve(case)
    step = max(1, shape[0] * _PIECE // size)
    parts = [solve(case.piece(slice(at, at + step))) for at in range(0, shape[0], step)]
    return Shuttle(*(np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(Shuttle)))


def sustained(
    trip_min: FloatArray | float,
    handling: Handling,
    present: BoolArray,
    *,
    positions: FloatArray | float,
    site_gpm: FloatArray | float,
    dump_places: int,
) -> Shuttle:
    """Give the flow of exactly the tankers present, first come first served, demand unlimited.

    ::

        sustained = sum(usable) / max(longest cycle, sum(fill) / positions, sum(usable) / site_gpm,
                                      sum(dump) / dump places)

    A fast tanker behind a slow one follows it for ever, hence the longest cycle and not the sum of single
    flows.

    Parameters
    ----------
    trip_min
        Round trip driven, (...,); inf where there is no way.
    handling
        Of n tankers.
    present
        (..., n).
    positions, site_gpm
        Fill places, and what the site gives in all, (...,).
    dump_places
        Tankers that can dump at once.

    Returns
    -------
    Shuttle
        Nobody present: 0 gpm, limited by tankers. No way: 0 gpm, `NO_LIMIT`. Of equal terms the first of
        tankers, fill site, source, dump site is named.
    """
    return _in_pieces(_exactly, _case(trip_min, handling, present, positions, site_gpm, dump_places))


def _exactly(case: _Case) -> Shuttle:
    each_min = case.handling.cycle_min(case.trip_min)
    possible = np.isfinite(each_min)
    used = case.present & possible
    shape = case.shape
    gal = _total(used, case.handling.usable_gal)
    longest = np.where(used, each_min, 0.0).max(axis=-1, initial=0.0)
    terms = np.stack(
        np.broadcast_arrays(
            longest,
            _total(used, case.handling.fill_hold_min) / case.positions,
            gal / case.site_gpm,
            _total(used, case.handling.dump_hold_min) / case.dump_places,
        )
    )
    slowest = terms.max(axis=0)
    with np.errstate(invalid="ignore"):
        flow = np.where(slowest > 0, gal / slowest, 0.0)
    with np.errstate(divide="ignore"):
        single = np.where(used, case.handling.usable_gal / each_min, 0.0).sum(axis=-1)
    code = np.argmax(terms >= slowest * (1 - SAME), axis=0).astype(np.int8)
    stuck = ~used.any(axis=-1) & (case.present & ~possible).any(axis=-1)
    return Shuttle(
        sum_gpm=_full(single, shape),
        sustained_gpm=_full(flow, shape),
        cycle_min=_full(np.where(used.any(axis=-1), longest, np.nan), shape),
        used=_full(used, (*shape, used.shape[-1])),
        limited_by=_full(np.where(stuck, np.int8(NO_LIMIT), code), shape),
    )


def _total(used: BoolArray, amount: FloatArray) -> FloatArray:
    """Add up the amounts (..., n) of those in use."""
    total: FloatArray = np.where(used, amount, 0.0).sum(axis=-1)
    return total


def _full(array: npt.NDArray, shape: tuple[int, ...]) -> npt.NDArray:  # type: ignore[type-arg]
    """Own a copy of the whole shape, never a view that shares memory between rows."""
    return np.array(np.broadcast_to(array, shape))


def joined_circuits(one: Shuttle, other: Shuttle, hold: Handling, *, dump_places: int) -> Shuttle:
    """Give the flow of one fleet over two fill sites, each half on its own circuit, that share the dump site.

    ::

        sustained = the least of sustained + sustained and sum(usable) / (sum(dump) / dump places)

    Parameters
    ----------
    one, other
        The same cases, (...,), each with the tankers that fill at one of the sites.
    hold
        Of n tankers.

    Returns
    -------
    Shuttle
        Where the dump site does not limit, what limits the circuit that brings more.
    """
    used = one.used | other.used
    dump_min = _total(used, hold.dump_hold_min) / dump_places
    with np.errstate(divide="ignore", invalid="ignore"):
        passes_gpm = np.where(dump_min > 0, _total(used, hold.usable_gal) / dump_min, np.inf)
    more = other.sustained_gpm > one.sustained_gpm
    both = Shuttle(
        sum_gpm=one.sum_gpm + other.sum_gpm,
        sustained_gpm=one.sustained_gpm + other.sustained_gpm,
        cycle_min=np.fmax(one.cycle_min, other.cycle_min),
        used=used,
        limited_by=np.where(more, other.limited_by, one.limited_by).astype(np.int8),
    )
    return cap(both, passes_gpm, LIMIT_CODE["dump site"])


def best_fleet(
    trip_min: FloatArray | float,
    handling: Handling,
    present: BoolArray,
    *,
    positions: FloatArray | float,
    site_gpm: FloatArray | float,
    dump_places: int,
) -> Shuttle:
    """Give the flow of the best of the tankers present, leaving out those that only slow the others.

    Two starts: the whole fleet, and the best first few in the order of cycle time. From each, single tankers
    go while that raises the flow; the better stands, of equal flows the one with more tankers. Arguments and
    result as `sustained`; `used` tells who stays. The flow is never below that of the whole fleet. Against
    all subsets of random mixed fleets of up to six it misses the best less than once in a thousand, by at
    most some per cent.
    """
    return _in_pieces(_best, _case(trip_min, handling, present, positions, site_gpm, dump_places))


def _best(case: _Case) -> Shuttle:
    tankers = case.present.shape[-1]
    if tankers == 0:
        return _exactly(case)
    whole_fleet = _full(case.present, (*case.shape, tankers)) & np.isfinite(case.handling.cycle_min(case.trip_min))
    first_few = _best_first_few(case)
    every = np.ones(case.shape, dtype=np.bool_)
    _leave_out(case, first_few, every)
    _leave_out(case, whole_fleet, (first_few != whole_fleet).any(axis=-1))
    one, other = (_exactly(replace(case, present=used)) for used in (first_few, whole_fleet))
    best = _better(one, other)
    stuck = ~np.isfinite(case.trip_min) & case.present.any(axis=-1)
    return replace(best, limited_by=np.where(stuck, np.int8(NO_LIMIT), best.limited_by).astype(np.int8))


def _better(one: Shuttle, other: Shuttle) -> Shuttle:
    """Take the larger flow row by row; of equal flows the one with more tankers."""
    margin = other.sustained_gpm - one.sustained_gpm
    close = np.abs(margin) <= SAME * one.sustained_gpm
    more = other.used.sum(axis=-1) > one.used.sum(axis=-1)
    second = np.where(close, more, margin > 0)
    return Shuttle(
        sum_gpm=np.where(second, other.sum_gpm, one.sum_gpm),
        sustained_gpm=np.where(second, other.sustained_gpm, one.sustained_gpm),
        cycle_min=np.where(second, other.cycle_min, one.cycle_min),
        used=np.where(second[..., None], other.used, one.used),
        limited_by=np.where(second, other.limited_by, one.limited_by).astype(np.int8),
    )


def _best_first_few(case: _Case) -> BoolArray:
    """Choose the best of the prefixes in the order of cycle time: (..., n)."""
    own = case.handling
    order = np.argsort(own.handling_min, axis=-1, kind="stable")
    whole = (*case.shape, case.present.shape[-1])
    order_all = np.broadcast_to(order, whole)
    cycle_min = case.trip_min[..., None] + np.take_along_axis(own.handling_min, order, axis=-1)
    here = np.take_along_axis(np.broadcast_to(case.present, whole), order_all, axis=-1)
    here &= np.isfinite(cycle_min)

    def running(amount: FloatArray) -> FloatArray:
        ordered = np.take_along_axis(np.broadcast_to(amount, order.shape), order, axis=-1)
        total: FloatArray = np.cumsum(np.where(here, ordered, 0.0), axis=-1)
        return total

    flow = case.flow_gpm(running(own.usable_gal), cycle_min, running(own.fill_hold_min), running(own.dump_hold_min))
    flow = np.where(here, flow, -1.0)
    equal = flow >= flow.max(axis=-1, keepdims=True) * (1 - SAME)
    last = whole[-1] - 1 - np.argmax(equal[..., ::-1], axis=-1)
    used = np.empty(whole, dtype=np.bool_)
    np.put_along_axis(used, order_all, here & (np.arange(whole[-1]) <= last[..., None]), axis=-1)
    return used


def _leave_out(case: _Case, used: BoolArray, rows: BoolArray) -> None:
    """In rows (...,), take single tankers out of `used` (..., n), in place, while that raises the flow."""
    n = used.shape[-1]
    flat = used.reshape(-1, n)
    trip = np.broadcast_to(case.trip_min, case.shape).reshape(-1)
    fill = np.broadcast_to(case.handling.fill_hold_min, used.shape)
    positions = np.broadcast_to(case.positions, case.shape).reshape(-1)
    site = np.broadcast_to(case.site_gpm, case.shape).reshape(-1)
    fill = fill.reshape(-1, n)
    maneuver = np.broadcast_to(case.handling.maneuver_min, (n,))
    open_rows = np.flatnonzero(rows.reshape(-1) & (flat.sum(axis=1) > 1))
    while open_rows.size:
        now = flat[open_rows]
        hold = fill[open_rows]
        part = _Case(
            trip[open_rows], Handling(case.handling.usable_gal, hold, case.handling.dump_hold_min, maneuver),
            now, positions[open_rows], site[open_rows], case.dump_places,
        )  # fmt: skip
        without, whole = _without_each(part)
        one = np.argmax(without, axis=1)
        gains = without[np.arange(len(one)), one] > whole * (1 + SAME)
        open_rows = open_rows[gains]
        flat[open_rows, one[gains]] = False


def _without_each(case: _Case) -> tuple[FloatArray, FloatArray]:
    """Give the flow (rows, n) with each tanker in use out, -1 for others, and the flow (rows,) with all."""
    now, own = case.present, case.handling
    cycle = np.where(now, own.cycle_min(case.trip_min), 0.0)
    ranked = np.sort(cycle, axis=1)
    top, second = ranked[:, -1:], ranked[:, -2:-1]
    left_cycle = np.where(cycle < top, top, second)
    amounts = [np.where(now, a, 0.0) for a in (own.usable_gal, own.fill_hold_min, own.dump_hold_min)]
    totals = [a.sum(axis=1, keepdims=True) for a in amounts]
    whole = case.flow_gpm(totals[0], top, totals[1], totals[2])[:, 0]
    left = [total - amount for total, amount in zip(totals, amounts, strict=True)]
    flow = case.flow_gpm(left[0], left_cycle, left[1], left[2])
    return np.where(now, flow, -1.0), whole


def storage_gpm(
    storage_gal: FloatArray | float, refill_gpm: FloatArray | float, required_min: FloatArray | float
) -> FloatArray:
    """Give the rate a stored source holds for the required time: (storage + refill x minutes) / minutes.

    Unknown storage (NaN) is unknown, not zero: inf, no cap. Unknown refill (NaN) counts as none.
    """
    storage, refill = np.asarray(storage_gal, dtype=np.float64), np.asarray(refill_gpm, dtype=np.float64)
    rate = storage / np.asarray(required_min, dtype=np.float64) + np.where(np.isnan(refill), 0.0, refill)
    capped: FloatArray = np.where(np.isnan(storage), np.inf, rate)
    return capped


def cap(shuttle: Shuttle, cap_gpm: FloatArray | float, code: int) -> Shuttle:
    """Hold the sustained flow to a cap (...,) and name the cap where it is the lower.

    An unknown cap (NaN) caps nothing. `code` is an index into `LIMITS`.
    """
    most = np.asarray(cap_gpm, dtype=np.float64)
    lower = most < shuttle.sustained_gpm * (1 - SAME)
    return replace(
        shuttle,
        sustained_gpm=np.where(lower, most, shuttle.sustained_gpm),
        limited_by=np.where(lower, np.int8(code), shuttle.limited_by).astype(np.int8),
    )


def limit_words(codes: CodeArray) -> TextArray:
    """Turn codes into the words of `LIMITS`, '' for `NO_LIMIT`; same shape.

    >>> limit_words(np.array([1, -1], dtype=np.int8)).tolist()
    ['fill site', '']
    """
    words = np.array([*LIMITS, ""], dtype=np.object_)
    picked: TextArray = words[codes]
    return picked
