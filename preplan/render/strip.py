"""The timeline strip as plain geometry: water on scene against minutes, what the fire asks for, where too little flows.

Nothing here draws: `picture` gives strokes, areas and words in points, from which `strip_pdf` and `strip_image`
draw paper and pictures. Black, white and grey alone carry the meaning, so a photocopy keeps it: water is a grey
area under a line, a stretch in which too little flows is hatched, crosswise where nothing does, a load that starts to
dump is a bar on the base line, a unit that comes on scene is a stem with its name.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias, TypeVar

import numpy as np

from preplan.plan_cards import Strip
from preplan.records import FloatArray
from preplan.render import words
from preplan.render.first_minutes import how_dry
from preplan.render.scene import Box
from preplan.render.strip_names import APART_PT, Flag, Names

TEXT_PT = 8.0
"""Size of every text of the strip."""
BLACK, DARK, MID, LIGHT, WHITE = 0.0, 0.25, 0.55, 0.85, 1.0
"""Shades of grey: share of white."""
LEAST_WIDTH_PT, LEAST_HEIGHT_PT = 200.0, 60.0
"""A strip smaller than this has no room for its texts."""
LEGEND = (
    "Grey: water on scene, gal. Hatched: too little flows, crosswise: nothing. Bars: a load starts to dump. "
    "Stems: unit on scene."
)

_HATCHED = {(True, False): "Crosshatched: nothing flows", (True, True): "Hatched: too little flows, crosswise: nothing"}
"""What hatching means where some of it is dry, by `how_dry`."""
_NEAR_PT = 1e-6  # a box that was added up from parts is as high as meant but for this
_ROW_PT = TEXT_PT * 1.15
_LANE_PT = TEXT_PT * 1.4  # the demand's lane
_BARS_PT = 6.0  # the dumps' lane
_AXIS_PT = TEXT_PT * 1.5
_GAP_PT = APART_PT
_MOST_ROWS = 3
_LEAST_PLOT_PT = 18.0
_HATCH_PT = 3.2
_CROSSED_PT = 1.2  # what crosses the hatching is heavier, so that both are told apart side by side on a grey copy
_LEAST_GAP_PT = 1.6  # a dry stretch is never drawn thinner, so that it is seen
_TICK_PT = 2.5
_MINUTE_PT = 22.0  # least from one labelled minute to the next
_EMPTY_MIN = 60.0  # shown where nothing happens
_DEMAND = "demand"
_NICE = (1.0, 2.0, 2.5, 5.0, 10.0)

_Value = TypeVar("_Value", float, FloatArray)

Measure: TypeAlias = Callable[[str], float]
"""Gives the width in points of a text of `TEXT_PT`, not bold."""


@dataclass(frozen=True, slots=True)
class Stroke:
    """Lines of one pen."""

    paths: tuple[FloatArray, ...] | FloatArray
    """Each (n, 2) points; straight lines as one array (lines, 2, 2)."""
    width_pt: float
    shade: float = BLACK
    dash_pt: tuple[float, float] | None = None
    """Drawn and left out, in turn."""


@dataclass(frozen=True, slots=True)
class Area:
    """A filled shape without an outline."""

    points: FloatArray
    """(n, 2)"""
    shade: float


@dataclass(frozen=True, slots=True)
class Words:
    """One text of `TEXT_PT` whose base line starts at a place."""

    x: float
    y: float
    said: str


Part: TypeAlias = Stroke | Area | Words
"""What a drawer must know to draw; in the order of drawing."""


@dataclass(frozen=True, slots=True)
class Scale:
    """Minutes and gallons to places on the page."""

    plot: Box
    last_min: float
    most_gal: float

    def x(self, minute: _Value) -> _Value:
        """Give places from the left for minutes."""
        return self.plot.left + minute * (self.plot.width / self.last_min)

    def y(self, gal: _Value) -> _Value:
        """Give places from below for gallons."""
        return self.plot.bottom + gal * (self.plot.height / self.most_gal)

    def points(self, minute: FloatArray, gal: FloatArray) -> FloatArray:
        """Give (n, 2) places."""
        return np.column_stack([self.x(minute), self.y(gal)])


def picture(lines: Strip, page: Box, measure: Measure, *, legend: bool = False) -> list[Part]:
    """Lay the strip out in a box of the page, in points, up from the lower left.

    Parameters
    ----------
    lines
        What to show; an account in which nothing happens gives the axes alone.
    page
        At least 200 x 60 points; 540 x 94 (7.5 x 1.3 in) shows a two-hour account well.
    measure
        Widths in the drawer's font.
    legend
        Add a line that says what the marks mean.

    Raises
    ------
    ValueError
        Where the box is too small for the texts.
    """
    if page.width < LEAST_WIDTH_PT - _NEAR_PT or page.height < LEAST_HEIGHT_PT - _NEAR_PT:
        raise ValueError(f"a strip of {page.width:g} x {page.height:g} points: must be at least 200 x 60")
    last_min = float(lines.minute.max(initial=0.0)) or _EMPTY_MIN
    most_gal, ticks_gal, said_gal = gallons_scale(lines)
    low = page.bottom + _AXIS_PT + _LANE_PT + _BARS_PT + (_ROW_PT if legend else 0.0)
    left = page.left + max(map(measure, (*said_gal, _DEMAND))) + _GAP_PT
    right = page.right - measure("0")
    rows = max(0, min(_MOST_ROWS, int((page.top - low - _LEAST_PLOT_PT) / _ROW_PT)))
    across = Scale(Box(left, low, right, page.top), last_min, most_gal)
    flags = _flags(lines, across, measure, rows)
    used = 1 + max((flag.row for flag in flags), default=-1)
    scale = replace(across, plot=Box(left, low, right, page.top - used * _ROW_PT - _GAP_PT))
    parts: list[Part] = [
        *_water(lines, scale),
        *_wide_gap(lines, scale, measure),
        *_up_axis(scale, ticks_gal, said_gal, measure),
        *_stems(flags, scale),
        *_bars(lines, scale),
        *_lane(lines, scale, measure),
        *_minute_axis(scale, measure),
    ]
    if legend:
        parts.append(Words(page.left, page.bottom + TEXT_PT * 0.25, LEGEND))
    return parts


def hatched_words(lines: Strip) -> str:
    """Say in a few words what is drawn, of hatching what there is."""
    dry = how_dry(lines.dry_min, lines.nothing_within_min())
    return f"Grey: gallons on scene. {_HATCHED.get(dry, 'Hatched: too little flows')}. Bars: loads."


def gallons_scale(lines: Strip) -> tuple[float, list[float], list[str]]:
    """Give the upper end of the scale of gallons, its ticks, and what is written at them."""
    most_gal, ticks_gal = nice_ticks(float(lines.on_scene_gal.max(initial=0.0)), 3)
    return most_gal, ticks_gal, [words.number(gal) + (" gal" if gal == most_gal else "") for gal in ticks_gal]


def nice_ticks(most: float, count: int) -> tuple[float, list[float]]:
    """Give a round upper end for a scale from 0 that holds `most`, and about `count` round ticks up to it.

    >>> nice_ticks(5340.0, 3)
    (6000.0, [0.0, 2000.0, 4000.0, 6000.0])
    """
    if most <= 0:
        return 1000.0, [0.0, 1000.0]
    step = nice_step(most / count)
    steps = math.ceil(most / step - 1e-9)
    return steps * step, [step * at for at in range(steps + 1)]


def nice_step(least: float) -> float:
    """Give the next round number from `least` up: 1, 2, 2.5, 5 or 10 times a power of ten."""
    power = 10.0 ** math.floor(math.log10(least))
    return next((nice * power for nice in _NICE if nice * power >= least * (1 - 1e-9)), 10.0 * power)


# --------------------------------------------------------------------------- the plot


def _water(lines: Strip, scale: Scale) -> list[Part]:
    """Draw the water on scene: a grey area, the gaps hatched over it, and its line on top, so that it shows in them."""
    if not len(lines.minute):
        return _gaps(lines, scale)
    line = scale.points(lines.minute, lines.on_scene_gal)
    ends = np.array([[line[-1, 0], scale.plot.bottom], [line[0, 0], scale.plot.bottom]])
    # The account opens with what is there: the line rises from nothing.
    return [Area(np.vstack([line, ends]), LIGHT), *_gaps(lines, scale), Stroke((np.vstack([ends[1:], line]),), 1.2)]


def _gaps(lines: Strip, scale: Scale) -> list[Part]:
    """Hatch the stretches in which too little flows from the lane of demand up, crosswise where nothing does."""
    parts: list[Part] = []
    for span in lines.told_gaps_min.tolist():
        box = _gap_box(scale, *span)
        sides = _uprights((box.left, box.right), box.bottom, box.top)
        parts += [Stroke(hatch(box, _HATCH_PT), 0.5), Stroke(sides, 0.6)]
    falling = [hatch(_gap_box(scale, *span), _HATCH_PT, falling=True) for span in lines.told_nothing_min.tolist()]
    return parts + ([Stroke(np.concatenate(falling), _CROSSED_PT)] if falling else [])


def _gap_box(scale: Scale, start_min: float, stop_min: float) -> Box:
    left, right = scale.x(start_min), scale.x(stop_min)
    middle, half = (left + right) / 2, max(right - left, _LEAST_GAP_PT) / 2
    return Box(middle - half, scale.plot.bottom - _BARS_PT - _LANE_PT, middle + half, scale.plot.top)


def longest_gap(lines: Strip) -> tuple[int, str] | None:
    """Give the row of the longest stretch of too little water and what is written about it; None where there is none.

    It is dry where nothing flows; of one in which some flows, how much of it is dry is told too.
    """
    if not len(lines.told_gaps_min):
        return None
    row = int(np.argmax(np.diff(lines.gaps_min, axis=1)[:, 0]))
    start_min, stop_min = lines.gaps_min[row].tolist()
    lasts_min, dry_min = stop_min - start_min, lines.nothing_within_min(start_min, stop_min)
    dry, short = how_dry(lasts_min, dry_min)
    which = f"{'longest ' * (len(lines.gaps_min) > 1)}{'short' if short else 'dry'} {words.lasting(lasts_min)}"
    return row, f"{which}, dry {words.lasting(dry_min)}" if dry and short else which


def _longest(lines: Strip) -> tuple[float, float, str] | None:
    """Give the ends of the longest stretch of too little water and what is written about it; None: there is none."""
    longest = longest_gap(lines)
    if longest is None:
        return None
    row, said = longest
    start_min, stop_min = lines.gaps_min[row].tolist()
    return start_min, stop_min, said


def _fits_gap(start_min: float, stop_min: float, said: str, scale: Scale, measure: Measure) -> bool:
    return measure(said) + 2 * _GAP_PT <= scale.x(stop_min) - scale.x(start_min)


def _wide_gap(lines: Strip, scale: Scale, measure: Measure) -> list[Part]:
    """Say how long the longest stretch of too little water is, where it has room; else it stands among the names."""
    longest = _longest(lines)
    if longest is None or not _fits_gap(*longest, scale, measure):
        return []
    start_min, stop_min, said = longest
    middle = scale.x((start_min + stop_min) / 2)
    return _boxed(said, middle, scale.plot.top - TEXT_PT * 1.5, scale.plot, measure)


def hatch(box: Box, step: float, *, falling: bool = False) -> FloatArray:
    """Give (n, 2, 2) lines at 45 degrees that fill a box, cut at its edges, `step` apart along the page.

    They lie on one raster of the page, so that boxes side by side look alike.
    """
    if falling:
        return hatch(Box(-box.right, box.bottom, -box.left, box.top), step) * (-1.0, 1.0)
    first, last = math.ceil((box.left - box.top) / step), math.floor((box.right - box.bottom) / step)
    shift = np.arange(first, last + 1) * step  # each line is x = y + shift
    low, high = np.maximum(box.bottom, box.left - shift), np.minimum(box.top, box.right - shift)
    ends = np.array([[low + shift, low], [high + shift, high]]).transpose(2, 0, 1)
    lines: FloatArray = ends[high > low]
    return lines


def _corners(box: Box) -> FloatArray:
    left, bottom, right, top = box
    return np.array([[left, bottom], [right, bottom], [right, top], [left, top]])


def _uprights(places: Sequence[float], low: float, high: float) -> FloatArray:
    """Give (n, 2, 2) upright lines."""
    return np.array([[[x, low], [x, high]] for x in places])


def _boxed(said: str, middle: float, y: float, within: Box, measure: Measure) -> list[Part]:
    """Write a text on white, centred as far as the plot allows."""
    width = measure(said)
    left = min(max(middle - width / 2, within.left + 1.0), within.right - width - 1.0)
    ground = Box(left - 1.5, y - TEXT_PT * 0.25, left + width + 1.5, y + TEXT_PT * 0.95)
    return [Area(_corners(ground), WHITE), Words(left, y, said)]


def _up_axis(scale: Scale, ticks_gal: Sequence[float], said_gal: Sequence[str], measure: Measure) -> list[Part]:
    left, right = scale.plot.left, scale.plot.right
    heights = [scale.y(gal) for gal in ticks_gal]
    levels = np.array([[[left, y], [right, y]] for y in heights[1:]])
    parts: list[Part] = [
        Stroke(levels, 0.4, MID, (1.0, 2.0)),
        Stroke((np.array([[left, scale.plot.top], [left, scale.plot.bottom], [right, scale.plot.bottom]]),), 0.8),
    ]
    free = -math.inf
    for y, said in reversed(list(zip(heights, said_gal, strict=True))):  # the top one has the unit: it stands
        if free == -math.inf or free - y >= TEXT_PT:
            parts.append(Words(left - _GAP_PT - measure(said), y - TEXT_PT * 0.36, said))
            free = y
    return parts


# --------------------------------------------------------------------------- who comes


def _flags(lines: Strip, scale: Scale, measure: Measure, rows: int) -> list[Flag]:
    """Name the units by their arrival, and the longest stretch of too little water where it is too narrow for words."""
    names = Names(scale.plot.left, scale.plot.right, rows, measure)
    coming = sorted((minute, words.printable(unit)) for minute, unit in lines.arrivals if minute <= scale.last_min)
    flags = [names.flag((scale.x(minute),), unit) for minute, unit in coming]
    longest = _longest(lines)
    if longest is not None and not _fits_gap(*longest, scale, measure):
        flags.append(names.flag((scale.x(longest[0]),), longest[2], extra=True))
    return names.place(flags)


def _stems(flags: Sequence[Flag], scale: Scale) -> list[Part]:
    """Draw each stem from the base line up to its name; of units that share one, the later up to the plot's top."""
    low, top = scale.plot.bottom, scale.plot.top
    stems: list[tuple[tuple[float, float], tuple[float, float]]] = []
    parts: list[Part] = []
    for flag in flags:
        base = top + _GAP_PT + flag.row * _ROW_PT
        foot = top if flag.extra else low
        stems.append(((flag.stems[0], foot), (flag.stems[0], base + _ROW_PT * 0.8)))
        stems += [((x, low), (x, top + _GAP_PT * 0.6)) for x in flag.stems[1:]]
        parts.append(Words(flag.left, base + TEXT_PT * 0.12, flag.said))
    return [Stroke(np.array(stems), 0.6, DARK), *parts] if flags else []


# --------------------------------------------------------------------------- below the base line


def _bars(lines: Strip, scale: Scale) -> list[Part]:
    """Draw a bar below the base line for each load that starts to dump."""
    top = scale.plot.bottom - 0.8
    places = [scale.x(minute) for minute, _ in lines.dumps if minute <= scale.last_min]
    return [Stroke(_uprights(places, top, top - _BARS_PT + 1.6), 1.6)] if places else []


def _lane(lines: Strip, scale: Scale, measure: Measure) -> list[Part]:
    """Draw what the fire asks for: one box a step, with its gpm where that fits."""
    top = scale.plot.bottom - _BARS_PT
    base = top - _LANE_PT + TEXT_PT * 0.33
    parts: list[Part] = [Words(scale.plot.left - _GAP_PT - measure(_DEMAND), base, _DEMAND)]
    edges = np.append(lines.demand_min, scale.last_min)
    for start_min, stop_min, gpm in zip(
        edges[:-1].tolist(), edges[1:].tolist(), lines.demand_gpm.tolist(), strict=True
    ):
        if gpm <= 0 or start_min >= scale.last_min:
            continue
        box = Box(scale.x(start_min), top - _LANE_PT, scale.x(min(stop_min, scale.last_min)), top)
        corners = _corners(box)
        parts.append(Stroke((np.vstack([corners, corners[:1]]),), 0.6))
        fitting = [said for said in (f"{words.need(gpm)} gpm", words.need(gpm)) if measure(said) <= box.width - 4.0]
        if fitting:
            parts += _boxed(fitting[0], (box.left + box.right) / 2, base, box, measure)
    return parts


def _minute_axis(scale: Scale, measure: Measure) -> list[Part]:
    """Label the minutes below the lane of demand."""
    left, right = scale.plot.left, scale.plot.right
    top = scale.plot.bottom - _BARS_PT - _LANE_PT
    base = top - _TICK_PT - TEXT_PT * 0.85
    step = nice_step(scale.last_min * _MINUTE_PT / scale.plot.width)
    minutes = [step * at for at in range(math.floor(scale.last_min / step + 1e-9) + 1)]
    places = [scale.x(minute) for minute in minutes]
    axis = np.array([[[left, top], [right, top]]])
    parts: list[Part] = [Stroke(np.concatenate([axis, _uprights(places, top, top - _TICK_PT)]), 0.6)]
    parts.append(Words(left - _GAP_PT - measure("0") - measure(" min"), base, "min"))
    digits = 0 if step >= 1 and step == int(step) else 1
    for x, minute in zip(places, minutes, strict=True):
        said = words.number(minute, digits)
        parts.append(Words(min(x - measure(said) / 2, scale.plot.right + measure("0") - measure(said)), base, said))
    return parts
