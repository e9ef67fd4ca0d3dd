"""Posted weight, axle load, height and width of one way or node."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import NamedTuple

from preplan.roads import access
from preplan.roads.measures import NO_LIMIT, Reading, length_ft, weight_lb


class Trouble(NamedTuple):
    """Something in the tags that a person should look at."""

    code: str
    key: str
    value: str
    rule: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Posted:
    """What is posted; inf where nothing is."""

    max_lb: float = NO_LIMIT
    max_axle_lb: float = NO_LIMIT
    max_height_ft: float = NO_LIMIT
    max_width_ft: float = NO_LIMIT
    weight_known: bool = False
    """A weight is posted, or the map says that none is."""
    troubles: tuple[Trouble, ...] = ()


def posted(tags: Mapping[str, str], bare_weight: str) -> Posted:
    """Read what is posted; of several keys and values of one kind the strictest counts.

    >>> posted({"maxweight": "3 st", "maxheight": "none"}, "stricter").max_lb
    6000.0
    """
    if not any(key.startswith("max") for key in tags):
        return Posted()
    troubles: list[Trouble] = []

    def strictest(keys: tuple[str, ...], read: Callable[[str], Reading]) -> Reading:
        readings = {key: read(tags[key]) for key in keys if key in tags}
        troubles.extend(Trouble(one.problem, key, tags[key], one.rule) for key, one in readings.items() if one.problem)
        least = min(readings.values(), key=lambda one: one.value, default=Reading(NO_LIMIT, known=False))
        return least._replace(known=any(one.known for one in readings.values()))

    weight = strictest(access.WEIGHT_KEYS, lambda text: weight_lb(text, bare_weight))
    return Posted(
        max_lb=weight.value,
        max_axle_lb=strictest(access.AXLE_KEYS, lambda text: weight_lb(text, bare_weight)).value,
        max_height_ft=strictest(access.HEIGHT_KEYS, length_ft).value,
        max_width_ft=strictest(access.WIDTH_KEYS, length_ft).value,
        weight_known=weight.known,
        troubles=tuple(troubles),
    )
