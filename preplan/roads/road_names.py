"""What a driver calls each road of a way: its name, its number in brackets the first time, else its kind."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from preplan.records import RoadTable
from preplan.roads.street_names import normalise, road_keys
from preplan.street_words import called
from preplan.units import M_PER_MI

NAMELESS_MI = 0.25
"""A nameless piece inside one road, up to this length, is that road."""
_UNNAMED = {
    "track": "unnamed track", "service": "unnamed service road", "motorway_link": "unnamed ramp",
    "trunk_link": "unnamed ramp",
}  # fmt: skip
_CIRCLES = frozenset({"roundabout", "circular"})


def road_label(roads: RoadTable, row: int) -> str:
    """Name a stretch as a driver knows it: its name, else its number, else 'unnamed road'."""
    said = called(str(roads.name[row]), str(roads.ref[row]))
    return said or _UNNAMED.get(roads.highway[row], "unnamed road")


def is_named(roads: RoadTable, row: int) -> bool:
    """Tell whether a stretch has a name or a number."""
    return bool(roads.name[row] or roads.ref[row])


def is_circle(roads: RoadTable, row: int) -> bool:
    """Tell whether a stretch is part of a roundabout."""
    return roads.way_tags[roads.tag_row[row]].get("junction") in _CIRCLES


def same_road(roads: RoadTable, row: int, other: int, name: str = "") -> bool:
    """Tell whether two stretches are one road: of one name, or of one number where a name is missing.

    `name` is that of the road so far, where the stretch `row` itself may lack it.
    """
    name = name or str(roads.name[row])
    if name and roads.name[other]:
        return normalise(name) == normalise(str(roads.name[other]))
    return not _keys(roads, row).isdisjoint(_keys(roads, other))


def labels_along(roads: RoadTable, rows: Sequence[int], leaves: Callable[[int, int], bool]) -> list[str]:
    """Name the stretches of a way in the order driven: stretches of one road have one label.

    A short nameless piece inside one road, such as its bridge, takes the road's name, unless the way `leaves` the road:
    told by the positions of the stretch before the piece and of the one after it. The number follows the name in
    brackets where it is told for the first time.
    """
    told: set[str] = set()
    labels = [""] * len(rows)
    for road in _roads(roads, rows, leaves):
        label = road.label(roads, rows, told)
        for position in road.positions:
            labels[position] = label
    return labels


@dataclass(slots=True)
class _Road:
    """Positions along a way that are one road."""

    positions: list[int]
    name: str = ""
    gap: list[int] = field(default_factory=list)
    """Nameless positions since the last named one."""

    def takes(self, roads: RoadTable, rows: Sequence[int], position: int, leaves: Callable[[int, int], bool]) -> bool:
        """Tell whether the next named stretch goes on with this road."""
        gap_mi = float(sum(roads.length_m[rows[one]] for one in self.gap)) / M_PER_MI
        if gap_mi > NAMELESS_MI or not same_road(roads, rows[self.positions[-1]], rows[position], self.name):
            return False
        return not self.gap or not leaves(self.positions[-1], position)

    def label(self, roads: RoadTable, rows: Sequence[int], told: set[str]) -> str:
        """Name the road; its number is added unless the name says it or it was told before."""
        refs = roads.ref[[rows[one] for one in self.positions]].tolist()
        number = next(filter(None, refs), "").replace(";", " / ")
        if not self.name:
            return called("", number) or road_label(roads, rows[self.positions[0]])
        own = self.name.split()[-1:] == [number] or normalise(self.name) in road_keys("", number, {})
        if not number or number in told or own:
            return called(self.name)
        told.add(number)
        return f"{called(self.name)} ({number})"


def _roads(roads: RoadTable, rows: Sequence[int], leaves: Callable[[int, int], bool]) -> list[_Road]:
    """Part a way into roads; nameless stretches that lie inside no road are roads of their own."""
    found: list[_Road] = []
    last: _Road | None = None
    names = roads.name[rows].tolist()
    for position, (row, name) in enumerate(zip(rows, names, strict=True)):
        if name and last and name == last.name and not last.gap:  # most stretches: the road simply goes on
            last.positions.append(position)
            continue
        if not name and not is_named(roads, row):
            found.append(_Road([position]))
            if last:
                last.gap.append(position)
            continue
        if last and last.takes(roads, rows, position, leaves):
            if inside := set(last.gap):
                found = [road for road in found if inside.isdisjoint(road.positions)]
            last.positions += [*last.gap, position]
            last.gap.clear()
        else:
            last = _Road([position])
            found.append(last)
        last.name = last.name or name
    return found


def _keys(roads: RoadTable, row: int) -> frozenset[str]:
    return road_keys(str(roads.name[row]), str(roads.ref[row]), {})
