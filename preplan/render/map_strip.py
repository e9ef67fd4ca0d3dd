"""The cards' timeline strips as columns for the page, which draws them as the cards do.

Of each strip the page gets minutes to a tenth, water on scene to what can be seen, and the words that the card
says. The water's line goes as steps: so long, so far up or down, and what begins or ends there. Few of them are
distinct in a district, since tankers dump and fires draw at few rates; each is stored once, the commonest first.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from preplan.plan import Plan
from preplan.plan_cards import CardGroup, Strip
from preplan.records import BoolArray, FloatArray
from preplan.render import strip, words
from preplan.render.first_minutes import how_dry, nursed_words
from preplan.render.map_pack import NOT_KNOWN, Ints, Page, Texts, pack, steps, whole

ACROSS_PX, UP_PX = 360.0, 100.0
"""The drawing for which the line is made simple: half a pixel of it is the most that is lost."""
UP_STEPS = 200
"""Water on scene in whole parts of the scale's upper end, half a pixel each."""
TENTHS = 10
"""Parts of a minute."""
MARK_DUMP, MARK_GAP, MARK_ENOUGH, MARK_NOTHING, MARK_SOME = 1, 2, 4, 8, 16
"""Bits of a point: a load starts to dump; too little flows from here on; enough does; nothing flows; something does."""
_BEND_PX = 0.2  # a point nearer to the line past it is left out; rounding takes the rest of the half pixel


def strip_data(plan: Plan, along: Ints) -> Page:
    """Collect the strips of all cards, in the order of their lead addresses along the roads."""
    place = np.empty(len(along), dtype=np.int64)
    place[along] = np.arange(len(along))
    drawn = sorted(
        ((group, group.strip) for group in plan.groups if group.strip is not None and len(group.strip.minute)),
        key=lambda one: int(place[one[0].lead]),
    )
    groups = [group for group, _ in drawn]
    lines = [one for _, one in drawn]
    runs = [water_points(one) for one in lines]
    points = np.concatenate([_steps_of(run) for run in runs]) if runs else np.empty((0, 3), dtype=np.int64)
    kinds, kind = _by_count(points)
    return {
        "legend": strip.LEGEND,
        "most": UP_STEPS,
        "of": pack(steps(_strip_of(plan, groups)[along])),
        "lead": pack(steps([int(place[group.lead]) for group in groups])),
        **_said(plan, groups, lines),
        **_arrivals(lines),
        "points": pack(steps([len(run) for run in runs])),
        # Ranks from 0 up, folded so that pack() spends one byte on twice as many.
        "kind": pack((kind >> 1) ^ -(kind & 1)),
        "stepMin": pack(kinds[:, 0]),
        "stepUp": pack(kinds[:, 1]),
        "stepMark": pack(kinds[:, 2]),
    }


def water_points(lines: Strip) -> Ints:
    """Give the water's line as (k, 3) points: tenths of a minute, parts of the scale's upper end, marks.

    Each dump and each end of a gap is a point. Others that lie on the line past them are left out.
    """
    tenth = whole(lines.minute, TENTHS)
    at, mark = _marks(lines, tenth)
    minute, gal = lines.minute, lines.on_scene_gal
    place = np.searchsorted(tenth, at, side="right") - 1
    new = np.unique(at[tenth[place] != at])
    if len(new):
        before = np.searchsorted(tenth, new)
        minute = np.insert(minute, before, new / TENTHS)
        gal = np.insert(gal, before, np.interp(new / TENTHS, lines.minute, lines.on_scene_gal))
        tenth = np.insert(tenth, before, new)
        place = np.searchsorted(tenth, at, side="right") - 1
    marks = np.zeros(len(tenth), dtype=np.int64)
    np.bitwise_or.at(marks, place, mark)
    most_gal = strip.gallons_scale(lines)[0]
    straight = _straight(minute * (ACROSS_PX / minute[-1]) if minute[-1] > 0 else minute, gal * (UP_PX / most_gal))
    keep = ~(straight & (marks == 0))
    points: Ints = np.column_stack([tenth, whole(gal, UP_STEPS / most_gal), marks])[keep]
    return points


def _marks(lines: Strip, tenth: Ints) -> tuple[Ints, Ints]:
    """List the minutes, in tenths, at which something begins or ends on the line, and the mark of each."""
    kinds = (
        (MARK_DUMP, np.array([minute for minute, _ in lines.dumps])),
        (MARK_GAP, lines.told_gaps_min[:, 0]),
        (MARK_ENOUGH, lines.told_gaps_min[:, 1]),
        (MARK_NOTHING, lines.told_nothing_min[:, 0]),
        (MARK_SOME, lines.told_nothing_min[:, 1]),
    )
    at = whole(np.concatenate([minutes for _, minutes in kinds]), TENTHS)
    mark = np.repeat([bit for bit, _ in kinds], [len(minutes) for _, minutes in kinds])
    inside = (at >= tenth[0]) & (at <= tenth[-1])
    return at[inside], mark[inside]


def _straight(x: FloatArray, y: FloatArray) -> BoolArray:
    """Tell which points to leave out: nearly on the line from the one before to the one after, both of which stay."""
    off = np.full(len(x), np.inf)
    wide, high = x[2:] - x[:-2], y[2:] - y[:-2]
    area = wide * (y[1:-1] - y[:-2]) - high * (x[1:-1] - x[:-2])
    off[1:-1] = np.abs(area) / np.maximum(np.hypot(wide, high), _BEND_PX)
    low, top = np.minimum(y[2:], y[:-2]), np.maximum(y[2:], y[:-2])
    past = (y[1:-1] < low - _BEND_PX) | (y[1:-1] > top + _BEND_PX)  # a peak in one minute lies on the line too
    near = (off < _BEND_PX) & ~np.concatenate([[True], past, [True]])[: len(x)]
    # Every other one of several in a row.
    run = np.arange(len(x)) - np.maximum.accumulate(np.where(near, -1, np.arange(len(x))))
    out: BoolArray = near & (run % 2 == 1)
    return out


def _steps_of(run: Ints) -> Ints:
    """Replace minutes and heights, but the first, by their steps; marks stay."""
    stepped = run.copy()
    stepped[1:, :2] -= run[:-1, :2]
    return stepped


def _by_count(rows: Ints) -> tuple[Ints, Ints]:
    """Give the distinct rows, the most frequent first, and the place of every row among them."""
    order = np.lexsort(rows.T)
    new = np.any(np.diff(rows[order], axis=0, prepend=rows[order[:1]] - 1) != 0, axis=1)
    count = np.diff(np.append(np.flatnonzero(new), len(rows)))
    by_count = np.argsort(-count, kind="stable")
    rank = np.empty(len(count), dtype=np.int64)
    rank[by_count] = np.arange(len(count))
    place = np.empty(len(rows), dtype=np.int64)
    place[order] = rank[np.cumsum(new) - 1]
    return rows[order][new][by_count], place


def _strip_of(plan: Plan, groups: Sequence[CardGroup]) -> Ints:
    """Give the number of each address's strip; -1 for none."""
    found = np.full(len(plan.addresses), NOT_KNOWN, dtype=np.int64)
    for at, group in enumerate(groups):
        found[list(group.addresses)] = at
    return found


def _said(plan: Plan, groups: Sequence[CardGroup], lines: Sequence[Strip]) -> Page:
    """List what each strip says, as the card does: how called, the scale, the longest gap, the demand."""
    calls, ticks, gaps, demands, nurses = Texts(), Texts(), Texts([""], {"": 0}), Texts(), Texts([""], {"": 0})
    flows = Texts()
    level = plan.answers.level
    asked = [whole(one.demand_min, TENTHS).tolist() for one in lines]
    longest = [strip.longest_gap(one) for one in lines]
    columns = {
        "call": [
            calls.place(words.called_words(plan, float(plan.answers.first_arrival_min[group.lead]), one.called))
            for group, one in zip(groups, lines, strict=True)
        ],
        "nurse": [
            nurses.place(nursed_words(plan, group.lead, int(level[group.lead]), one))
            for group, one in zip(groups, lines, strict=True)
        ],
        "tick": [ticks.place(tuple(strip.gallons_scale(one)[2])) for one in lines],
        "gap": [gaps.place("" if one is None else one[1]) for one in longest],
        "flow": [flows.place(_flowing(one)) for one in lines],
        "longest": [NOT_KNOWN if one is None else one[0] for one in longest],
        "first": [sum(tenths[:1]) for tenths in asked],
        "demand": [demands.place(_demand(one, tenths)) for one, tenths in zip(lines, asked, strict=True)],
    }
    every = {"calls": calls, "nurses": nurses, "ticks": ticks, "gaps": gaps, "flows": flows, "demands": demands}
    texts = {name: found.values for name, found in every.items()}
    return {**{name: pack(steps(column)) for name, column in columns.items()}, **texts}


def _flowing(lines: Strip) -> tuple[str, str]:
    """Say whether too little flows in the gaps or nothing does; where some flows in part of them, how long nothing."""
    dry, short = how_dry(lines.dry_min, lines.nothing_within_min())
    if not short:
        return "Nothing flows", ""
    lasts = words.lasting(lines.nothing_within_min())
    return "Too little flows", f"; nothing at all for {lasts} in all" if dry else ""


def _demand(lines: Strip, tenths: Sequence[int]) -> tuple[tuple[int, str], ...]:
    """Give the demand's steps: tenths of a minute since the first, and gpm in words, '' for none."""
    said = [words.need(gpm) if gpm > 0 else "" for gpm in lines.demand_gpm.tolist()]
    return tuple(zip([tenth - tenths[0] for tenth in tenths], said, strict=True))


def _arrivals(lines: Sequence[Strip]) -> Page:
    """List who comes on scene, by minute: the names of each strip as one distinct row, the minutes as steps."""
    crews = Texts()
    crew, minutes = [], []
    for one in lines:
        last_min = float(one.minute.max())
        coming = sorted((minute, words.printable(unit)) for minute, unit in one.arrivals if minute <= last_min)
        crew.append(crews.place(tuple(unit for _, unit in coming)))
        tenth = whole([minute for minute, _ in coming], TENTHS).tolist()
        minutes += [after - before for before, after in pairwise([0, *tenth])]
    return {"crew": pack(steps(crew)), "crews": crews.values, "arrive": pack(minutes)}
