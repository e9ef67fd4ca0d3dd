"""Routes of chosen trips as trees rooted at fill sites: a stretch shared by many trips is stored once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from preplan.plan_tables import RouteForest
from preplan.records import BoolArray, IntArray
from preplan.roads.search import Legs, Search
from preplan.roads.trips import Reach, first_step


@dataclass(frozen=True, slots=True, kw_only=True)
class Traced:
    """The trees of one search, and the row at which each of its legs ends at the address."""

    forest: RouteForest
    leaf: IntArray


def trace(reach: Reach, legs: Legs, *, inward: bool) -> Traced:
    """Store the stretches that the legs drive, from each leg's leaf at the address to the root at the site."""
    leaf = np.full(len(legs.row), -1, dtype=np.int32)
    trees, marks = [], []
    for search, index, row in reach.parts(legs):
        trees.append(traced(search, legs.at(index, row), inward=inward))
        marks.append(index)
    forest, leaves = join_forests(trees)
    for index, own in zip(marks, leaves, strict=True):
        leaf[index] = own
    return Traced(forest=forest, leaf=leaf)


def traced(search: Search, legs: Legs, *, inward: bool) -> Traced:
    """Store the stretches of legs that lie in one search."""
    own = search.spots.state.ravel()
    seen = _visited(search, legs, own, inward=inward)
    row, state = np.nonzero(seen)
    number = np.full(seen.shape, -1, dtype=np.int32)
    number[row, state] = np.arange(len(row), dtype=np.int32)
    roots = len(row) + np.cumsum(np.ones(len(own), dtype=np.int32)) - 1
    after = search.link[row, state]
    ends = (after < 0) | (inward & (search.base[after] == own[row]))
    parent = np.where(ends, roots[row], number[row, np.maximum(after, 0)])
    leaf = np.where(legs.direct, roots[legs.row], number[legs.row, legs.state])
    states = np.concatenate([search.base[state], own])
    parents = np.concatenate([parent, np.full(len(own), -1)])
    # An address on the site's own stretch whose way leads round to it starts that way on a row of its own.
    around = np.flatnonzero(~legs.direct & inward & (legs.state == own[legs.row]))
    first = first_step(search, legs)[around]
    leaf[around] = len(states) + np.arange(len(around))
    states = np.concatenate([states, legs.state[around]])
    parents = np.concatenate([parents, number[legs.row[around], first]])
    forest = RouteForest(
        segment=(states >> 1).astype(np.int32), forward=states % 2 == 0, parent=parents.astype(np.int32)
    )
    return Traced(forest=forest, leaf=leaf.astype(np.int32))


def _visited(search: Search, legs: Legs, own: IntArray, *, inward: bool) -> BoolArray:
    """Mask the (rows, states) that the legs drive, the site's own state left out; each is walked once."""
    seen = np.zeros(search.link.shape, dtype=np.bool_)
    around = inward & (legs.state == own[legs.row])
    at = np.where(around, first_step(search, legs), legs.state)
    row, at = legs.row[~legs.direct], at[~legs.direct]
    while len(row):
        fresh = ~seen[row, at] & ~(inward & (search.base[at] == own[row]))
        row, at = row[fresh], at[fresh]
        seen[row, at] = True
        at = search.link[row, at]
        row, at = row[at >= 0], at[at >= 0]
    return seen


def join_forests(trees: list[Traced]) -> tuple[RouteForest, list[IntArray]]:
    """Put the trees of several searches into one forest; return it and each search's leaves in it."""
    leaves: list[IntArray] = []
    segment, forward, parent = [], [], []
    offset = 0
    for one in trees:
        forest = one.forest
        segment.append(forest.segment)
        forward.append(forest.forward)
        parent.append(np.where(forest.parent >= 0, forest.parent + offset, -1))
        leaves.append(np.where(one.leaf >= 0, one.leaf + offset, -1).astype(np.int32))
        offset += len(forest)
    empty = [np.empty(0, dtype=np.int32)]
    return (
        RouteForest(
            segment=np.concatenate(segment or empty).astype(np.int32),
            forward=np.concatenate(forward or empty).astype(np.bool_),
            parent=np.concatenate(parent or empty).astype(np.int32),
        ),
        leaves,
    )


def states_on(forest: RouteForest, leaf: IntArray, mask: BoolArray) -> IntArray:
    """List (index of the leg, state) of the stretches of a mask that legs drive, shape (pairs, 2)."""
    leg = np.flatnonzero(leaf >= 0)
    at = leaf[leg]
    pairs = [np.empty((0, 2), dtype=np.int64)]
    while len(at):
        state = 2 * forest.segment[at] + ~forest.forward[at]
        pairs.append(np.column_stack([leg, state])[mask[forest.segment[at]]])
        at = forest.parent[at]
        leg, at = leg[at >= 0], at[at >= 0]
    return np.concatenate(pairs)
