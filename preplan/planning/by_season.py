"""Seasons of the roads put together: each address takes the rows of its worst season.

Sites that stand in some months only are weighed inside one season of the roads (`choices.choose`); here the seasons
of the roads are weighed against each other, by the same rule.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import fields, replace
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from preplan.months import month_words, months_text
from preplan.plan_tables import FIRST_ALARM_IN, NO_SITE_IN, NO_WAY, AnswerTable, Flag, SeasonLine
from preplan.planning.assignment import CutTrips, Scene
from preplan.planning.choices import Choice, worst_season
from preplan.planning.flows import Flows
from preplan.planning.minutes import called_in
from preplan.records import ALL_MONTHS, FloatArray, IntArray

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

Table = TypeVar("Table", bound="DataclassInstance")


def worst_roads(choices: Sequence[Choice], required_gpm: FloatArray) -> tuple[Choice, IntArray]:
    """Put the choices made in each season of the roads together: one choice, and each address's season of the roads."""
    if len(choices) == 1:
        return choices[0], np.zeros(len(required_gpm), dtype=np.int32)
    brings = np.stack([_decided(choice) for choice in choices])
    road = worst_season(brings, required_gpm)
    lines = [line for choice in choices for line in choice.seasons]
    rows = [row for choice in choices for row in choice.rows]
    order = sorted(range(len(lines)), key=lambda at: (-len(lines[at].months), lines[at].months))
    place = np.argsort(order).astype(np.int32)
    first = np.cumsum([0, *(len(choice.seasons) for choice in choices)])
    placed = [
        replace(
            choice,
            season=place[choice.season + start],
            seasons=tuple(lines[at] for at in order),
            rows=tuple(rows[at] for at in order),
        )
        for choice, start in zip(choices, first, strict=False)
    ]
    return by_rows(placed, road), road


def _decided(choice: Choice) -> FloatArray:
    """Give what the season that decides brings, (addresses, levels)."""
    brings = np.stack([np.nan_to_num(line.brings_gpm) for line in choice.seasons])
    a, lv = np.indices(choice.season.shape)
    decided: FloatArray = brings[choice.season, a, lv]
    return decided


def by_rows(tables: Sequence[Table], road: IntArray) -> Table:
    """Take each row from the table of its season; arrays of the tables begin with the addresses, the rest is equal."""
    changes: dict[str, Any] = {}
    for field in fields(tables[0]):
        columns = [getattr(table, field.name) for table in tables]
        if isinstance(columns[0], np.ndarray):
            changes[field.name] = rows_of(columns, road)
    return replace(tables[0], **changes) if len(tables) > 1 else tables[0]


def rows_of(columns: Sequence[Any], road: IntArray) -> Any:
    """Take each row (addresses, ...) from the column of its season."""
    taken = columns[0].copy()
    for season, column in enumerate(columns):
        taken[road == season] = column[road == season]
    return taken


def merged_scene(scenes: Sequence[Scene], road: IntArray) -> Scene:
    """Let each address see the trips and arrivals of its season; at the fill sites units arrive as in their worst.

    So a hose lay has only engines that come to its fill site in every season. Who pumps in
    the season that decides is asked of the scene of that season.
    """
    if len(scenes) == 1:
        return scenes[0]
    at_site = np.max([scene.response.site_arrival_min for scene in scenes], axis=0)
    responses = [replace(scene.response, site_arrival_min=np.empty((len(road), 0))) for scene in scenes]
    cuts = zip(*(scene.cuts for scene in scenes), strict=True)
    return replace(
        scenes[0],
        response=replace(by_rows(responses, road), site_arrival_min=at_site),
        cuts=tuple(
            CutTrips(
                trip_min=rows_of([one.trip_min for one in same], road),
                out_min=rows_of([one.out_min for one in same], road),
                members=same[0].members,
            )
            for same in cuts
        ),
    )


def told_by_season(
    answers: AnswerTable, backup: IntArray, choice: Choice, flows: Sequence[Flows], of_line: Sequence[int]
) -> AnswerTable:
    """Say what differs in other months than those that decide: no way, no backup, less time to call; who has no way."""
    open_months = frozenset[int]().union(*(site.months for site in flows[0].scene.sites if site.in_service))
    answers = with_lone_months(season_flags(answers, choice.seasons, open_months), backup, choice.seasons)
    answers = with_stranded(answers, [each.scene for each in flows])
    return with_early_calls(answers, choice, flows, of_line)


def season_flags(
    answers: AnswerTable, seasons: tuple[SeasonLine, ...], open_months: Collection[int] = ALL_MONTHS
) -> AnswerTable:
    """Say of an address that no tanker reaches in its worst season, but in others, in which months and why.

    In `open_months` some fill site stands: in the others it is no road that lacks.
    """
    ways = np.stack([(line.best_site >= 0).any(axis=1) for line in seasons])
    at_times = (answers.status == "no route") & ways.any(axis=0)
    flags = list(answers.flags)
    for a in np.flatnonzero(at_times).tolist():
        flags[a] = tuple(_closed(flags[a], seasons, ways[:, a].tolist(), open_months))
    return replace(answers, flags=tuple(flags))


def with_lone_months(answers: AnswerTable, backup: IntArray, seasons: tuple[SeasonLine, ...]) -> AnswerTable:
    """Say in which months no site stands in, where one does in the worst season: `backup` (addresses, levels)."""
    sites = [(answers.shown(line.best_site), answers.shown(line.backup_site)) for line in seasons]
    lacks = np.stack([(best >= 0) & (stands_in < 0) for best, stands_in in sites])
    found = []
    for a in np.flatnonzero((answers.shown(backup) >= 0) & lacks.any(axis=0)).tolist():
        lone = [line.months for line, alone in zip(seasons, lacks[:, a], strict=True) if alone]
        found.append((a, Flag("no backup", months_text(frozenset().union(*lone)))))
    return answers.flagged(found)


def with_stranded(answers: AnswerTable, scenes: Sequence[Scene]) -> AnswerTable:
    """Name the units without a way, each with its months where it has one in others; one scene a season of the roads.

    In any season: who comes in the months that decide may be kept off by a posting in those that do not.
    """
    ids = [unit.unit_id for unit in scenes[0].units]
    stranded = ~np.isfinite(np.stack([scene.response.arrival_min for scene in scenes]))
    found = []
    for a in np.flatnonzero((answers.level >= 0) & stranded.any(axis=(0, 2))).tolist():
        units: dict[frozenset[int], list[str]] = {}
        for unit in np.flatnonzero(stranded[:, a].any(axis=0)).tolist():
            those = (one.rules.plan.months for one, no in zip(scenes, stranded[:, a, unit], strict=True) if no)
            units.setdefault(frozenset().union(*those), []).append(ids[unit])
        always = frozenset(scenes[0].planned)
        for months, named in units.items():
            when = "" if months >= always else f" in {month_words(months)}"
            found.append((a, Flag(NO_WAY, f"{' '.join(named)}{when}")))
    return answers.flagged(found)


def with_early_calls(
    answers: AnswerTable, choice: Choice, flows: Sequence[Flows], of_line: Sequence[int]
) -> AnswerTable:
    """Say in which months a higher level goes with the first alarm though the worst season leaves time to call it.

    More water does not always leave more time: another fill site may need a pump or a drafting engine that comes late.
    `of_line` gives the season of the roads of each line of the plan.
    """
    lax = np.flatnonzero(answers.in_time()).astype(np.int32)
    cell = lax, answers.level[lax]
    months: dict[int, frozenset[int]] = {}
    for line, (season, rows) in enumerate(zip(of_line, choice.rows, strict=True)):
        mine = np.flatnonzero((choice.season[cell] != line) & (rows[cell] >= 0))
        asked = called_in(flows[season].scene, flows[season].settled_rows(rows[cell][mine]).run)
        with np.errstate(invalid="ignore"):
            waits = asked.in_time & (asked.call_by_min >= answers.call_by_min[lax[mine]])
        for a in lax[mine[~waits]].tolist():
            months[a] = months.get(a, frozenset()) | frozenset(choice.seasons[line].months)
    return answers.flagged((a, Flag(FIRST_ALARM_IN, months_text(those))) for a, those in months.items())


def _closed(
    flags: tuple[Flag, ...], seasons: tuple[SeasonLine, ...], ways: list[bool], open_months: Collection[int]
) -> Iterator[Flag]:
    months = frozenset(month for line, way in zip(seasons, ways, strict=True) if not way for month in line.months)
    for flag in flags:
        if flag.code != "road cut off":
            yield flag
            continue
        for code, those in ((NO_SITE_IN, months - {*open_months}), ("road closed", months & {*open_months})):
            if those:
                yield Flag(code, months_text(those))
