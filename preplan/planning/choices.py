"""Which fill site serves each level of each address, and which stands in, in every season; one season decides."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from preplan.plan_tables import ROUNDING_GPM, SeasonLine
from preplan.planning.assignment import Scene, other_sources, season_months
from preplan.planning.flows import Flows
from preplan.planning.splits import split_rows
from preplan.records import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """Chosen sites of the season that decides: arrays of shape (addresses, levels)."""

    site: IntArray
    backup: IntArray
    row: IntArray
    """Settled case, see `Flows.settled_rows`; -1: no site."""
    season: IntArray
    """One season an address, the same at every level."""
    seasons: tuple[SeasonLine, ...]
    rows: tuple[IntArray, ...]
    """(addresses, levels) settled case in each of them, whose tankers may be split; rows of its roads' `Flows`."""


def choose(flows: Flows) -> Choice:
    """Choose site and backup in every season; the worst season decides, one for all levels of an address."""
    scene = flows.scene
    lines: list[SeasonLine] = []
    chosen: list[SeasonSites] = []
    for months, stands in season_months(scene.sites, scene.rules.plan.months):
        found = season_sites(scene, flows, stands)
        chosen.append(found)
        lines.append(
            SeasonLine(
                months=months,
                sites=tuple(np.flatnonzero(stands).tolist()),
                best_site=found.site,
                split_site=flows.second_site(found.row),
                backup_site=found.backup,
                backup_gpm=np.where(found.backup >= 0, flows.held_of(found.backup), np.nan),
                backup_steady_gpm=flows.steady_of(found.backup),
                uninterrupted_gpm=np.where(found.site >= 0, flows.held_gpm(found.row), np.nan),
                brings_gpm=np.where(found.site >= 0, flows.brings(found.row), np.nan),
            )
        )
    brings = np.stack([np.nan_to_num(line.brings_gpm) for line in lines])
    worst = worst_season(brings, scene.needs.required_gpm)
    season = np.repeat(worst[:, None], brings.shape[2], axis=1)
    a, lv = np.indices(season.shape)
    return Choice(
        site=np.stack([line.best_site for line in lines])[season, a, lv],
        backup=np.stack([found.backup for found in chosen])[season, a, lv],
        row=np.stack([found.row for found in chosen])[season, a, lv],
        season=season,
        seasons=tuple(lines),
        rows=tuple(found.row for found in chosen),
    )


@dataclass(frozen=True, slots=True)
class SeasonSites:
    """What is chosen in one season of the fill sites: arrays of shape (addresses, levels), -1: none."""

    site: IntArray
    backup: IntArray
    row: IntArray
    """Settled case, which may split the tankers over a second site; -1 where only a first look was asked for."""


def season_sites(scene: Scene, flows: Flows, stands: BoolArray, *, in_full: bool = True) -> SeasonSites:
    """Choose each level's fill site and backup in one season, among the sites that can be used, `stands` (sites,).

    A level keeps the site of the level below unless the better one gains more than `keep_site_gain`, or it alone
    meets the requirement, or the next best one does with a second site. Chosen cases are worked out in full, unless a
    first look will do; tankers are split over two sites only then.
    """
    shape = (len(scene.needs), len(scene.levels))
    site, backup, row = np.full((3, *shape), -1, dtype=np.int32)
    # a pond that nobody can bring an engine or a tanker to serves nobody, however near it is
    comes = np.asarray(np.isfinite(scene.response.arrival_min).any(axis=1))
    allowed = stands & comes[:, None]
    for level in range(shape[1]):
        best = flows.best_site(allowed, level)
        if level:
            best = _kept_or_better(scene, flows, site[:, level - 1], best, level)
        if in_full:
            _settle(flows, best, level)
            best = best if level == 0 else _never_less(flows, site[:, level - 1], best, level)
            below = row[:, level - 1] if level else np.full(len(best), -1, dtype=np.int32)
            row[:, level] = split_rows(flows, flows.row_of(best, level), below, stands, level)
            there = best >= 0
            best[there] = flows.settled_rows(row[there, level]).run.site
        site[:, level] = best
        backup[:, level] = flows.best_site(allowed & other_sources(scene, best), level)
        lifted = _split_from(flows, backup[:, level], row[:, level], stands, level) if in_full else row[:, level]
        moved = lifted != row[:, level]
        if moved.any():
            row[:, level] = lifted
            site[moved, level] = flows.settled_rows(lifted[moved]).run.site
            backup[:, level] = flows.best_site(allowed & other_sources(scene, site[:, level]), level)
    return SeasonSites(site, backup, row)


def _split_from(flows: Flows, first: IntArray, row: IntArray, stands: BoolArray, level: int) -> IntArray:
    """Give the settled cases of a level, (addresses,), from another first site where that alone meets the requirement.

    The best site by itself need not be one of the best two: where it does not meet, with or without a second one,
    tankers are split over `first` (addresses,), the next best, and a second one. At the highest level also where that
    holds more than `keep_site_gain` more and brings no less.
    """
    need, much = flows.scene.needs.met_from_gpm, 1.0 + flows.scene.rules.plan.keep_site_gain
    short = (row >= 0) & (flows.brings(row) < need)
    first = np.where(short, first, -1).astype(np.int32)
    _settle(flows, first, level)
    tried = split_rows(flows, flows.row_of(first, level), np.full_like(first, -1), stands, level)
    better = flows.brings(tried) >= need
    if level == len(flows.scene.levels) - 1:
        more = (flows.held_gpm(tried) > flows.held_gpm(row) * much) & (flows.brings(tried) >= flows.brings(row))
        better |= more & (flows.second_site(tried) >= 0)
    return np.where(short & better, tried, row).astype(np.int32)


def _settle(flows: Flows, site: IntArray, level: int) -> None:
    rows = np.flatnonzero(site >= 0).astype(np.int32)
    flows.settle(rows, site[rows], np.full(rows.size, level, dtype=np.int32))


def _kept_or_better(scene: Scene, flows: Flows, lower: IntArray, best: IntArray, level: int) -> IntArray:
    """Let a level keep the site of the level below, (addresses,), where the better one gains too little."""
    rows = np.flatnonzero(lower >= 0).astype(np.int32)
    flows.look(rows, lower[rows], np.full(rows.size, level, dtype=np.int32))
    much = 1.0 + scene.rules.plan.keep_site_gain
    old, new = flows.brought_at(lower, level), flows.brought_at(best, level)
    need = scene.needs.met_from_gpm
    gains = (new > old * much) | ((new >= need) & (old < need))
    gains |= flows.held_at(best, level) > flows.held_at(lower, level) * much  # nearly as much, and with less of a break
    return np.where((lower >= 0) & ~gains, lower, best).astype(np.int32)


def _never_less(flows: Flows, lower: IntArray, best: IntArray, level: int) -> IntArray:
    """Let a level fall back to the site of the level below where its own, worked out in full, brings less."""
    own, below = flows.row_of(best, level), flows.row_of(lower, level - 1)
    less = (lower >= 0) & (flows.brings(own) < flows.brings(below))
    site = np.where(less, lower, best).astype(np.int32)
    _settle(flows, np.where(less, lower, -1).astype(np.int32), level)
    return site


def worst_season(flows: FloatArray, need_gpm: FloatArray) -> IntArray:
    """Pick each address's worst season from what is brought, (seasons, addresses, levels) gpm; see `brought_gpm`.

    The one in which the level that meets comes latest, or none does; of equal ones that which brings least at
    the level that brings most then; of equal ones the longest, which comes first.
    """
    meets = flows >= need_gpm[None, :, None] - ROUNDING_GPM
    some = meets.any(axis=2)
    first = np.where(some, meets.argmax(axis=2), flows.shape[2])
    shown = np.where(some, np.minimum(first, flows.shape[2] - 1), flows.argmax(axis=2))
    flow = np.take_along_axis(flows, shown[:, :, None], axis=2)[:, :, 0]
    latest = first == first.max(axis=0, keepdims=True)
    flow = np.where(latest, flow, np.inf)
    worst: IntArray = (flow <= flow.min(axis=0) + ROUNDING_GPM).argmax(axis=0).astype(np.int32)
    return worst
