"""Bars across roads that barriers part: where they stand, on the cards, and on the map."""

from __future__ import annotations

import numpy as np
import pytest

from preplan.plan import Plan
from preplan.records import IntArray
from preplan.render import card_parts
from preplan.render.barrier_marks import Barriers, barrier_lines, draw_barriers
from preplan.render.card_facts import WIDTH_PT
from preplan.render.card_pdf import one_card
from preplan.render.charts import CROSSED, DASHED
from preplan.render.lettering_pdf import load_fonts
from preplan.render.map_ground import ground_data
from preplan.render.map_pack import pack
from preplan.render.paper import SMALL_PT, Document, paragraph
from preplan.render.route_pdf import Bridge, Subject
from preplan.render.scene import Box, Frame, Plane
from preplan.roads.barriers import part_at_barriers
from tests.example_plan import example_plan
from tests.pdf_words import pages_of
from tests.plan_checks import SAMPLE, plan_of
from tests.road_builder import draw, lonlat


def row_of(plan: Plan, label: str) -> int:
    return list(plan.addresses.label).index(label)


def test_a_bar_stands_at_the_barrier_across_the_road_that_ends_there() -> None:
    town = draw(
        {"a": (0, 0), "gate": (100, 0), "b": (300, 0)},
        [("a", "gate", {}), ("gate", "b", {"via": [(150, 80)]})],
        node_tags={"gate": {"barrier": "bollard"}},
    )
    assert barrier_lines(town.roads) == []
    (line,) = barrier_lines(part_at_barriers(town.roads, "stricter")[0])
    # the shorter stretch is given the end of its own
    assert line == pytest.approx(np.array([lonlat(100, 0), lonlat(0, 0)]))


def test_the_sample_s_locked_gate_is_on_the_cards_beside_it_alone() -> None:
    plan = plan_of(SAMPLE / "district.toml")
    assert len(barrier_lines(plan.roads)) == 1
    for label, shown in (("40 Powder House Rd", True), ("11 Gristmill Rd", False)):
        text = " ".join(" ".join(pages_of(one_card(plan, row_of(plan, label)))).split())
        assert ("Bar across a road: no truck passes." in text) is shown


def test_no_bar_lies_on_another_road_nor_where_its_own_is_not_drawn() -> None:
    """Else the through road would seem shut."""
    town = draw(
        {"west": (-900, 0), "a": (0, 0), "east": (900, 0), "gate": (0, 90), "b": (0, 400)},
        [("west", "a", {}), ("a", "east", {}), ("a", "gate", {}), ("gate", "b", {})],
        node_tags={"gate": {"barrier": "bollard"}},
    )
    roads = part_at_barriers(town.roads, "stricter")[0]
    barriers = Barriers.of(roads, Plane(*lonlat(0, 0)).feet(roads.coord_lon, roads.coord_lat))
    ((own, _),) = barriers.ends
    every = np.arange(len(roads.length_m), dtype=np.int32)
    pen = Document(example_plan().district, "").pen

    def bars(half_ft: float, drawn: IntArray) -> int:
        frame = Frame(Box(0.0, 0.0, 200.0, 200.0), Box(-half_ft, -half_ft, half_ft, half_ft))
        return len(draw_barriers(pen, frame, barriers, drawn))

    assert bars(1000.0, every) == 1
    assert bars(1000.0, every[every != own]) == 0, "its own road is not drawn"
    assert bars(4000.0, every) == 0, "90 m from the through road are 7 points"
    through = [row for row in every.tolist() if roads.length_m[row] > 800.0]
    assert len(through) == 2
    assert bars(4000.0, np.setdiff1d(every, through)) == 1, "which is not drawn"


def test_the_map_has_the_place_of_the_gate() -> None:
    assert ground_data(plan_of(SAMPLE / "district.toml"))["barriers"]["n"] == pack([2])


def test_a_note_with_every_kind_of_mark_fits() -> None:
    """Nothing is cut off at its end."""
    load_fonts()
    line = np.zeros((2, 2))
    every = Subject((0,), 0, line, line, 0, turns=((1, 0.0, 0.0),), bridges=(Bridge(0.0, 0.0, 0.0, ""),))
    seen = {"site", "hydrant", "station", "address", DASHED, CROSSED, "barrier"}
    note = card_parts.map_note(every, seen)
    assert "Bar: no truck passes." in note
    assert len(paragraph(note, WIDTH_PT, SMALL_PT)) == 2
    assert "Bar across a road" in card_parts.map_note(every, {"barrier"})
