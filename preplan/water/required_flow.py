"""What a building needs: total and rate by NFPA 1142, the ISO guide, the NFA and Iowa formulas, or as given.

Every answer carries a `rule` text: what was applied, and which values are from memory, unverified.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from preplan.records import BoolArray, Columns, FloatArray, TextArray, text_array
from preplan.rules import MEMORY, RATER_MIN, RequiredFlowRules

CONSTRUCTION_TYPES = ("I", "II", "III", "IV", "V")
"""Types of construction; an index into this tuple stands for each in `Buildings`."""
CONSTRUCTION_NUMBER = (0.5, 0.75, 1.0, 0.75, 1.5)
"""NFPA 1142 by type: I, II and V seen in published training texts; III and IV from memory, unverified."""
CONSTRUCTION_MEMORY = (2, 3)
"""Indices of the types whose number is from memory."""
EXPOSURE_FACTOR = 1.5
"""NFPA 1142: supply with an exposure (published training deck)."""
FLOOR_GAL = (2000.0, 3000.0)
"""NFPA 1142: least supply without and with an exposure (published training deck)."""
DELIVERY = ((2500.0, 250.0), (10000.0, 500.0), (20000.0, 750.0), (np.inf, 1000.0))
"""NFPA 1142 delivery rate: total below the first value in gal, rate in gpm; from memory, unverified."""

LEAST_MIN = 20.0
"""Shortest duration when total / rate decides (published minimum for a rural class: 20 min)."""

ISO_DWELLING = ((10.0, 1500.0), (30.0, 1000.0), (100.0, 750.0), (np.inf, 500.0))
"""ISO, dwellings of at most two storeys: neighbour at most this far in ft, gpm; older edition, by a published reprint.
A newer one, from memory, asks for less beyond 20 ft: the careful one stands."""
ISO_UNKNOWN_GPM = 1000.0
"""ISO, a dwelling with an exposure at an unknown distance: as if 11 to 30 ft, this program's careful choice."""
ISO_F = (0.6, 0.8, 1.0, 1.0, 1.5)
"""ISO construction coefficient by type; IV as III; from memory, unverified."""
ISO_O = MappingProxyType({3: 1.25, 4: 1.15, 5: 1.0, 6: 1.0, 7: 0.85})
"""ISO occupancy factor (C-5 to C-2, from memory) by the hazard number that resembles it: this program's choice."""
ISO_EXPOSURE = 0.25
"""ISO (X + P) of one exposure: from memory, unverified; the most for one side."""
ISO_C_LIMITS = (500.0, 8000.0, 6000.0)
"""ISO: least C; most for types III to V of several storeys; most for others. From memory, unverified."""
ISO_LIMITS_GPM = (500.0, 12000.0)
"""ISO: least and most needed fire flow (published reprint)."""
ISO_DURATION = ((2500.0, 120.0), (3500.0, 180.0), (np.inf, 240.0))
"""ISO: at most this flow in gpm, minutes; from memory, unverified."""

NFA_EXPOSURE = 0.25
"""NFA quick formula: added for an exposed side; from memory, unverified."""
LIGHT_HAZARD = 7
"""Occupancy hazard number of dwellings."""
METHODS = ("nfpa1142", "iso", "nfa", "iowa", "given")
"""Methods by the word that the district file uses."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Buildings(Columns):
    """Buildings, complete: nothing is missing but what says so."""

    length_ft: FloatArray
    width_ft: FloatArray
    height_ft: FloatArray
    stories: FloatArray
    """NaN where not known."""
    hazard: FloatArray
    """Occupancy hazard classification number, 3 (severe) to 7 (light)."""
    construction: npt.NDArray[np.int8]
    """Index into `CONSTRUCTION_TYPES`."""
    dwelling: BoolArray
    """One- or two-family dwelling."""
    exposure: BoolArray
    neighbour_ft: FloatArray
    """Distance to the nearest other building; inf: none near; NaN: not known."""

    @property
    def volume_cuft(self) -> FloatArray:
        """Give length x width x height."""
        return self.length_ft * self.width_ft * self.height_ft


@dataclass(frozen=True, slots=True, kw_only=True)
class Requirement(Columns):
    """What buildings need."""

    required_gpm: FloatArray
    required_gal: FloatArray
    """The method's own total; where the method has none, rate x required_min."""
    required_min: FloatArray
    """How long the rate must hold."""
    rule: TextArray
    """What was applied, in words."""


def required_flow(buildings: Buildings, rules: RequiredFlowRules) -> Requirement:
    """Work out what buildings need by the district's method.

    Parameters
    ----------
    buildings
        n buildings.
    rules
        Method, duration and the cap for dwellings.

    Returns
    -------
    Requirement
        n rows.

    Raises
    ------
    ValueError
        Where the method has no such name.
    """
    if rules.method == "nfpa1142":
        return _nfpa1142(buildings, rules)
    if rules.method == "iso":
        return _iso(buildings, rules)
    if rules.method == "nfa":
        return _nfa(buildings, rules)
    if rules.method == "iowa":
        return _iowa(buildings, rules)
    if rules.method == "given":
        rate = np.full(len(buildings), rules.default_gpm)
        return given(rate, np.full(len(buildings), np.nan), rules, source="the district's default")
    raise ValueError(f"required flow method {rules.method!r}: must be one of {', '.join(METHODS)}")


def delivery_gpm(total_gal: FloatArray | float) -> FloatArray:
    """Give the NFPA 1142 delivery rate for a total, by steps; NaN for NaN.

    >>> delivery_gpm(np.array([2499.0, 2500.0, 9999.0, 20000.0])).tolist()
    [250.0, 500.0, 500.0, 1000.0]
    """
    below = np.array([row[0] for row in DELIVERY])
    rates = np.array([row[1] for row in DELIVERY])
    total = np.asarray(total_gal, dtype=np.float64)
    step = np.minimum(np.searchsorted(below, total, side="right"), len(rates) - 1)
    return np.where(np.isnan(total), np.nan, rates[step])


def given(
    required_gpm: FloatArray, required_gal: FloatArray, rules: RequiredFlowRules, *, source: str = "the table"
) -> Requirement:
    """Complete requirements given as a rate, a total or both, (n,); NaN where not given.

    A missing rate follows from the total by the NFPA 1142 steps; a missing total is rate x minutes. Both
    missing stays missing.
    """
    has_gpm, has_gal = np.isfinite(required_gpm), np.isfinite(required_gal)
    gpm = np.where(has_gpm, required_gpm, np.where(has_gal, delivery_gpm(required_gal), np.nan))
    own = np.where(has_gal, np.maximum(required_gal / gpm, LEAST_MIN), RATER_MIN)
    minutes = _minutes(rules, own)
    total = np.where(has_gal, required_gal, gpm * minutes)

    def write(key: tuple[float, ...]) -> str:
        rate, gal, held = bool(key[0]), bool(key[1]), key[2]
        if rate and gal:
            return f"rate and total from {source}"
        if rate:
            return f"rate from {source}; total = rate x {held:g} min"
        return f"total from {source}; rate by the NFPA 1142 delivery steps ({MEMORY})"

    only_rate_min = np.where(has_gal, 0.0, minutes)
    rule = _texts([has_gpm, has_gal, only_rate_min], write)
    return Requirement(required_gpm=gpm, required_gal=total, required_min=minutes, rule=rule)


def least(n: int, rules: RequiredFlowRules) -> Requirement:
    """Give the method's least requirement, for places where no building stands."""
    gal = FLOOR_GAL[0]
    gpm = {"iso": ISO_LIMITS_GPM[0], "given": rules.default_gpm}.get(rules.method, DELIVERY[0][1])
    by_total = rules.method == "nfpa1142"
    minutes = _minutes(rules, np.full(n, max(gal / gpm, LEAST_MIN) if by_total else RATER_MIN))
    total = np.full(n, gal) if by_total else gpm * minutes
    text = f"no building: the least that {rules.method} asks, {gpm:g} gpm"
    return Requirement(
        required_gpm=np.full(n, gpm), required_gal=total, required_min=minutes, rule=text_array([text] * n)
    )


def _nfpa1142(b: Buildings, rules: RequiredFlowRules) -> Requirement:
    """Minimum supply = volume / hazard number x construction number x exposure, at least the floor."""
    full = np.array(CONSTRUCTION_NUMBER)[b.construction]
    capped = b.dwelling & (full > 1.0) & rules.dwelling_cap
    number = np.where(capped, 1.0, full)
    formula = b.volume_cuft / b.hazard * number * np.where(b.exposure, EXPOSURE_FACTOR, 1.0)
    floor = np.where(b.exposure, FLOOR_GAL[1], FLOOR_GAL[0])
    total = np.maximum(formula, floor)
    gpm = delivery_gpm(total)

    def write(key: tuple[float, ...]) -> str:
        hazard, kind, cap, exposed, low, rate = key
        mark = f", {MEMORY}" if int(kind) in CONSTRUCTION_MEMORY else ""
        words = f"NFPA 1142: volume / hazard number {hazard:g}"
        words += f" x construction number {CONSTRUCTION_NUMBER[int(kind)]:g} (type {_type(kind)}{mark})"
        words += f" capped at 1.0 for a dwelling ({MEMORY})" if cap else ""
        words += f" x {EXPOSURE_FACTOR:g} for an exposure" if exposed else ""
        words += f"; raised to the least supply of {FLOOR_GAL[int(exposed)]:,.0f} gal" if low else ""
        return words + f"; delivery rate {rate:,.0f} gpm by the steps of the total ({MEMORY})"

    return Requirement(
        required_gpm=gpm,
        required_gal=total,
        required_min=_minutes(rules, np.maximum(total / gpm, LEAST_MIN)),
        rule=_texts([b.hazard, b.construction, capped, b.exposure, formula < floor, gpm], write),
    )


def _iso(b: Buildings, rules: RequiredFlowRules) -> Requirement:
    """Needed fire flow: dwellings by distance, other buildings by C x O x (1 + X + P)."""
    small = b.dwelling & ~(b.stories > 2)  # unknown counts as at most two
    known = ~np.isnan(b.neighbour_ft)
    row = np.searchsorted([r[0] for r in ISO_DWELLING], np.where(known, b.neighbour_ft, np.inf), side="left")
    by_distance = np.array([r[1] for r in ISO_DWELLING])[np.minimum(row, len(ISO_DWELLING) - 1)]
    by_distance = np.where(~known & b.exposure, ISO_UNKNOWN_GPM, by_distance)
    gpm = np.where(small, by_distance, _iso_formula_gpm(b))
    durations = np.array([r[1] for r in ISO_DURATION])
    own = durations[np.searchsorted([r[0] for r in ISO_DURATION], gpm, side="left")]

    def write(key: tuple[float, ...]) -> str:
        dwelling, kind, hazard, exposed, seen = key
        if dwelling:
            how = "distance to the nearest building" if seen else "distance not known"
            guess = ", taken as 11 to 30 ft" if exposed and not seen else ""
            return f"ISO needed fire flow: dwelling of at most two storeys, {how}{guess} (table, older edition)"
        words = f"ISO needed fire flow: 18 F sqrt(A) O (1 + X + P), F {ISO_F[int(kind)]:g} (type {_type(kind)})"
        words += f", O {ISO_O[int(hazard)]:g}, X + P {ISO_EXPOSURE if exposed else 0:g}"
        return words + f"; F, O, X + P, limits and rounding {MEMORY}"

    return Requirement(
        required_gpm=gpm,
        required_gal=gpm * own,
        required_min=_minutes(rules, own),
        rule=_texts([small, b.construction, np.rint(b.hazard), b.exposure, known], write),
    )


def _iso_formula_gpm(b: Buildings) -> FloatArray:
    """C x O x (1 + X + P), C = 18 F sqrt(largest floor + half of the others), limited and rounded."""
    stories = np.where(np.isnan(b.stories), 1.0, np.maximum(b.stories, 1.0))
    area_sqft = b.length_ft * b.width_ft * (1.0 + 0.5 * (stories - 1.0))
    coefficient = np.array(ISO_F)[b.construction]
    least_c, most_c, most_other = ISO_C_LIMITS
    most = np.where((coefficient >= 1.0) & (stories > 1), most_c, most_other)
    c_gpm = np.clip(18.0 * coefficient * np.sqrt(area_sqft), least_c, most)
    factor = np.array([ISO_O[h] for h in range(3, 8)])[np.rint(b.hazard).astype(np.int64) - 3]
    flow = c_gpm * factor * np.where(b.exposure, 1.0 + ISO_EXPOSURE, 1.0)
    step = np.where(flow < 2500.0, 250.0, 500.0)
    rounded: FloatArray = np.clip(np.floor(flow / step + 0.5) * step, *ISO_LIMITS_GPM)
    return rounded


def _nfa(b: Buildings, rules: RequiredFlowRules) -> Requirement:
    """Length x width / 3 on every floor, all of it involved; an exposure adds a quarter."""
    floors = np.where(np.isnan(b.stories), 1.0, np.maximum(b.stories, 1.0))
    gpm = b.length_ft * b.width_ft / 3.0 * floors * np.where(b.exposure, 1.0 + NFA_EXPOSURE, 1.0)

    def write(key: tuple[float, ...]) -> str:
        exposed = f"; 25 % added for an exposure ({MEMORY})" if key[1] else ""
        floor = "1 floor" if key[0] == 1 else f"{key[0]:g} floors"
        return f"NFA quick formula: length x width / 3, {floor}, fully involved{exposed}"

    return _rate_only(gpm, rules, _texts([floors, b.exposure], write))


def _iowa(b: Buildings, rules: RequiredFlowRules) -> Requirement:
    """Volume / 100, the whole building taken as one open space."""
    text = "Iowa rate: volume / 100, the whole building as one space"
    return _rate_only(b.volume_cuft / 100.0, rules, text_array([text] * len(b)))


def _rate_only(gpm: FloatArray, rules: RequiredFlowRules, rule: TextArray) -> Requirement:
    """Complete a method that gives a rate and no total."""
    minutes = _minutes(rules, np.full(len(gpm), RATER_MIN))
    held = [f"{text}; the method has no total: rate x {m:g} min" for text, m in zip(rule, minutes, strict=True)]
    return Requirement(required_gpm=gpm, required_gal=gpm * minutes, required_min=minutes, rule=text_array(held))


def _minutes(rules: RequiredFlowRules, own_min: FloatArray) -> FloatArray:
    """Give the district's duration, or the method's own."""
    if rules.required_min == "method":
        return own_min
    return np.full(len(own_min), float(rules.required_min))


def _type(kind: float) -> str:
    return CONSTRUCTION_TYPES[int(kind)]


def _texts(keys: list[npt.NDArray], write: Callable[[tuple[float, ...]], str]) -> TextArray:  # type: ignore[type-arg]
    """Write one text for each distinct row of the key columns."""
    table = np.column_stack([np.asarray(key, dtype=np.float64) for key in keys])
    distinct, which = np.unique(table, axis=0, return_inverse=True)
    written = text_array([write(tuple(row)) for row in distinct.tolist()])
    picked: TextArray = written[which.reshape(-1)]
    return picked


def one_building(
    length_ft: float, width_ft: float, height_ft: float, *, hazard: int = 7, construction: str = "V",
    dwelling: bool = True, exposure: bool = False, stories: float = np.nan,
) -> Buildings:  # fmt: skip
    """Describe one building by hand; the distance to its neighbour stays unknown, and so may its storeys.

    >>> one_building(50, 30, 20).volume_cuft.tolist()
    [30000.0]
    """
    return Buildings(
        length_ft=np.array([float(length_ft)]), width_ft=np.array([float(width_ft)]),
        height_ft=np.array([float(height_ft)]), stories=np.array([stories]), hazard=np.array([float(hazard)]),
        construction=np.array([CONSTRUCTION_TYPES.index(construction)], dtype=np.int8),
        dwelling=np.array([dwelling]), exposure=np.array([exposure]), neighbour_ft=np.array([np.nan]),
    )  # fmt: skip
