"""The terms of the steady flow for the page's what-if: packed columns, each distinct set stored once.

Round trips go in ten-thousandths of a minute and supply lines in thousandths of a gpm, so that a flow worked out
in the page differs from planning's by less than a hundredth of a gpm.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt

from preplan.months import month_words
from preplan.plan import Plan, WhatIf
from preplan.records import FloatArray, IntArray
from preplan.render import words
from preplan.render.map_pack import NOT_KNOWN, Ints, pack, steps, whole

MINUTE_STEPS = 10_000
"""Round trips are whole ten-thousandths of a minute."""
GPM_STEPS = 1_000
"""Supply lines and required flows that are no whole gpm are whole thousandths."""
LIMITS = ("tankers", "fill site", "source", "dump site", "draft", "supply line", "hose", "engines")
"""What may hold a flow back, in the order in which the page's script counts."""


def what_if_data(plan: Plan, along: Ints) -> dict[str, Any] | None:
    """Collect what the page works flows out from; None where the plan has no terms."""
    terms = plan.what_if
    if terms is None:
        return None
    rules = plan.district.rules.plan
    used = np.unique(terms.rate[_engine_row(terms), np.arange(len(plan.sites))])
    return {
        **_trips(plan, terms, along),
        **_fleets(plan, terms, along),
        **_jobs(terms, used, along),
        "rateGpm": terms.rate_gpm[used].tolist(),
        "hold": [_finite(row) for row in terms.fill_hold_min[used]],
        "usable": terms.usable_gal.tolist(),
        "dumpHold": _finite(terms.dump_hold_min),
        "maneuver": terms.maneuver_min,
        "dumpPlaces": terms.dump_places,
        "positions": [site.positions for site in plan.sites],
        "duration": pack(steps(terms.duration[along])),
        "held": [_finite(row) for row in terms.held_gpm],
        "draft": terms.draft_gpm.tolist(),
        "line": [pack(column) for column in whole(terms.line_gpm[along], GPM_STEPS, way="down").T],
        **_exact(plan, along),
        **_seasons_apart(plan, terms, along),
        "limits": [words.limit_words(term) for term in LIMITS],
        "seasons": [{"months": list(s.months), "words": month_words(s.months)} for s in plan.seasons],
        "siteMonths": [sorted(site.months) for site in plan.sites],
        "conditions": [
            {"words": said, "factor": factor}
            for said, factor in (("Night", rules.night_factor), ("Mud", rules.mud_factor), ("Snow", rules.snow_factor))
        ],
    }


def _engine_row(terms: WhatIf) -> IntArray:
    """Give the row of `rate` of each fill engine: the last one stands for none."""
    return np.where(terms.fill_engine < 0, len(terms.rate) - 1, terms.fill_engine).astype(np.int32)


def _finite(values: FloatArray) -> list[float | None]:
    """List numbers for JSON; what has no end becomes null."""
    return [value if np.isfinite(value) else None for value in values.tolist()]


def _trips(plan: Plan, terms: WhatIf, along: Ints) -> dict[str, Any]:
    """Pack the round trips, and the fill sites that each address's trips lead to.

    The lightest class of vehicle stands whole, each heavier one as what it takes longer than the one before; the trips
    of each season of the roads, class by class, as what they differ from those of the season that decides.
    """
    reaches: dict[tuple[int, ...], int] = {}
    ends = np.searchsorted(plan.trips.address, np.arange(len(plan.addresses) + 1)).tolist()
    site = plan.trips.site.tolist()
    reach = [reaches.setdefault(tuple(site[first:last]), len(reaches)) for first, last in pairwise(ends)]
    steps_of = whole(terms.trip_min, MINUTE_STEPS)
    far = len(plan.sites) > plan.district.rules.plan.keep_sites
    return {
        "trip": pack(_steps_along(plan, along, steps_of[0])),
        "heavier": [pack(row) for row in np.diff(steps_of, axis=0)],
        "then": [[pack(row) for row in whole(season, MINUTE_STEPS) - steps_of] for season in terms.then_min],
        "roads": list(terms.roads_of),
        "reach": pack(steps(np.array(reach)[along])),
        "reaches": [list(one) for one in reaches],
        "partial": far and any(0 < len(one) < len(plan.sites) for one in reaches),
    }


def _steps_along(plan: Plan, along: Ints, trip: Ints) -> Ints:
    """Replace each round trip, address by address along the roads, by a small step.

    Neighbours' trips to one site differ by little, and to all sites by about the same: a step is what a trip
    differs from the trip before it to the same site, less the same of the address's trip before it.
    """
    grid_of = np.zeros((len(along), len(plan.sites)), dtype=np.int64)
    kept = np.zeros(grid_of.shape, dtype=np.bool_)
    place = np.empty(len(along), dtype=np.int64)
    place[along] = np.arange(len(along))
    rows, columns = place[plan.trips.address], plan.trips.site
    grid_of[rows, columns], kept[rows, columns] = trip, True
    # By column: the row of the last kept trip above, whose value stands where nothing is kept.
    last = np.maximum.accumulate(np.where(kept, np.arange(len(along))[:, None] + 1, 0), axis=0)
    filled = np.take_along_axis(np.concatenate([np.zeros_like(grid_of[:1]), grid_of]), last, axis=0)
    differ = np.diff(filled, axis=0, prepend=np.zeros_like(filled[:1]))[kept]
    step = np.diff(differ, prepend=0)
    first = np.diff(np.nonzero(kept)[0], prepend=-1) != 0
    step[first] = differ[first]
    return step


def _fleets(plan: Plan, terms: WhatIf, along: Ints) -> dict[str, Any]:
    """Pack who could haul, the most that each station sends, and the tankers of each class of vehicle."""
    return {
        "members": [np.flatnonzero(row).tolist() for row in terms.members],
        "order": pack(steps(terms.order[along])),
        "orders": [list(one) for one in terms.orders],
        "most": [NOT_KNOWN if one.max_tankers is None else one.max_tankers for one in plan.stations],
    }


def _jobs(terms: WhatIf, used: Ints | IntArray, along: Ints) -> dict[str, Any]:
    """Pack the engines' jobs: by row of jobs, then level, then site."""
    place = np.zeros(len(terms.rate_gpm), dtype=np.int64)
    place[used] = np.arange(len(used))
    sites: npt.NDArray[np.int64] = np.arange(terms.rate.shape[1])
    return {
        "job": pack(steps(terms.job[along])),
        "attack": terms.attack_engine.tolist(),
        "dumpEngine": pack(terms.dump_engine),
        "vacuum": pack(terms.vacuum_only),
        "lineOf": pack(terms.line),
        "rate": pack(place[terms.rate[_engine_row(terms), sites]]),
    }


def _exact(plan: Plan, along: Ints) -> dict[str, str]:
    """Pack required and steady flows in thousandths where a required flow is no whole gpm.

    '' where it is: then the page's whole ones judge alike.
    """
    need = plan.needs.required_gpm
    known = need[np.isfinite(need)]
    if np.array_equal(known, np.round(known)):
        return {"need": "", "planned": ""}
    flow = plan.levels.sustained_gpm
    return {
        "need": pack(steps(whole(need[along], GPM_STEPS, way="up"))),
        "planned": pack(steps(whole(flow[along], GPM_STEPS, way="down"))),
    }


def _seasons_apart(plan: Plan, terms: WhatIf, along: Ints) -> dict[str, Any]:
    """Pack the season that decides each answer, and by season the two fill sites of answers that then move to others.

    -1 where an answer's own fill sites stand in that season too, over the same roads: it cannot become worse than the
    one that decides.
    """
    levels, elsewhere, roads = plan.levels, [], np.array(terms.roads_of)
    for at, season in enumerate(plan.seasons):
        stands = np.zeros(len(plan.sites) + 1, dtype=np.bool_)
        stands[[*season.sites, -1]] = True  # the last stands for no second site
        stays = stands[levels.site] & stands[levels.split]
        alike = (season.best_site == levels.site) & (season.split_site == levels.split)
        moves = (levels.site >= 0) & ~(stays & ((roads[levels.season] == roads[at]) | alike))
        both = (np.where(moves, sites, NOT_KNOWN) for sites in (season.best_site, season.split_site))
        elsewhere.append([pack(steps(sites[along])) for sites in both])
    return {"decides": pack(steps(levels.season[along])), "elsewhere": elsewhere}
