"""Water on the fireground, minute by minute: what a case delivers, from which minute, and where it fails.

Minute 0 is the alerting of units. A `Case` holds the numbers of one address, fill site and response level;
`answer` gives what is printed about it; `account` the whole ledger (event table, pieces of constant rates);
`strip` the lines of the card's drawing. `call_by_min`, `one_out_gpm`, `best_flow` and `last_useful` ask a case's
variants.
Many cases at once belong to `preplan.water.timeline_batch`, which equals this module and is much faster.

>>> t1 = Tanker(
...     unit_id="T1", arrival_min=13, usable_gal=1800, fill_gpm=900, dump_gpm=900, out_min=6, back_min=4,
...     fill_hookup_min=2, dump_hookup_min=1, portable_gal=3000,
... )
>>> t2 = Tanker(
...     unit_id="T2", arrival_min=20, usable_gal=2700, fill_gpm=900, dump_gpm=900, out_min=6, back_min=4,
...     fill_hookup_min=2, dump_hookup_min=1, portable_gal=3000,
... )
>>> case = Case(
...     tankers=(t1, t2), attack_arrival_min=10, booster_gal=1000, dump_engine_arrival_min=10, dump_setup_min=3,
...     fill_engine_arrival_min=12, fill_setup_min=8, site_gpm=900, required_gpm=500, required_min=120,
... )
>>> found = answer(case)
>>> found.on_scene_gal, round(found.uninterrupted_gpm, 2), found.tight_min, found.established_min
(3550.0, 253.18, 135.0, 34.0)
>>> round(found.gap_min, 1), found.gap_stretches, round(found.first_gap_min, 1), round(found.short_gal)
(55.3, 11, 32.1, 27650)
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np

from preplan.plan_cards import Nursed, Strip
from preplan.water.same import LEAST_SHORT, SAME
from preplan.water.timeline_case import NEVER, Case, PortableTank, Surge, Tanker
from preplan.water.timeline_events import INSTANT_MIN, Event, Piece, Run
from preplan.water.timeline_scene import GRAIN_GAL
from preplan.water.uninterrupted import HeldFlow, arrived_by, held_flow

__all__ = [
    "NEVER", "Answer", "Case", "Event", "HeldFlow", "PortableTank", "Queueing", "Strip", "Surge", "Tanker",
    "account", "answer", "best_flow", "brought_gpm", "call_by_min", "dry_stretches", "gap_min", "held_flow",
    "last_useful", "one_out_gpm", "strip",
]  # fmt: skip

DRY_GPM = 1e-6
"""Demand that is lacking by less than this is met."""
GAP_MIN = 1e-6
"""A gap below this is none: it is the rounding of two equal minutes."""


@dataclass(frozen=True, slots=True)
class Queueing:
    """How one tanker's minutes went, up to F + required_min."""

    unit_id: str
    loads: int
    """Loads it began to dump."""
    fill_wait_min: float
    """For a place, or for the fill site to be ready."""
    dump_wait_min: float
    room_wait_min: float
    """By how much full portable tanks slowed its dumping."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What is printed about one case. A minute that does not come, or not before the end, is NaN."""

    first_water_min: float
    """From the booster tank; NaN where the attack engine has none."""
    dump_ready_min: float
    fill_ready_min: float
    established_min: float
    """The first refilled load starts to dump."""
    on_scene_gal: float
    """At F, the minute of full flow: booster tank and portable tanks above their dead water."""
    gap_min: float
    """Dry minutes from first water to F + required_min."""
    first_gap_min: float
    gap_stretches: int
    longest_gap_min: float
    short_gal: float
    nothing_min: float
    """Of the dry minutes those in which nothing flows at all: with the first, the longest stretch, what is short."""
    first_nothing_min: float
    longest_nothing_min: float
    nothing_gal: float
    mws_by_min: float
    """The minute by which required_gal has arrived; NaN where it has not by F + required_min, or is not asked."""
    surge_min: float
    """Minutes of the surge before the first dry one; NaN: no surge."""
    uninterrupted_gpm: float
    tight_min: float
    """The minute at which the uninterrupted flow is tightest; NaN where draft or supply line hold it."""
    limited_by: str
    """What holds the uninterrupted flow; '' where it is what limits the sustained flow."""
    queueing: tuple[Queueing, ...]
    events: tuple[Event, ...]


def account(case: Case, flow_gpm: float | None = None) -> Run:
    """Run a case from alerting to F + required_min; `flow_gpm` stands for the demand from F on, where given."""
    return Run(case, flow_gpm).go()


def dry_stretches(run: Run, *, nothing: bool = False) -> list[tuple[float, float]]:
    """List the stretches (from minute, to minute) in which the demand exceeds what can be delivered.

    `nothing`: those of them in which nothing flows at all.
    """
    dry: list[tuple[float, float]] = []
    for piece in run.pieces:
        if not _is_dry(piece, nothing=nothing):
            continue
        if dry and piece.start_min - dry[-1][1] <= INSTANT_MIN:
            dry[-1] = (dry[-1][0], piece.end_min)
        else:
            dry.append((piece.start_min, piece.end_min))
    return [stretch for stretch in dry if stretch[1] - stretch[0] > GAP_MIN]


def _is_dry(piece: Piece, *, nothing: bool) -> bool:
    """Tell whether too little flows in a piece, or nothing at all."""
    delivered = piece.flow.delivered
    return piece.demand_gpm - delivered > DRY_GPM and not (nothing and delivered > DRY_GPM)


def gap_min(case: Case) -> float:
    """Add up the dry minutes of a case; NaN where no attack engine comes."""
    if not case.end_min < NEVER:
        return math.nan
    return sum(stop - start for start, stop in dry_stretches(account(case)))


def answer(case: Case) -> Answer:
    """Work out everything that is printed about one case."""
    run, held = account(case), held_flow(case)
    dry, nothing = dry_stretches(run), dry_stretches(run, nothing=True)
    runs = case.end_min < NEVER
    return Answer(
        first_water_min=_known(case.first_water_min) if case.booster_gal > 0.0 else math.nan,
        dump_ready_min=_known(case.dump_ready_min),
        fill_ready_min=run.fill_ready_min if run.fill_ready_min < case.end_min < NEVER else math.nan,
        established_min=run.established_min,
        on_scene_gal=_on_scene_at(run, case.full_flow_min) if runs else 0.0,
        gap_min=sum(stop - start for start, stop in dry) if runs else math.nan,
        first_gap_min=dry[0][0] if dry else math.nan,
        gap_stretches=len(dry),
        longest_gap_min=max((stop - start for start, stop in dry), default=0.0) if runs else math.nan,
        short_gal=_short_gal(run.pieces) if runs else math.nan,
        nothing_min=sum(stop - start for start, stop in nothing) if runs else math.nan,
        first_nothing_min=nothing[0][0] if nothing else math.nan,
        longest_nothing_min=max((stop - start for start, stop in nothing), default=0.0) if runs else math.nan,
        nothing_gal=_short_gal([one for one in run.pieces if _is_dry(one, nothing=True)]) if runs else math.nan,
        mws_by_min=_arrived_min(run, case.required_gal),
        surge_min=_surge_min(case, dry),
        uninterrupted_gpm=held.gpm,
        tight_min=held.tight_min,
        limited_by=held.limited_by,
        queueing=tuple(
            Queueing(t.tanker.unit_id, t.loads, t.fill_wait_min, t.dump_wait_min, t.room_wait_min) for t in run.trucks
        ),
        events=event_table(run, dry),
    )


def _short_gal(pieces: Sequence[Piece]) -> float:
    """Add up the demand that is not delivered."""
    return sum((piece.demand_gpm - piece.flow.delivered) * (piece.end_min - piece.start_min) for piece in pieces)


def event_table(run: Run, dry: list[tuple[float, float]]) -> tuple[Event, ...]:
    """Give the events by minute with the dry stretches among them, behind the others of their instant."""
    marks = [(start, "dry") for start, _ in dry] + [(stop, "flow again") for _, stop in dry]
    books = {event.minute: event for event in run.events}
    lines = list(run.events)
    for minute, what in marks:
        known = books.get(minute)
        if known is not None:
            lines.append(replace(known, unit_id="", what=what))
        else:
            lines.append(_book_at(run, minute, what))
    return tuple(sorted(lines, key=lambda event: event.minute))


def _book_at(run: Run, minute: float, what: str) -> Event:
    """Write the ledger at a minute between two events."""
    before = max((e for e in run.events if e.minute <= minute), key=lambda e: e.minute)
    delivered, dumped, dead = before.delivered_gal, before.dumped_gal, before.dead_gal
    for piece in run.pieces:
        if before.minute <= piece.start_min < minute:
            minutes = min(piece.end_min, minute) - piece.start_min
            delivered += piece.flow.delivered * minutes
            dumped += (piece.flow.nursed + piece.flow.inflow + piece.flow.dead) * minutes
            dead += piece.flow.dead * minutes
    return Event(minute, "", what, _on_scene_at(run, minute), dumped, delivered, dead)


def _known(minute: float) -> float:
    return minute if minute < NEVER else math.nan


def _level_at(piece: Piece, minute: float) -> float:
    """Give the water on scene at a minute of a piece, gal."""
    flow = piece.flow
    return piece.on_scene_gal + (flow.inflow - flow.line - flow.booster) * (minute - piece.start_min)


def _on_scene_at(run: Run, minute: float) -> float:
    for piece in run.pieces:
        if piece.start_min <= minute <= piece.end_min + INSTANT_MIN:
            return max(_level_at(piece, minute), 0.0)
    return 0.0


def _arrived_min(run: Run, gal: float) -> float:
    """Find the minute by which so much water has arrived."""
    for piece in run.pieces:
        if arrived_by(piece, piece.end_min) >= gal - GRAIN_GAL:
            rate = piece.flow.nursed + piece.flow.inflow
            late_gal = gal - piece.arrived_gal
            return piece.start_min + (late_gal / rate if late_gal > GRAIN_GAL else 0.0)
    return math.nan


def _surge_min(case: Case, dry: list[tuple[float, float]]) -> float:
    """Count the minutes of the surge before the first dry one."""
    if case.surge is None:
        return math.nan
    start_min = max(case.surge.start_min, case.first_water_min)
    stop_min = min(start_min + case.surge.minutes, case.end_min)
    dry_from = [max(start, start_min) for start, stop in dry if stop > start_min + INSTANT_MIN]
    return max(min([*dry_from, stop_min]) - start_min, 0.0)


# --------------------------------------------------------------------------- a case's variants


def call_by_min(case_at: Callable[[int], Case], latest_min: int) -> int | None:
    """Find the latest whole minute at which units can be called with no gap, each earlier one having none too.

    Parameters
    ----------
    case_at
        Gives the case in which the units beyond the first level are alerted at that minute.
    latest_min
        Last minute to try, such as F.

    Returns
    -------
    int | None
        None where even a call at minute 0 leaves a gap.
    """
    held = None
    for minute in range(latest_min + 1):
        if not gap_min(case_at(minute)) <= GAP_MIN:
            break
        held = minute
    return held


def one_out_gpm(case: Case) -> dict[str, float]:
    """Give the uninterrupted flow with each one tanker out, its portable tank with it, by unit_id."""
    return {
        out.unit_id: held_flow(replace(case, tankers=tuple(t for t in case.tankers if t is not out))).gpm
        for out in case.order
    }


def brought_gpm(case: Case, held_gpm: float) -> float:
    """Give what a case brings: the twin of `timeline_batch.brought_gpm`, which says how it is counted."""
    if held_gpm >= case.required_gpm * (1.0 - LEAST_SHORT):
        return held_gpm
    short_gal = answer(case).short_gal
    known = case.required_min > 0.0 and not math.isnan(short_gal)
    mean = case.required_gpm - short_gal / case.required_min if known else 0.0
    return min(max(mean, 0.0), case.required_gpm * (1.0 - 2.0 * LEAST_SHORT))


def best_flow(case: Case, below: frozenset[str] = frozenset()) -> tuple[HeldFlow, tuple[str, ...]]:
    """Leave out single tankers while that raises what is brought, see `brought_gpm`; name those left out.

    `below` names the tankers in use at the level below: where they alone do better, they stand.
    """

    def without(units: Collection[str], one: Case) -> tuple[float, HeldFlow, Case]:
        fewer = replace(one, tankers=tuple(t for t in one.tankers if t.unit_id not in units))
        held = held_flow(fewer)
        return brought_gpm(fewer, held.gpm), held, fewer

    best = without((), case)
    while best[2].tankers:
        found = max((without({t.unit_id}, best[2]) for t in best[2].order), key=lambda one: one[0])
        if found[0] <= best[0] * (1.0 + 10 * SAME):
            break
        best = found
    if below:
        alone = without({t.unit_id for t in case.tankers} - below, case)
        best = alone if alone[0] > best[0] else best
    stay = {t.unit_id for t in best[2].tankers}
    return best[1], tuple(t.unit_id for t in case.order if t.unit_id not in stay)


def last_useful(case: Case) -> tuple[str, tuple[float, ...]]:
    """Name the tanker beyond which more bring nothing, and the uninterrupted flow of the first 0, 1, 2, ... tankers.

    Tankers count by arrival. '' where none brings anything.
    """
    queue = sorted(case.order, key=lambda t: (t.arrival_min, t.unit_id))
    flows = tuple(held_flow(replace(case, tankers=tuple(queue[:n]))).gpm for n in range(len(queue) + 1))
    best = next(n for n, flow in enumerate(flows) if flow >= max(flows) * (1.0 - 10 * SAME))
    return (queue[best - 1].unit_id if best else ""), flows


# --------------------------------------------------------------------------- the card's strip


def strip(run: Run) -> Strip:
    """Turn an account into the lines of the strip."""
    points: list[tuple[float, float]] = []
    for piece in run.pieces:
        start = (piece.start_min, piece.on_scene_gal)
        # Where water comes at once (the booster tank) two points share a minute: the line stands upright.
        if not points or abs(points[-1][1] - start[1]) > DRY_GPM:
            points.append(start)
        points.append((piece.end_min, max(_level_at(piece, piece.end_min), 0.0)))
    water = np.array(points, dtype=np.float64).reshape(-1, 2)
    steps = run.case.demand(run.flow_gpm) if run.pieces else ()
    nurse = run.case.nurse()
    nursed = [(piece.start_min, piece.end_min) for piece in run.pieces if piece.flow.nursed > 0]
    return Strip(
        minute=water[:, 0],
        on_scene_gal=water[:, 1],
        demand_min=np.array([step.start_min for step in steps]),
        demand_gpm=np.array([step.gpm for step in steps]),
        gaps_min=np.array(dry_stretches(run), dtype=np.float64).reshape(-1, 2),
        nothing_min=np.array(dry_stretches(run, nothing=True), dtype=np.float64).reshape(-1, 2),
        arrivals=tuple((e.minute, e.unit_id) for e in run.events if e.what == "on scene"),
        dumps=tuple((e.minute, e.unit_id) for e in run.events if e.what == "dumps"),
        sources_dry_min=tuple(source.dry_min for source in run.sources),
        nursed=None if nurse is None else Nursed.of(nurse.unit_id, nursed, run.case.dump_ready_min),
    )
