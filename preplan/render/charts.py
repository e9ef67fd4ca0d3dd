"""The small map of a trip on paper, legible in black and white."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType
from typing import NamedTuple

import numpy as np

from preplan.plan import Plan
from preplan.plan_cards import Step
from preplan.plan_tables import ONE_PLACE_FT, RouteForest
from preplan.records import FloatArray, IntArray
from preplan.render import paper, scene, symbols_pdf, words
from preplan.render.barrier_marks import BARRED, Barriers, draw_barriers
from preplan.render.ground_pdf import Ground
from preplan.render.limit_places import weight_words
from preplan.render.paper import BLACK, SMALL_PT, WHITE, Pen
from preplan.render.route_names import Driven, driven_roads, place_names
from preplan.render.route_pdf import (
    Bridge,
    Legs,
    Subject,
    draw_bridges,
    draw_limits,
    draw_route,
    draw_turns,
    halo_texts,
    limit_marks,
    near_dump,
    path_code,
    place_limits,
    turn_labels,
    turns_of,
)
from preplan.render.scene import Box, Frame, Room
from preplan.units import FT_PER_MI

_MOST_NAMES = 14
_MARGINS = (0.12, 0.17, 0.23, 0.3, 0.42, 0.6)
"""Shares of a map's width and height left about its trip: the next one where one leaves no room."""
_SIDES = ((1.0, 0.0), (-1.0, 0.0), (0.0, 1.0), (0.0, -1.0))
_ASIDE = ((0.0, 0.0), *((far * east, far * north) for far in (0.12, 0.25) for east, north in _SIDES))
"""Shares of its width and height by which a map leaves its trip aside of the middle, where that makes room."""
_WAY_PT = 7.0
"""Room between a trip aside of the middle and the edge of its map."""
_PIN_PT = 11.0
"""Reach of a fill site's pin to each side; it is higher than wide."""
_BRACKET_PT = 3.5
"""What brackets reach beyond the box in which nothing else may stand."""
_STAR_PT = 9.0
"""Reach of the star."""
_LEAST_FT, _LEAST_ALONE_FT = 600.0, 8000.0
"""Least width and height of a map of a trip, and of a place without one."""
_NEAR_ROAD_FT = 1500.0
"""How much of the nearest road is shown, to each side, where an address is off the roads."""
_ADDRESS_PT = np.array([[0.0, 0.0], [-3.0, 0.0], [3.0, 0.0], [0.0, -3.0], [0.0, 3.0]])
"""What of an address's symbol no name may cover, seen from its middle."""
DASHED, CROSSED = "site of some months", "site out of service"
"""What `Picture.draw` says of the drops on a map."""
_BARS_AT_PT, _BAR_PT, _KEY_PT = 20.0, 50.0, 34.0
"""The key of a picture: where its scale bars begin, how long they may be, and its height."""
_INSET_ABOVE_FT, _INSET_FT, _INSET_PT = 4.0 * FT_PER_MI, 2500.0, 84.0
"""A map wider than the first has an inset about the dump site, of this many feet on this many points."""
_NUMBER_PT = 8.0
"""Half the width of a symbol's number of two digits, and somewhat more."""
_NEAR_SITE_FT = 1200.0
"""Limits within 1,000 ft of a fill site are told wherever it is named; their middles may lie somewhat farther."""
_INSET_BAR_PT = 12.0
"""Height of the scale of an inset."""
_PLAIN_PT_PER_FT = 72.0 / FT_PER_MI
"""At this scale a map needs no inset, however wide it is."""


Mark = tuple[str, int, float, float]
"""A symbol on a map: kind, row, place on the page."""


class _Setting(NamedTuple):
    """A trip set into a frame, before anything is drawn."""

    frame: Frame
    legs: Legs
    dots: FloatArray
    """(2, n) points along both legs, which no label may cover."""
    key: Box
    """Where the scale bars stand."""
    hidden: tuple[bool, int, int]
    """Whether the pin of the fill site is cut off, what the key covers of pin and star, and how much else it does."""


class Picture:
    """A district made ready for many small maps: places on one plane, roads and water sorted by where they are."""

    def __init__(self, plan: Plan) -> None:
        """Project everything once."""
        self.plan = plan
        self.plane = scene.plane_of(plan)
        roads = plan.roads
        self.points = self.plane.feet(roads.coord_lon, roads.coord_lat)
        self._start: list[int] = roads.coord_start.tolist()
        self.ground = Ground(plan, self.points, self.plane)
        self.middle_ft, self.slope = scene.straights(self.points, roads.coord_start)
        spoken = [words.road_name(name, ref) for name, ref in zip(roads.name, roads.ref, strict=True)]
        self.names, self.name_of = np.unique(np.array([*spoken, ""], dtype=np.object_), return_inverse=True)
        self._spoken = frozenset(self.names.tolist()) - {""}
        self.site_ft = self.plane.feet(np.array([s.lon for s in plan.sites]), np.array([s.lat for s in plan.sites]))
        self.station_ft = self.plane.feet(
            np.array([s.lon for s in plan.stations]), np.array([s.lat for s in plan.stations])
        )
        self.hydrant_ft = self.plane.feet(plan.hydrants.lon, plan.hydrants.lat)
        self.address_ft = self.plane.feet(plan.addresses.lon, plan.addresses.lat)
        self.barriers = Barriers.of(roads, self.points)
        self.front_ft = self.plane.feet(plan.frontages.lon, plan.frontages.lat)

    def stretch(self, segment: int, *, forward: bool = True) -> FloatArray:
        """Give the (n, 2) feet of a stretch in the direction driven."""
        points = self.points[self._start[segment] : self._start[segment + 1]]
        return points if forward else points[::-1]

    def leg(
        self, forest: RouteForest, rows: Sequence[int], start_ft: FloatArray, end_ft: FloatArray
    ) -> FloatArray | None:
        """Join the stretches of one leg and cut it at the places where it starts and ends; None where they are one.

        A ring road, one stretch, may be driven from a later place on it to an earlier one: that is shown whole.
        """
        segments, forward = forest.segment[rows].tolist(), forest.forward[rows].tolist()
        parts = [self.stretch(one, forward=onward) for one, onward in zip(segments, forward, strict=True)]
        if not parts:
            return None
        line = np.vstack([parts[0], *(part[1:] for part in parts[1:])])
        start = scene.nearest_along(parts[0], start_ft)
        last, whole = (float(scene.legs(points).sum()) for points in (parts[-1], line))
        end = whole - last + scene.nearest_along(parts[-1], end_ft)
        if len(parts) == 1 and abs(end - start) < ONE_PLACE_FT:
            return None
        return scene.cut(line, start, end) if end > start else line

    def subject(
        self,
        addresses: tuple[int, ...],
        lead: int,
        trip: int,
        others: tuple[int, ...] = (),
        steps: Sequence[Step] = (),
        named: Mapping[int, str] = MappingProxyType({}),
        of: Plan | None = None,
    ) -> Subject:
        """Gather what the map of a trip shows, `steps` of the loaded leg by their numbers; trip -1: only the places.

        `named` are stretches whose limits warnings name, each with its limit. The trip is the plan's, or that of `of`.
        """
        if trip < 0:
            subject = Subject(addresses, lead, others=others, bridges=self._limits(named))
            return self._with_near_road(subject, int(self.plan.frontages.near_segment[lead]))
        plan = self.plan if of is None else of
        site = int(plan.trips.site[trip])
        out, back = plan.trip_rows(trip)
        here, there = self.front_ft[lead], self.site_ft[site]
        if not np.isfinite(here).all():
            here = self.address_ft[lead]
        out_ft, back_ft = self.leg(plan.forest, out, there, here), self.leg(plan.forest, back, here, there)
        turns = turns_of(out_ft, steps) if out_ft is not None else ()
        roads = driven_roads(steps, self._spoken)
        bridges = (*self._limits(named), *self._bridges(plan.forest.segment[[*out, *back]], named))
        return Subject(addresses, lead, out_ft, back_ft, site, others, there, turns, roads, bridges)

    def _with_near_road(self, subject: Subject, stretch: int) -> Subject:
        """Add the nearest road for tankers, by name, where an address is off the roads; on them `stretch` is -1."""
        if stretch < 0:
            return subject
        line, name = self.stretch(stretch), self.names[self.name_of[stretch]]
        at = scene.nearest_along(line, self.address_ft[subject.lead])
        near_ft = scene.cut(line, max(0.0, at - _NEAR_ROAD_FT), at + _NEAR_ROAD_FT)
        return replace(subject, near_ft=near_ft, roads=(Driven(name, 0.0, 1.0),) if name else ())

    def _limits(self, named: Mapping[int, str]) -> tuple[Bridge, ...]:
        """Place the limits that warnings name."""
        found = []
        for stretch, said in named.items():
            east, north = self.middle_ft[stretch].tolist()
            found.append(Bridge(east, north, float(self.slope[stretch]), said, named=True))
        return tuple(found)

    def _bridges(self, driven: IntArray, named: Mapping[int, str]) -> tuple[Bridge, ...]:
        """List the other bridges and postings of a round trip, each stretch once."""
        limits = self.plan.limits
        segments = np.unique(driven)
        marked = segments[limits.unposted_bridge[segments] | np.isfinite(limits.max_lb[segments])]
        found = []
        for segment in marked.tolist():
            if segment in named:
                continue
            east, north = self.middle_ft[segment].tolist()
            said = weight_words(self.plan, segment, short=True).removeprefix("posted ")
            found.append(Bridge(east, north, float(self.slope[segment]), said))
        return tuple(found)

    def draw(self, pen: Pen, page: Box, subject: Subject) -> frozenset[str]:
        """Draw one small map into a box of the page; gives the kinds of symbols on it.

        `DASHED`, `CROSSED` and `BARRED` are among them.
        """
        seen = [self.address_ft[list(subject.addresses)]]
        seen += [line for line in (subject.out_ft, subject.back_ft, subject.near_ft) if line is not None]
        seen += [self.site_ft[[s]] for s in (subject.site,) if s >= 0]
        seen += [self.hydrant_ft[[h]] for h in (subject.hydrant,) if h >= 0]
        seen += [np.array([limit[:2]]) for limit in subject.bridges if self._is_near(limit, subject.site)]
        least = _LEAST_FT if subject.site_ft is not None else _LEAST_ALONE_FT
        marks, barred = self._draw_in(pen, self._set(page, np.vstack(seen), subject, least), subject)
        sites = [self.plan.sites[row] for kind, row, *_ in marks if kind == "site"]
        states = {
            DASHED: any(s.seasonal for s in sites),
            CROSSED: not all(s.in_service for s in sites),
            BARRED: barred,
        }
        return frozenset([kind for kind, *_ in marks] + [state for state, here in states.items() if here])

    def _set(self, page: Box, points: FloatArray, subject: Subject, least_ft: float) -> _Setting:
        """Frame the points; aside or smaller, where else a pin would be cut at the edge or the key lie on a symbol."""
        tried: list[_Setting] = []
        shape, known = page.width / page.height, scene.box_of(points)
        for margin in _MARGINS:
            middle = scene.extent(points, shape, margin=margin, least_ft=least_ft)
            for east, north in _ASIDE:
                frame = Frame(page, middle.moved(east * middle.width, north * middle.height))
                inside = frame.country.grown(-_WAY_PT / frame.pt_per_ft)
                if (east or north) and not inside.holds(known):
                    continue
                tried.append(self._set_in(frame, subject))
                if not any(tried[-1].hidden):
                    return tried[-1]
        return min(tried, key=lambda one: one.hidden)

    def _set_in(self, frame: Frame, subject: Subject) -> _Setting:
        """Put the key where it covers neither the trip's drop nor its star, and of all else as little as may be."""
        legs = Legs.on(frame, subject)
        dots, ends = legs.dots(), self._ends(frame, subject)
        homes = frame.known_on_page(self.address_ft[list(subject.addresses)])
        room = Room(frame.page, self._beside_trip(frame, subject), dots)
        room.block((np.array(homes).reshape(-1, 1, 2) + _ADDRESS_PT).reshape(-1, 2))
        first = Room(frame.page, ends)
        found = []
        for key in key_places(frame):
            found.append((first.crowd(key), room.crowd(key), key))
            if not any(found[-1][:2]):
                break
        covered, crowd, key = min(found, key=lambda one: one[:2])
        pin_cut = subject.site >= 0 and not frame.page.holds(ends[0])
        return _Setting(frame, legs, dots, key, (pin_cut, covered, crowd))

    def _is_near(self, limit: Bridge, site: int) -> bool:
        """Tell whether a limit that warnings name is so near a trip's fill site that its map must show it."""
        if not limit.named or site < 0:
            return False
        east, north = (self.site_ft[site] - limit[:2]).tolist()
        return math.hypot(east, north) < _NEAR_SITE_FT

    def _ends(self, frame: Frame, subject: Subject) -> list[Box]:
        """Bound the fill site's pin and the star of a trip."""
        sites, stars = ([row] if row >= 0 else [] for row in (subject.site, subject.lead))
        pins, tips = frame.known_on_page(self.site_ft[sites]), frame.known_on_page(self.front_ft[stars])
        return [*(_pin(x, y) for x, y in pins), *(Box(x, y, x, y).grown(_STAR_PT) for x, y in tips)]

    def _beside_trip(self, frame: Frame, subject: Subject) -> list[Box]:
        """Bound what else is drawn whatever it covers: second and backup fill site, the hydrant, limits."""
        sites = sorted({*subject.others} - {subject.site, -1})
        hydrants = [subject.hydrant] if subject.hydrant >= 0 else []
        pins, mains = frame.known_on_page(self.site_ft[sites]), frame.known_on_page(self.hydrant_ft[hydrants])
        drawn = [*(_pin(x, y) for x, y in pins if _in_view(frame, x, y)), *(_hydrant(x, y) for x, y in mains)]
        return [*drawn, *(mark.grown(_BRACKET_PT) for mark in limit_marks(frame, subject))]

    def _draw_in(self, pen: Pen, setting: _Setting, subject: Subject) -> tuple[list[Mark], bool]:
        """Draw a picture as it is set; gives its symbols, and whether barriers are on it."""
        frame, corner = setting.frame, setting.key
        page = frame.page
        pen.save()
        pen.clip(page.left, page.bottom, page.width, page.height)
        roads = self.ground.draw(pen, frame)
        draw_route(pen, setting.legs)
        # the key has its place already: all else finds another one more easily
        bars = draw_barriers(pen, frame, self.barriers, roads)
        room = Room(page.grown(-2.0), [corner, *bars], setting.dots)
        marks = self._marks(frame, subject, room)
        limits = place_limits(frame, subject, room)
        turns = turn_labels(frame, subject, room)
        # the key would cover all of such a symbol but its tip
        marks = [one for one in marks if one[0] not in ("site", "station") or not corner.holds(Box(*one[2:], *one[2:]))]
        inset = self._room_for_inset(frame, subject, room)
        draw_bridges(pen, frame, subject, room)
        drops = {row: [x, y] for kind, row, x, y in marks if kind == "site"}
        named = setting.legs.out if subject.near_ft is None else frame.to_page(subject.near_ft)
        self._names(pen, frame, roads, subject, named, room, drops)
        draw_turns(pen, turns)
        self._symbols(pen, frame, subject, marks)
        draw_limits(pen, limits)
        pen.restore()
        draw_key(pen, frame, corner)
        if inset is not None and subject.out_ft is not None:
            self._draw_inset(pen, inset, subject, subject.out_ft[-1:])
        draw_edge(pen, page)
        return marks, bool(bars)

    def _room_for_inset(self, frame: Frame, subject: Subject, room: Room) -> Box | None:
        """Keep an empty corner for an inset where the circuit is long; None: not long, or no corner is empty."""
        if subject.out_ft is None or frame.country.width < _INSET_ABOVE_FT or frame.pt_per_ft > _PLAIN_PT_PER_FT:
            return None
        empty = [box for box in corners(frame.page, _INSET_PT, _INSET_PT) if not room.crowd(box)]
        if not empty:
            return None
        room.take(empty[0])
        return empty[0]

    def _draw_inset(self, pen: Pen, page: Box, subject: Subject, there_ft: FloatArray) -> None:
        """Draw the country about the dump site, large, with a bar for its scale."""
        frame = Frame(page, scene.extent(there_ft, 1.0, margin=0.0, least_ft=_INSET_FT))
        pen.save()
        pen.clip(page.left, page.bottom, page.width, page.height)
        pen.ink(WHITE, WHITE)
        pen.rect(page.left, page.bottom, page.width, page.height, stroke=False, fill=True)
        roads = self.ground.draw(pen, frame)
        legs = Legs.on(frame, near_dump(subject, _INSET_FT))
        draw_route(pen, legs)
        draw_barriers(pen, frame, self.barriers, roads)
        room = Room(page, blocked=legs.dots())
        marks = [mark for mark in self._marks(frame, subject, room) if page.holds(Box(*mark[2:], *mark[2:]))]
        bar = scene.scale_bar(frame.pt_per_ft, 40.0, "ft")
        wide = bar.points + paper.width_of(bar.words, SMALL_PT) + 12.0
        full = Room(page, [*room.taken, *limit_marks(frame, subject)], room.blocked)
        _, under = full.emptiest(corners(page, wide, _INSET_BAR_PT))
        room.take(under)
        limits = place_limits(frame, subject, room, covers=False)  # the map itself has the label
        self._symbols(pen, frame, subject, marks)
        draw_limits(pen, limits)
        pen.ink(WHITE, WHITE)
        pen.rect(under.left, under.bottom, under.width, under.height, stroke=False, fill=True)
        pen.ink(BLACK, BLACK)
        pen.width(1.4)
        x, y = under.left + 4.0, under.bottom + 5.0
        pen.strokes((x, y, x + bar.points, y))
        pen.text(x + bar.points + 4.0, y - 2.8, bar.words, SMALL_PT)
        pen.restore()
        draw_edge(pen, page)

    def _marks(self, frame: Frame, subject: Subject, room: Room) -> list[Mark]:
        """List the symbols in view: kind, row, place on the page; their places are kept free of names.

        A symbol that would cover one of this trip's own is left out.
        """
        marks: list[Mark] = []
        star: list[Mark] = []
        if subject.out_ft is not None and np.isfinite(self.front_ft[subject.lead]).all():
            (x, y), *_ = frame.to_page(self.front_ft[[subject.lead]]).tolist()
            star.append(("star", subject.lead, x, y))
            room.take(Box(x, y, x, y).grown(_STAR_PT))
        sites, stations = (_those_in_view(frame, places_ft) for places_ft in (self.site_ft, self.station_ft))
        ours = {site: sites.pop(site) for site in (subject.site, *subject.others) if site in sites}
        for kind, seen, reach in (("site", ours, _PIN_PT), ("site", sites, _PIN_PT), ("station", stations, 9.0)):
            for row, place in seen.items():
                beside = kind == "site" and row in subject.others and row != subject.site
                x, y = _clear_of_star(room, star[0], *place) if star and beside else place
                symbol = _pin(x, y, reach)
                # one that is nobody's business here is drawn whole or not at all, and hides nothing of the way
                if seen is ours or (frame.page.holds(symbol) and not room.crowd(symbol)):
                    marks.append((kind, row, x, y))
                    room.take(symbol)
        if subject.hydrant >= 0:
            x, y = frame.to_page(self.hydrant_ft[[subject.hydrant]])[0].tolist()
            marks.append(("hydrant", subject.hydrant, x, y))
            room.take(_hydrant(x, y))
        homes = frame.to_page(self.address_ft[list(subject.addresses)])
        marks += [("address", row, x, y) for row, (x, y) in zip(subject.addresses, homes.tolist(), strict=True)]
        room.block((homes[:, None] + _ADDRESS_PT).reshape(-1, 2))
        return marks + star

    def _symbols(self, pen: Pen, frame: Frame, subject: Subject, marks: list[Mark]) -> None:
        if subject.lead >= 0:
            ends = np.vstack([self.address_ft[[subject.lead]], self.front_ft[[subject.lead]]])
            if np.isfinite(ends).all():
                pen.dash(1.0, 1.5)
                pen.ink(BLACK, BLACK)
                pen.width(0.8)
                pen.path(path_code(frame.to_page(ends), 2))
                pen.dash()
        for kind, row, x, y in marks:
            if kind == "station":
                symbols_pdf.station_mark(pen, str(row + 1), x, y)
            elif kind == "site":
                (east, north), *_ = frame.to_page(self.site_ft[[row]]).tolist()
                if (east, north) != (x, y):
                    pen.ink(BLACK, BLACK)
                    pen.width(0.6)
                    pen.strokes((east, north, x, y))
                symbols_pdf.fill_mark(pen, self.plan.sites[row], str(row + 1), x, y)
            elif kind == "hydrant":
                symbols_pdf.hydrant_mark(pen, x, y)
            elif kind == "address":
                symbols_pdf.status_mark(pen, str(self.plan.answers.status[row]), x, y, 6.0)
            else:
                symbols_pdf.star_mark(pen, x, y)

    def _names(
        self,
        pen: Pen,
        frame: Frame,
        roads: IntArray,
        subject: Subject,
        named: FloatArray | None,
        room: Room,
        drops: Mapping[int, list[float]],
    ) -> None:
        """Write names along roads, the subject's on their line and then the most seen first, none over another."""
        placed = place_names(named, subject.roads, room) if named is not None else []
        before = {name for name, _ in placed}
        middle, country = self.middle_ft[roads], frame.country
        inside = (middle > (country.left, country.bottom)) & (middle < (country.right, country.top))
        seen = roads[inside.all(axis=1)]
        places, slopes = frame.to_page(self.middle_ft[seen]), self.slope[seen]
        for name, rows in self._names_in_view(seen):
            if name in before:
                continue
            spots = scene.spots_at(places[rows], slopes[rows], 9.0)
            spot = room.place(spots, paper.width_of(name, SMALL_PT), SMALL_PT * 1.05)
            if spot is not None:
                placed.append((name, spot))
        for name, (x, y), reach in self._named_points(frame, subject, drops):
            around = scene.around(x, y + 2.0, reach, paper.width_of(name, SMALL_PT), SMALL_PT)
            spot = room.place(around, paper.width_of(name, SMALL_PT), SMALL_PT * 1.05)
            if spot is not None:
                placed.append((name, spot))
        halo_texts(pen, placed)

    def _named_points(
        self, frame: Frame, subject: Subject, drops: Mapping[int, list[float]]
    ) -> Iterator[tuple[str, list[float], float]]:
        """List name, place on the page, and reach of what stands on the map by name: fill sites, and the hydrant."""
        # one without a drop has no name: that would seem to be another's
        for site in sorted({subject.site, *subject.others} & set(drops)):
            name = paper.ellipsis(words.printable(self.plan.sites[site].name), SMALL_PT, 110.0)
            yield name, drops[site], 14.0
        if subject.hydrant >= 0:
            name = paper.ellipsis(
                f"hydrant {words.printable(self.plan.hydrants.hydrant_id[subject.hydrant])}", SMALL_PT, 110.0
            )
            yield name, frame.to_page(self.hydrant_ft[[subject.hydrant]])[0].tolist(), 8.0

    def _names_in_view(self, roads: IntArray) -> list[tuple[str, IntArray]]:
        """List names with up to three of their longest stretches, the longest road first, major ones before.

        The stretches are rows of `roads`.
        """
        if not len(roads):
            return []
        names, length = self.name_of[roads], self.plan.roads.length_m[roads]
        total = np.bincount(names, weights=length, minlength=len(self.names))
        total[names[self.ground.rank[roads] == 0]] *= 2.0
        seen = np.flatnonzero(total > 0)
        order = seen[np.argsort(-total[seen], kind="stable")]
        chosen = [n for n in order[: _MOST_NAMES + 1].tolist() if self.names[n]]
        longest = np.lexsort((-length, names)).astype(np.int32)  # the longest first of each name
        first, last = (names[longest].searchsorted(chosen, side=side).tolist() for side in ("left", "right"))
        return [
            (paper.ellipsis(str(self.names[name]), SMALL_PT, 130.0), longest[start : min(start + 3, stop)])
            for name, start, stop in zip(chosen[:_MOST_NAMES], first, last, strict=False)
        ]


def _pin(x: float, y: float, reach: float = _PIN_PT) -> Box:
    """Bound a drop, or the house of a station, that stands at a place on the page."""
    return Box(x - reach, y - reach, x + reach, y + 1.7 * reach)


def _clear_of_star(room: Room, star: Mark, x: float, y: float) -> tuple[float, float]:
    """Give the nearest empty spot for a drop whose number the star would hide, else its own place."""
    tips = Box(*star[2:], *star[2:]).grown(0.6 * _STAR_PT)
    if not Box(x, y, x, y).grown(_NUMBER_PT).meets(tips):
        return x, y
    for far in (24.0, 34.0, 48.0):
        for turn in np.arange(8) * math.pi / 4:
            east, north = x + far * math.cos(turn), y + far * math.sin(turn)
            symbol = _pin(east, north)
            if room.frame.holds(symbol) and not room.crowd(symbol):
                return east, north
    return x, y


def _hydrant(x: float, y: float) -> Box:
    """Bound the symbol of a hydrant."""
    return Box(x - 5.0, y - 6.0, x + 5.0, y + 6.0)


def _in_view(frame: Frame, x: float, y: float) -> bool:
    """Tell whether a symbol at a place on the page is drawn: not at the edge of its map, where its number is cut."""
    return frame.page.grown(-_NUMBER_PT).holds(Box(x, y, x, y))


def _those_in_view(frame: Frame, places_ft: FloatArray) -> dict[int, list[float]]:
    """Give the places on the page of those symbols that are drawn, by their rows."""
    places, within = frame.to_page(places_ft), frame.page.grown(-_NUMBER_PT)
    inside = (places >= (within.left, within.bottom)) & (places <= (within.right, within.top))
    rows = np.flatnonzero(np.all(inside, axis=1))
    return dict(zip(rows.tolist(), places[rows].tolist(), strict=True))


def draw_edge(pen: Pen, page: Box) -> None:
    """Draw the line about a picture."""
    pen.ink(BLACK, BLACK)
    pen.width(0.8)
    pen.rect(page.left, page.bottom, page.width, page.height)


def corners(page: Box, wide: float, high: float) -> list[Box]:
    """List boxes in the four corners of a picture, the lower left one first."""
    return [
        Box(left, low, left + wide, low + high)
        for low in (page.bottom, page.top - high)
        for left in (page.left, page.right - wide)
    ]


def _bars(frame: Frame) -> tuple[scene.ScaleBar, scene.ScaleBar]:
    """Choose the two scale bars of a picture, in feet and in miles."""
    return scene.scale_bar(frame.pt_per_ft, _BAR_PT, "ft"), scene.scale_bar(frame.pt_per_ft, _BAR_PT, "mi")


def key_places(frame: Frame) -> Iterator[Box]:
    """List where the scale bars may stand: in the corners, else in the middle of an edge."""
    page = frame.page
    wide = max(_BARS_AT_PT + bar.points + 8.0 + paper.width_of(bar.words, SMALL_PT) for bar in _bars(frame))
    found = corners(page, wide, _KEY_PT)
    yield from found
    across, up = (page.left + page.right - wide) / 2, (page.bottom + page.top - _KEY_PT) / 2
    yield from (box._replace(left=across, right=across + wide) for box in found[::2])
    yield from (box._replace(bottom=up, top=up + _KEY_PT) for box in found[:2])


def draw_key(pen: Pen, frame: Frame, page: Box) -> None:
    """Draw scale bars in feet and miles, and a north arrow, in one corner of the picture."""
    pen.save()
    pen.ink(BLACK, WHITE)
    pen.width(0.5)
    pen.rect(page.left, page.bottom, page.width, page.height, fill=True)
    pen.ink(BLACK, BLACK)
    x = page.left + _BARS_AT_PT
    for bar, y in zip(_bars(frame), (page.bottom + 21.0, page.bottom + 7.0), strict=True):
        pen.width(1.4)
        far = x + bar.points
        pen.strokes((x, y, far, y), (x, y - 2.5, x, y + 2.5), (far, y - 2.5, far, y + 2.5))
        pen.text(x + bar.points + 4.0, y - 2.8, bar.words, SMALL_PT)
    north = page.left + 9.5
    pen.shape([(north, page.bottom + 31), (north - 4, page.bottom + 17), (north, page.bottom + 20),
               (north + 4, page.bottom + 17)])  # fmt: skip
    pen.text(north, page.bottom + 6.0, "N", SMALL_PT, bold=True, align="middle")
    pen.restore()
