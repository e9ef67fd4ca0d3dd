"""From a drill's log to what was measured: visits of each tanker at both ends, and the minutes between their events.

The same is done with the events that the timeline gives, so that measured and predicted are cut alike.
"""

from __future__ import annotations

import heapq
import math
import statistics
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from preplan.drill_events import CLOCK_EVENTS, DUMP_EVENTS, FILL_EVENTS, LEAVES_DRILL, DrillEvent

DUMP, FILL = "dump", "fill"
PARTS = ("reaches", "at", "takes", "flows", "leaves")
"""What a visit consists of, in order; the words of `DUMP_EVENTS` and `FILL_EVENTS` in theirs."""
STEP: Mapping[str, tuple[str, str]] = {
    word: (end, part)
    for end, words in ((DUMP, DUMP_EVENTS), (FILL, FILL_EVENTS))
    for word, part in zip(words, PARTS, strict=True)
}
NEAR_MIN = 2.0
"""Rows of one tanker at one end so near to each other are of one visit, in any order (this program's choice)."""
LEAST_ROUND_SHARE = 0.5
"""A dump without a fill before it is a load of its own if it comes no sooner than this share of a usual round."""
ODD_TIMES, ODD_MIN = 3.0, 10.0
"""A span over so many times its median, and so much above it, looks like a pause that nobody wrote down."""

LOADED, LOADED_DRIVE, EMPTY, EMPTY_DRIVE = "loaded leg", "loaded drive", "empty leg", "empty drive"
WHATS = (
    "fill maneuver", "fill wait", "fill hook-up", "fill", LOADED_DRIVE, LOADED,
    "dump maneuver", "dump wait", "dump hook-up", "dump", EMPTY_DRIVE, EMPTY, "cycle",
)  # fmt: skip
"""What is measured. A leg is from leaving one end until standing at the other, with positioning there; a drive until
coming into sight. 'fill' and 'dump' are from taking the place until leaving it, hook-up included."""


@dataclass(slots=True)
class Visit:
    """One tanker at one end, once; NaN for what is not logged."""

    unit_id: str
    end: str
    place: str
    minute: dict[str, float] = field(default_factory=dict)
    """By part of the visit."""
    gallons: float = math.nan
    row: int = 0
    """First of its rows."""
    derived: bool = False
    """When it took its place was worked out from who else was there."""
    gone_by_min: float = math.inf
    """When the tanker is seen next; inf: not again."""

    def when(self, part: str) -> float:
        """Give the minute of a part, NaN where it is not known."""
        return self.minute.get(part, math.nan)

    @property
    def last_part(self) -> int:
        """Say how far the visit has come."""
        return max(PARTS.index(part) for part in self.minute)

    @property
    def last_min(self) -> float:
        """Give its last minute known."""
        return max(self.minute.values())


@dataclass(frozen=True, slots=True)
class Observation:
    """One span of time that was measured."""

    unit_id: str
    what: str
    """Of `WHATS`."""
    minutes: float
    gallons: float = math.nan
    """Of the load that was filled or dumped meanwhile; NaN elsewhere and where nobody wrote it."""
    site_id: str = ""
    """The fill site of a fill, of a leg from it, and of the load dumped; '' where not known."""
    at_min: float = 0.0
    """When it ended."""
    pumping_min: float = math.nan
    """Of a fill or a dump, the minutes in which water ran; NaN where not logged."""


@dataclass(frozen=True, slots=True)
class Load:
    """One load that was dumped."""

    unit_id: str
    minute: float
    """When the tanker left empty."""
    gallons: float
    """NaN where nobody wrote it."""
    refilled: bool
    """False: the tanker came with it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """What a log says, or a timeline."""

    visits: Mapping[str, tuple[Visit, ...]]
    """By tanker, in time."""
    observations: tuple[Observation, ...]
    loads: tuple[Load, ...]
    """By minute."""
    pauses: tuple[tuple[str, float, float], ...]
    """(unit_id, '' for everybody; from, to minute)."""
    start_min: float
    """The first tanker is at the dump site."""
    end_min: float
    """The last load is dumped, or the drill was ended."""
    told: tuple[str, ...]
    """What is missing or odd, and how it was taken; a sentence each."""


def measure(events: Sequence[DrillEvent], positions: Mapping[str, int], dump_places: int) -> Measured:
    """Cut a log into visits, and measure what lies between their events.

    Parameters
    ----------
    events
        By minute.
    positions, dump_places
        Places at each fill site, and at the dump site: who stands there tells who waits, where nobody wrote down when
        a place was taken.
    """
    told: list[str] = []
    both = any(event.event in FILL_EVENTS for event in events)
    if not both and events:
        told.append("No row tells of the fill site: filling and the legs are in the cycle time, and not told apart.")
    visits = {
        unit_id: tuple(_visits_of([event for event in events if event.unit_id == unit_id], told, both=both))
        for unit_id in sorted({event.unit_id for event in events if event.event in STEP})
    }
    loads = sorted(_loads(visits, told, both=both), key=lambda load: (load.minute, load.unit_id))
    ended = [event.minute for event in events if event.event == CLOCK_EVENTS[-1]]
    started = [event.minute for event in events if event.event in DUMP_EVENTS]
    end_min = max([*ended, *(load.minute for load in loads)], default=math.nan)
    pauses = tuple(_pauses(events, end_min, told))
    _take_places(visits, events, positions, dump_places, told)
    observed = [one for some in visits.values() for one in _observe(some)]
    calm = [one for one in observed if not _paused(one, pauses)]
    if len(calm) < len(observed):
        told.append(f"Left out of the medians for a pause that lies in them: {len(observed) - len(calm)}.")
    told += [*_odd(calm), *_gone_early(events, visits)]
    return Measured(
        visits=visits,
        observations=tuple(calm),
        loads=tuple(loads),
        pauses=pauses,
        start_min=min(started, default=math.nan),
        end_min=end_min,
        told=tuple(told),
    )


# --------------------------------------------------------------------------- visits


def _visits_of(events: Sequence[DrillEvent], told: list[str], *, both: bool) -> Iterator[Visit]:
    """Cut one tanker's rows into visits, and tell where one is missing; `both`: not the dump site alone is logged."""
    before: Visit | None = None
    for visit in _cut(events, told):
        if before is not None:
            before.gone_by_min = min(visit.minute.values())
            _tell_missing(before, visit, told, both=both)
        before = visit
        yield visit
    if before is not None and "leaves" not in before.minute:
        lost = "; that load is not counted" if before.end == DUMP else ""
        told.append(f"{before.unit_id} was not seen leaving the {before.end} site at the end{_row(before)}{lost}.")


def _cut(events: Sequence[DrillEvent], told: list[str]) -> Iterator[Visit]:
    """Begin a visit where the end of the circuit changes, or where its events begin anew."""
    visit: Visit | None = None
    late = 0
    for event in events:
        if event.event not in STEP:
            continue
        end, part = STEP[event.event]
        same = visit is not None and visit.end == end and visit.place == event.place
        # nobody drives a round between two rows so near: what belongs to one visit was written down late, or twice
        if visit is not None and same and event.minute - visit.last_min <= NEAR_MIN:
            if part in visit.minute:
                told.append(f"{event.unit_id}: {event.event!r} stands twice (row {event.row}); the first counts.")
                continue
            late += visit.last_part > PARTS.index(part)
        elif visit is None or not same or visit.last_part >= PARTS.index(part):
            if visit is not None:
                yield visit
            visit = Visit(event.unit_id, end, event.place, row=event.row)
        behind = [visit.minute[one] for one in PARTS[PARTS.index(part) :] if one in visit.minute]
        visit.minute[part] = min([event.minute, *behind])
        if math.isfinite(event.gallons):
            visit.gallons = event.gallons
    if late:
        told.append(
            f"{events[0].unit_id}: rows written down a moment late within a visit, put before what follows: {late}."
        )
    if visit is not None:
        yield visit


def _tell_missing(before: Visit, visit: Visit, told: list[str], *, both: bool) -> None:
    """Tell what is missing between one visit and the next."""
    if "leaves" not in before.minute:
        taken = "; its load counts from its next row on" if before.end == DUMP else ""
        told.append(f"{before.unit_id}: leaving the {before.end} site is missing{_row(before)}{taken}.")
    if before.end == visit.end and both:
        other, lost = (FILL, "") if before.end == DUMP else (DUMP, "; no load is counted for it")
        between = f" between rows {before.row} and {visit.row}" if visit.row else ""
        told.append(f"{visit.unit_id}: nothing is logged at the {other} site{between}, or rows are out of order{lost}.")
    if not {"reaches", "at", "takes"} & set(visit.minute):
        told.append(f"{visit.unit_id}: reaching the {visit.end} site is missing{_row(visit)}.")


def _row(visit: Visit) -> str:
    return f" (row {visit.row})" if visit.row else ""


def _loads(visits: Mapping[str, Sequence[Visit]], told: list[str], *, both: bool) -> Iterator[Load]:
    """List the loads dumped; one whose end is missing counts when the tanker is seen next."""
    silent = soon = 0
    usual_min = statistics.median(rounds) if (rounds := list(_rounds(visits))) else math.inf
    for unit_id, some in visits.items():
        filled: Visit | None = None
        dumped = False
        last_min = -math.inf
        for at, visit in enumerate(some):
            if visit.end == FILL:
                filled = visit
                continue
            minute = visit.when("leaves")
            if not math.isfinite(minute) and at + 1 < len(some):
                minute = min(some[at + 1].minute.values())
            doubted = both and dumped and filled is None and minute - last_min < LEAST_ROUND_SHARE * usual_min
            soon += doubted
            if math.isfinite(minute) and not doubted:
                gallons = visit.gallons if math.isfinite(visit.gallons) or filled is None else filled.gallons
                silent += dumped and filled is None
                yield Load(unit_id, minute, gallons, refilled=dumped or filled is not None)
                last_min = minute
            dumped, filled = True, None
    if soon:
        told.append(
            "Dumps without a fill before them, not counted, since they came too soon after the one before to be another"
            f" load, or no whole round is logged to tell by: {soon}."
        )
    if silent and both:
        told.append(f"Loads without a fill in the log, which count as refilled: {silent}.")


def _rounds(visits: Mapping[str, Sequence[Visit]]) -> Iterator[float]:
    """Give the minutes of the rounds that are logged whole, from leaving the dump site to leaving it again."""
    for some in visits.values():
        for one, fill, other in zip(some, some[1:], some[2:], strict=False):
            minutes = other.when("leaves") - one.when("leaves")
            if (one.end, fill.end, other.end) == (DUMP, FILL, DUMP) and math.isfinite(minutes):
                yield minutes


def _pauses(events: Sequence[DrillEvent], end_min: float, told: list[str]) -> Iterator[tuple[str, float, float]]:
    """Pair pauses with their ends; one that is not ended lasts to the end."""
    open_min: dict[str, float] = {}
    for event in events:
        if event.event == "pause":
            open_min.setdefault(event.unit_id, event.minute)
        elif event.event == "resume":
            if event.unit_id in open_min:
                yield event.unit_id, open_min.pop(event.unit_id), event.minute
            else:
                told.append(f"'resume' in row {event.row} ends no pause.")
    for unit_id, start in open_min.items():
        told.append(f"the pause of {unit_id or 'all'} from minute {start:.0f} on is not ended; it lasts to the end.")
        yield unit_id, start, end_min


def _paused(one: Observation, pauses: Sequence[tuple[str, float, float]]) -> bool:
    """Tell whether a pause lies in a span of time."""
    return any(
        unit_id in ("", one.unit_id) and start < one.at_min and stop > one.at_min - one.minutes
        for unit_id, start, stop in pauses
    )


def _odd(observed: Sequence[Observation]) -> Iterator[str]:
    """Name spans of time that look like a pause."""
    for what in WHATS:
        some = [one for one in observed if one.what == what]
        usual = statistics.median([one.minutes for one in some]) if some else math.nan
        for one in some:
            if "wait" not in what and what != "cycle" and one.minutes > max(ODD_TIMES * usual, usual + ODD_MIN):
                yield (
                    f"{one.unit_id}: a {what} of {one.minutes:.0f} min until minute {one.at_min:.0f}, where"
                    f" {usual:.1f} is usual: was that a pause? It counts as it stands."
                )


def _gone_early(events: Sequence[DrillEvent], visits: Mapping[str, Sequence[Visit]]) -> Iterator[str]:
    """Name who left before the others."""
    for event in events:
        if event.event == LEAVES_DRILL and event.unit_id in visits:
            yield f"{event.unit_id} left the drill at minute {event.minute:.0f}."


# --------------------------------------------------------------------------- places


def _take_places(
    visits: Mapping[str, Sequence[Visit]],
    events: Sequence[DrillEvent],
    positions: Mapping[str, int],
    dump_places: int,
    told: list[str],
) -> None:
    """Work out when places were taken that nobody wrote down: first come, first served, by who was there.

    Who comes before anybody has left an end may wait for it to be set up; then, unless the log says when it was ready,
    nobody knows when the place was taken.
    """
    ready = ready_min(events, list(positions))
    every = [visit for some in visits.values() for visit in some]
    unknown = blocked = 0
    for key in dict.fromkeys(_end_of(visit) for visit in every):
        places = dump_places if key[0] == DUMP else positions[key[1]]
        here = [visit for visit in every if _end_of(visit) == key]
        early, behind = _serve(here, places, ready.get(key, math.nan))
        unknown, blocked = unknown + early, blocked + behind
    if unknown:
        told.append(
            "First visits left out of the handling times, since the site may have been set up meanwhile and no row says"
            f" when it was ready: {unknown}."
        )
    if blocked:
        told.append(
            "Visits left out of the handling times, since they came behind a tanker that was not seen leaving:"
            f" {blocked}."
        )
    if any(visit.derived for visit in every):
        told.append("Where no row says when a place was taken, it is worked out from who stood there before.")


def ready_min(events: Sequence[DrillEvent], sites: Sequence[str]) -> dict[tuple[str, str], float]:
    """Tell when rows say that an end was ready, by end and fill site; '' for the dump site.

    A row of a fill site without a place is of the first of them, or of the second where it says so.
    """
    ready: dict[tuple[str, str], float] = {}
    for event in events:
        if event.event == CLOCK_EVENTS[0]:
            ready.setdefault((DUMP, ""), event.minute)
        elif event.event in CLOCK_EVENTS[1:3] and sites:
            second = event.event == CLOCK_EVENTS[2] and len(sites) > 1
            ready.setdefault((FILL, event.place or sites[second]), event.minute)
    return ready


def _end_of(visit: Visit) -> tuple[str, str]:
    return visit.end, visit.place if visit.end == FILL else ""


def _serve(here: Sequence[Visit], places: int, ready_min: float) -> tuple[int, int]:
    """Give those at one end their places in turn.

    Counts those of whom nobody knows: who came while the end may not have been ready, and who came behind a tanker
    whose leaving is missing.
    """
    early = behind = 0
    busy: list[float] = []
    doubts: list[list[float]] = []  # of each tanker not seen leaving: seen next, and how many may still wait for it
    left = min((visit.when("leaves") for visit in here if "leaves" in visit.minute), default=math.inf)
    for visit in sorted(here, key=lambda one: (min(one.minute.values()), one.unit_id)):
        came, leaves = visit.when("at"), visit.when("leaves")
        if "takes" not in visit.minute and math.isfinite(came) and math.isfinite(leaves):
            free_min = came if len(busy) < places else max(came, busy[0])
            first = len(busy) < places and came < left and not math.isfinite(ready_min)
            doubted = any(came < gone_by and waiting for gone_by, waiting in doubts)
            early, behind = early + first, behind + (doubted and not first)
            if not (first or doubted):
                visit.minute["takes"] = min(max(free_min, ready_min) if math.isfinite(ready_min) else free_min, leaves)
                visit.derived = True
        if math.isfinite(leaves):
            if len(busy) >= places:
                heapq.heappop(busy)
            heapq.heappush(busy, leaves)
            for doubt in doubts:  # first come, first served: it has left before whoever came later does
                doubt[1] = max(doubt[1] - 1, 0)
        else:
            doubts.append([visit.gone_by_min, places])
    return early, behind


# --------------------------------------------------------------------------- spans of time


def _observe(visits: Sequence[Visit]) -> Iterator[Observation]:
    """Measure one tanker's spans of time; a visit that is missing ends what cannot be known."""
    first_dump = next((visit for visit in visits if visit.end == DUMP), None)
    for at, visit in enumerate(visits):
        before = visits[at - 1] if at else None
        fill = visit if visit.end == FILL else before if before is not None and before.end == FILL else None
        site_id = fill.place if fill is not None else ""
        comes_with_load = visit is first_dump and fill is None
        yield from _at_one_end(visit, site_id, waits=not comes_with_load)
        if before is not None and before.end != visit.end:
            leg, drive = (LOADED, LOADED_DRIVE) if visit.end == DUMP else (EMPTY, EMPTY_DRIVE)
            site = site_id if visit.end == DUMP else visit.place
            for what, part in ((leg, "at"), (drive, "reaches")):
                yield from _span(visit, what, before.when("leaves"), visit.when(part), site)
    dumps = [at for at, visit in enumerate(visits) if visit.end == DUMP]
    for one, other in pairwise(dumps):
        # with one fill between them, or in a log of the dump site alone
        if other - one == 2 or len(dumps) == len(visits):
            site = visits[one + 1].place if other - one == 2 else ""
            yield from _span(visits[other], "cycle", visits[one].when("leaves"), visits[other].when("leaves"), site)


def _at_one_end(visit: Visit, site_id: str, *, waits: bool) -> Iterator[Observation]:
    """Measure what lies between the events of one visit."""
    yield from _span(visit, f"{visit.end} maneuver", visit.when("reaches"), visit.when("at"), site_id)
    if waits:
        yield from _span(visit, f"{visit.end} wait", visit.when("at"), visit.when("takes"), site_id)
    yield from _span(visit, f"{visit.end} hook-up", visit.when("takes"), visit.when("flows"), site_id)
    yield from _span(visit, visit.end, visit.when("takes"), visit.when("leaves"), site_id)


def _span(visit: Visit, what: str, from_min: float, to_min: float, site_id: str) -> Iterator[Observation]:
    """Give a span of time where both its ends are known."""
    minutes = to_min - from_min
    if math.isfinite(minutes):
        yield Observation(
            visit.unit_id, what, minutes, visit.gallons, site_id, to_min,
            visit.when("leaves") - visit.when("flows") if what in (DUMP, FILL) else math.nan,
        )  # fmt: skip
