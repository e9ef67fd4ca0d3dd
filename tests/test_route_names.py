"""Names of the roads that a trip drives: by the line that is theirs, clear of all else, on most maps of the sample."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np
import pytest
import shapely
from shapely import affinity, ops

from preplan.plan import Plan
from preplan.plan_cards import Step
from preplan.render import card_pdf, charts, paper
from preplan.render.charts import Picture
from preplan.render.paper import SMALL_PT, Document, Pen
from preplan.render.route_names import MOST_NAMED, Driven, driven_roads, place_names
from preplan.render.scene import Box, Room, Spot, dotted
from tests.plan_checks import SAMPLE, plan_of

PAGE = Box(0.0, 0.0, 400.0, 200.0)
LINE = np.array([[20.0, 40.0], [200.0, 60.0], [230.0, 180.0], [380.0, 170.0]])


def area(name: str, spot: Spot) -> shapely.Polygon:
    """Give what a label covers, as it slopes."""
    width, height = paper.width_of(name, SMALL_PT), SMALL_PT * 1.05
    flat = shapely.box(-width / 2, -height / 2, width / 2, height / 2)
    turned = affinity.rotate(flat, spot.slope, origin=(0, 0), use_radians=True)
    return affinity.translate(turned, spot.x, spot.y)


def test_each_road_is_named_once_beside_its_own_piece() -> None:
    roads = (Driven("Mill Road", 0.0, 0.4), Driven("Elm Road", 0.4, 0.7), Driven("Oak Lane", 0.7, 1.0))
    room = Room(PAGE)
    room.block(dotted(LINE, 5.0))
    placed = place_names(LINE, roads, room)
    assert [name for name, _ in placed] == ["Oak Lane", "Mill Road", "Elm Road"]  # the last, then the longest
    whole = shapely.LineString(LINE)
    for name, spot in placed:
        road = next(one for one in roads if one.name == name)
        piece = ops.substring(whole, road.begins, road.ends, normalized=True)
        others = whole.difference(piece.buffer(1.0))
        label = shapely.Point(spot.x, spot.y)
        assert label.distance(piece) < 20.0
        assert label.distance(piece) < label.distance(others)
        assert not area(name, spot).intersects(whole)
        assert abs(spot.slope) <= np.pi / 2  # never upside down


def test_what_is_taken_stays_free_and_a_road_without_room_has_no_name() -> None:
    roads = (Driven("Mill Road", 0.0, 1.0),)
    full = Room(PAGE, [PAGE])
    assert place_names(LINE, roads, full) == []
    # all but a strip below the first road is taken: the name stands there
    room = Room(PAGE, [Box(0.0, 45.0, 400.0, 200.0)])
    ((_, spot),) = place_names(LINE, roads, room)
    assert spot.y + SMALL_PT / 2 <= 45.0
    assert len(room.taken) == 2


def test_a_road_that_is_hardly_seen_is_not_named_unless_the_star_is_on_it() -> None:
    short = (Driven("Mill Road", 0.0, 0.02), Driven("Elm Road", 0.02, 0.99), Driven("Oak Lane", 0.99, 1.0))
    assert [name for name, _ in place_names(LINE, short, Room(PAGE))] == ["Oak Lane", "Elm Road"]
    assert [name for name, _ in place_names(LINE, short[:2], Room(PAGE))] == ["Elm Road"]


def test_a_road_driven_twice_is_named_once_and_a_long_way_names_some() -> None:
    twice = (Driven("Mill Road", 0.0, 0.3), Driven("Elm Road", 0.3, 0.6), Driven("Mill Road", 0.6, 1.0))
    assert Counter(name for name, _ in place_names(LINE, twice, Room(PAGE))) == {"Mill Road": 1, "Elm Road": 1}
    many = tuple(Driven(f"Road {k}", k / 12, (k + 1) / 12) for k in range(12))
    long = LINE * 4.0
    placed = place_names(long, many, Room(Box(0.0, 0.0, 1600.0, 800.0)))
    assert (len(placed), placed[0][0]) == (MOST_NAMED, "Road 11")


def test_the_number_of_a_road_stands_with_its_steps_alone() -> None:
    steps = [Step(road=road, miles=1.0, turn="Left on") for road in ("Main Street (SR 9)", "unnamed road")]
    assert driven_roads(steps, {"Main Street"}) == (Driven("Main Street", 0.0, 0.5),)
    assert driven_roads([], {"Main Street"}) == ()


def test_many_spots_at_once_are_what_they_are_one_by_one() -> None:
    rng = np.random.default_rng(7)
    seen: Counter[bool] = Counter()
    for _ in range(300):
        low = rng.uniform(0, 300, (12, 2))
        taken = [Box(x, y, x + rng.uniform(5, 120), y + rng.uniform(5, 60)) for x, y in low.tolist()]
        blocked = rng.uniform(0, 400, (40, 2))
        spots = np.column_stack([rng.uniform(0, 400, (15, 2)), rng.choice([0.0, 0.4, -1.2], 15)])
        one, all_ = Room(PAGE, list(taken)), Room(PAGE, list(taken))
        one.block(blocked)
        all_.block(blocked)
        found = all_.first_free(spots, 60.0, 9.0)
        assert found == one.place((Spot(*spot) for spot in spots.tolist()), 60.0, 9.0)
        assert np.array(all_.taken) == pytest.approx(np.array(one.taken))
        seen[found is None] += 1
    assert min(seen[True], seen[False]) > 20, seen


@pytest.fixture(scope="module")
def sample() -> Plan:
    return plan_of(SAMPLE / "district.toml")


def test_most_maps_of_the_sample_name_the_roads_that_are_driven(sample: Plan, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the star is, a driver looks for the name of its road first."""
    written: list[str] = []

    def noted(_pen: Pen, placed: Sequence[tuple[str, Spot]]) -> None:
        written.extend(name for name, _ in placed)

    monkeypatch.setattr(charts, "halo_texts", noted)
    picture, seen = Picture(sample), Counter[str]()
    for group in sample.groups[::3]:  # drawing takes a while; a share of a hundred cards is as good
        roads = driven_roads(group.out_steps, set(picture.names.tolist()))
        if not roads:
            continue
        written.clear()
        card_pdf._draw_card(Document(sample.district, "cards"), picture, group, "card")
        roads_named = [name for name in written if name in picture.names]
        assert len(roads_named) == len({*roads_named})
        seen["cards"] += 1
        seen["last"] += roads[-1].name in written
        seen["roads"] += len(roads)
        seen["named"] += sum(road.name in written for road in roads)
    assert seen["last"] > 0.8 * seen["cards"], seen
    assert seen["named"] > 0.7 * seen["roads"], seen
