"""Every fault that is planted into a whole district, roads and all."""

from __future__ import annotations

from tests.faults.districts import DISTRICTS
from tests.faults.graphs import GRAPHS
from tests.faults.packed import PACKED
from tests.faults.planting import Fault
from tests.faults.roads import ROADS
from tests.faults.shapes import SHAPES

WHOLE: tuple[Fault, ...] = (*ROADS, *GRAPHS, *SHAPES, *DISTRICTS, *PACKED)
"""All of them, by subject."""
