"""Names that printed pages cannot write are told, those that they can are not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from preplan.records import text_array
from preplan.render.letters import unwritten
from tests.example_plan import example_plan


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("12 Mill Road", ""), ("Überlänge Straße ½", ""), ("Дорога 7", ""), ("Οδός 3", ""), ("Đường Số 9", ""),
        ("山の道 13", "lack and show as boxes"), ("ถนนสุขุมวิท", "lack and show as boxes"),
        ("רחוב הרצל 4", "right to left"), ("شارع 5", "right to left"),
    ],
)  # fmt: skip
def test_only_what_prints_wrong_is_noted(name: str, told: str) -> None:
    plan = example_plan()
    labels = text_array([name, *plan.addresses.label[1:].tolist()])
    notes = list(unwritten(labels, plan.roads, [site.name for site in plan.sites]))
    assert bool(notes) == bool(told)
    assert all(name in note for note in notes)
    assert told in " ".join(notes)


def test_roads_and_fill_sites_are_looked_at_and_counted() -> None:
    plan = example_plan()
    roads = replace(plan.roads, name=np.array(["山の道"] * len(plan.roads), dtype=np.object_))
    (note,) = unwritten(plan.addresses.label, roads, ["道の池"])
    assert note.startswith("2 names have letters")
