"""What a drill offers as the district's own values: careful ones, and only where enough was timed.

Careful is the value that three of four were as good as, not the middle one: a rehearsed drill by day is quicker than
a night. Hook-up and pumping can be told apart where somebody wrote down when water began to run, or where loads differ
so much that a straight line through the minutes is sure; else the rate of the table stands, and the offer says so.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, fields

import numpy as np

from preplan.planning.drill_case import into_one
from preplan.planning.drill_visits import DUMP, EMPTY, FILL, LOADED, Observation
from preplan.planning.drills import Drilled
from preplan.records import Unit
from preplan.rules import ShuttleRules

LEAST_COUNT = 5
"""Fewer observations than this offer nothing (this program's choice)."""
CAREFUL = 0.75
"""Share of the observations that were at least as good as what is offered."""
LEAST_SPREAD = 1.3
"""Largest over smallest load from which on a line through the minutes is tried."""
SURE_SHARE = 0.15
"""Most that the standard error of the line's slope may be of the slope."""
STEP_MIN, STEP_GPM = 0.1, 10.0
"""What is offered is rounded to these, minutes up and rates down."""
SHUTTLE = "[shuttle]"
_HOOKUP = {FILL: "fill_hookup_min", DUMP: "dump_hookup_min"}
_MANEUVER = {FILL: "fill_maneuver_min", DUMP: "dump_maneuver_min"}
_TINY = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Offer:
    """One value for the district's own."""

    where: str
    """`SHUTTLE`, or the table: fill_sites, apparatus."""
    row_id: str
    """Of the table; '' for a rule."""
    key: str
    value: float
    median: float
    least: float
    most: float
    n: int
    tankers: int
    now: float
    """What is in use."""
    how: str
    """What stands behind it, besides the times; '' where nothing is assumed."""


@dataclass(frozen=True, slots=True)
class FillingLine:
    """Minutes of filling as a line over gallons: hook-up, and the rate."""

    hookup_min: float
    gpm: float
    span_gpm: tuple[float, float]
    """Two standard errors to either side."""


@dataclass(frozen=True, slots=True)
class Offered:
    """What is offered, and what is not, with why."""

    values: tuple[Offer, ...]
    why_not: tuple[str, ...]


def offers(drilled: Drilled, rules: ShuttleRules) -> Offered:
    """Give what a drill offers as the district's own."""
    found: list[Offer] = []
    why: list[str] = []
    found += _maneuvers(drilled, rules, why)
    found += _fills(drilled, rules, why)
    found += _dumps(drilled, rules, why)
    why += _legs(drilled)
    kept, told = possible(found, rules)
    return Offered(kept, (*why, *told))


def possible(found: Iterable[Offer], rules: ShuttleRules) -> tuple[tuple[Offer, ...], tuple[str, ...]]:
    """Part what a district may set from what it cannot be, which is told: a slip in the log's times."""
    highest = {rule.name: rule.metadata["high"] for rule in fields(rules)}
    kept, told = list[Offer](), list[str]()
    for one in found:
        if one.value <= highest.get(one.key, math.inf) and (one.value > 0.0 or one.key.endswith("_min")):
            kept.append(one)
        else:
            told.append(f"{one.key}: {one.value:,g} was measured, which it cannot be: look at the times of the log.")
    return tuple(kept), tuple(told)


def _maneuvers(drilled: Drilled, rules: ShuttleRules, why: list[str]) -> Iterator[Offer]:
    """Offer the minutes of positioning, where somebody wrote down when tankers came into sight."""
    for end, key in _MANEUVER.items():
        some = _of(drilled, f"{end} maneuver")
        if enough(some):
            yield _minutes(key, [one.minutes for one in some], some, getattr(rules, key))
        else:
            words = {FILL: "'reaches fill site'", DUMP: "'on scene'"}[end]
            why.append(f"{key}: positioning is in the leg; rows with {words} would tell it apart ({len(some)} do).")


def _fills(drilled: Drilled, rules: ShuttleRules, why: list[str]) -> Iterator[Offer]:
    """Offer hook-up at the fill site, and the rate of each site."""
    pooled: list[tuple[Observation, float]] = []
    assumed: dict[str, None] = {}
    direct = [one for one in _of(drilled, f"{FILL} hook-up") if _unit(drilled, one).self_fill_gpm is None]
    for site in drilled.sites:
        mine = [
            one
            for one in _of(drilled, FILL)
            if one.site_id == site.site_id and _unit(drilled, one).self_fill_gpm is None
        ]
        timed = [one for one in mine if math.isfinite(one.pumping_min) and one.pumping_min > 0]
        line = fitted([_gallons(drilled, one) for one in mine], [one.minutes for one in mine])
        now = into_one(site)
        if enough(timed):
            rates = [_gallons(drilled, one) / one.pumping_min for one in timed]
            yield _rate("fill_sites", site.site_id, "fill_gpm", rates, timed, now, _assumed_gallons(timed))
        elif line is not None and not enough(direct):
            rates = [line.span_gpm[0], line.gpm, line.span_gpm[1]]
            how = "by a line through minutes and gallons" + _and(_assumed_gallons(mine))
            yield _rate("fill_sites", site.site_id, "fill_gpm", rates, mine, now, how)
            pooled += [(one, one.minutes - _gallons(drilled, one) / line.gpm) for one in mine]
            assumed[how] = None
        elif mine:
            if not enough(direct):
                why.append(
                    f"{site.site_id}: hook-up and rate of filling cannot be told apart: loads differ too little, or are"
                    " too few. Rows with 'fills' (water runs) would do it."
                )
            into = {one.unit_id: min(now, _unit(drilled, one).intake_gpm) for one in mine}
            pooled += [(one, one.minutes - _gallons(drilled, one) / into[one.unit_id]) for one in mine]
            assumed[f"if {site.site_id} gives the {now:,.0f} gpm of its table"] = None
    key = _HOOKUP[FILL]
    if enough(direct):
        yield _minutes(key, [one.minutes for one in direct], direct, rules.fill_hookup_min)
    else:
        yield from _left_over(key, pooled, "; ".join(assumed), rules.fill_hookup_min, why)


def _dumps(drilled: Drilled, rules: ShuttleRules, why: list[str]) -> Iterator[Offer]:
    """Offer hook-up at the dump site, and the rate of each tanker."""
    some, direct = _of(drilled, DUMP), _of(drilled, f"{DUMP} hook-up")
    for unit in drilled.units:
        mine = [one for one in some if one.unit_id == unit.unit_id and one.pumping_min > 0]
        if len(mine) >= LEAST_COUNT:
            rates = [_gallons(drilled, one) / one.pumping_min for one in mine]
            yield _rate("apparatus", unit.unit_id, "dump_gpm", rates, mine, unit.dump_gpm, _assumed_gallons(mine))
    key = _HOOKUP[DUMP]
    if enough(direct):
        yield _minutes(key, [one.minutes for one in direct], direct, rules.dump_hookup_min)
        return
    if some:
        why.append("Hook-up and rate of dumping cannot be told apart; rows with 'dumps' (water runs) would do it.")
    left = [(one, one.minutes - _gallons(drilled, one) / _unit(drilled, one).dump_gpm) for one in some]
    yield from _left_over(key, left, "if tankers dump at the rates of their table", rules.dump_hookup_min, why)


def _legs(drilled: Drilled) -> Iterator[str]:
    """Say how the legs went; no rule holds the pace of one drill's road."""
    for what in (LOADED, EMPTY):
        for span in drilled.spans:
            if span.what == what and not span.unit_id and span.n >= LEAST_COUNT and span.predicted_min > 0:
                share = span.typical_min / span.predicted_min
                yield (
                    f"{what} from {span.site_id}: {share:.2f} times what is predicted, {span.n} timed. No rule sets the"
                    " pace of one road, so there is nothing to paste; drive it again before you trust either."
                )


def _left_over(
    key: str, left: Sequence[tuple[Observation, float]], how: str, now: float, why: list[str]
) -> Iterator[Offer]:
    """Offer what is left of the minutes when pumping is taken off."""
    some = [one for one, _ in left]
    minutes = [minute for _, minute in left]
    if not enough(some):
        why.append(f"{key}: {_few(some)}.")
    elif careful_of(minutes, most=True) < 0:
        why.append(f"{key}: nothing is left for it {how}: the rates must be higher than that. Measure them.")
    else:
        yield _minutes(key, minutes, some, now, how)


# --------------------------------------------------------------------------- numbers


def fitted(gallons: Sequence[float], minutes: Sequence[float]) -> FillingLine | None:
    """Fit minutes = hook-up + gallons / rate by least squares; None where it is not sure.

    >>> line = fitted([1350, 1800, 2700, 1350, 1800, 2700], [2.9, 3.8, 5.6, 2.9, 3.8, 5.6])
    >>> round(line.hookup_min, 3), round(line.gpm)
    (0.2, 500)
    """
    if len(gallons) < LEAST_COUNT + 1 or max(gallons) < LEAST_SPREAD * min(gallons):
        return None
    x, y = np.asarray(gallons, dtype=np.float64), np.asarray(minutes, dtype=np.float64)
    off = x - x.mean()
    slope = float(off @ y / (off @ off))
    hookup = float(y.mean() - slope * x.mean())
    error = math.sqrt(float(((y - hookup - slope * x) ** 2).sum()) / (len(x) - 2) / float(off @ off))
    if slope <= 0.0 or hookup < -_TINY or error > SURE_SHARE * slope:
        return None
    return FillingLine(max(hookup, 0.0), 1.0 / slope, (1.0 / (slope + 2 * error), 1.0 / (slope - 2 * error)))


def careful_of(values: Sequence[float], *, most: bool) -> float:
    """Give the value that three of four do not exceed, or, where more is better, that three of four reach.

    >>> careful_of([1.0, 2.0, 3.0, 9.0], most=True), careful_of([500.0, 700.0, 800.0, 900.0], most=False)
    (3.0, 700.0)
    """
    ordered = sorted(values, reverse=not most)
    return ordered[math.ceil(CAREFUL * len(ordered)) - 1]


def enough(some: Sequence[Observation]) -> bool:
    """Tell whether so many observations, of two tankers at least, say something of the district."""
    return len(some) >= LEAST_COUNT and _tankers(some) > 1


def _few(some: Sequence[Observation]) -> str:
    tankers = _tankers(some)
    of = f"{tankers} tanker{'s' * (tankers != 1)}"
    return f"{len(some)} timed, of {of}: at least {LEAST_COUNT} of two tankers are wanted"


def _minutes(key: str, minutes: Sequence[float], some: Sequence[Observation], now: float, how: str = "") -> Offer:
    careful = max(careful_of(minutes, most=True), 0.0)
    return Offer(
        where=SHUTTLE, row_id="", key=key, value=_stepped(careful, STEP_MIN, up=True),
        median=statistics.median(minutes), least=min(minutes), most=max(minutes), n=len(some), tankers=_tankers(some),
        now=now, how=how,
    )  # fmt: skip


def _rate(
    where: str, row_id: str, key: str, rates: Sequence[float], some: Sequence[Observation], now: float, how: str
) -> Offer:
    careful = careful_of(rates, most=False)
    return Offer(
        where=where, row_id=row_id, key=key, value=_stepped(careful, STEP_GPM, up=False),
        median=statistics.median(rates), least=min(rates), most=max(rates), n=len(some), tankers=_tankers(some),
        now=now, how=how,
    )  # fmt: skip


def _tankers(some: Sequence[Observation]) -> int:
    return len({one.unit_id for one in some})


def _stepped(value: float, step: float, *, up: bool) -> float:
    """Round to the careful side; what a step misses by rounding alone is on it."""
    steps = math.ceil(value / step - 1e-6) if up else math.floor(value / step + 1e-6)
    return round(steps * step, 6)


def _of(drilled: Drilled, what: str) -> list[Observation]:
    return [one for one in drilled.measured.observations if one.what == what]


def _unit(drilled: Drilled, one: Observation) -> Unit:
    return next(unit for unit in drilled.units if unit.unit_id == one.unit_id)


def _gallons(drilled: Drilled, one: Observation) -> float:
    """Give the gallons of a fill or a dump: as written, else the usable share of the tank."""
    unit = _unit(drilled, one)
    return one.gallons if math.isfinite(one.gallons) else unit.tank_gal * unit.usable_fraction


def _assumed_gallons(some: Sequence[Observation]) -> str:
    silent = sum(not math.isfinite(one.gallons) for one in some)
    return f"gallons of {silent} assumed" if silent else ""


def _and(text: str) -> str:
    return f", {text}" if text else ""
