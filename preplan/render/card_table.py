"""cards.csv: where the card of each address is, and what it says that no other table has.

That is who is sent there with which job and which way, what each season and each sheet behind brings, and what is too
weak near the fill site.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from preplan.months import month_words
from preplan.plan_tables import at_level
from preplan.records import IntArray
from preplan.render.card_facts import Facts
from preplan.render.card_other import sheet_words
from preplan.render.card_pdf import places
from preplan.render.card_seasons import sites_of
from preplan.render.first_drive import EVERY, bridge_words, first_drives
from preplan.render.index_pdf import heading_of
from preplan.render.limit_places import site_warnings
from preplan.render.tables import (
    CARD_COLUMNS,
    Cells,
    Numbers,
    csv_bytes,
    named,
    supply,
    units_by_arrival,
)

if TYPE_CHECKING:
    from preplan.plan import Plan
    from preplan.plan_cards import CardGroup
    from preplan.plan_tables import SeasonLine


def cards_csv(plan: Plan) -> bytes:
    """Write cards.csv: one row an address that has a card, in code point order of address_id."""
    return csv_bytes(card_columns(plan))


def card_columns(plan: Plan) -> dict[str, Cells]:
    """Return the columns of cards.csv by name: road as in the index, file and page, then what the card says."""
    cards = places(plan)
    told = [_told(plan, group) for group, _ in cards]
    listed = [(address, at) for at, (group, _) in enumerate(cards) for address in group.addresses]
    listed.sort()  # addresses stand in the order of their ids
    rows = np.array([address for address, _ in listed], dtype=np.int32)
    place = [cards[at][1].partition("#") for _, at in listed]
    level, levels = plan.answers.level, plan.levels
    ids = [unit.unit_id for unit in plan.units]
    jobs = (levels.attack_engine, levels.fill_engine, levels.dump_engine, levels.split_engine)
    cells: tuple[Cells, ...] = (
        plan.addresses.address_id[rows].tolist(),
        [heading_of(cards[at][0]) for _, at in listed],
        [file or "cards.pdf" for file, _, _ in place],
        Numbers(np.array([float(page) for _, _, page in place], dtype=np.float64), 0),
        units_by_arrival(plan, plan.answers.shown_units(levels.fleet)[rows], rows),
        *(named(ids, at_level(job, level)[rows]) for job in jobs),
        _seasons(plan, rows),
        *([told[at][column] for _, at in listed] for column in range(3)),
    )
    return dict(zip(CARD_COLUMNS, cells, strict=True))


def _told(plan: Plan, group: CardGroup) -> tuple[str, str, str]:
    """Write how units come from their stations, what sheets behind say, and what is too weak near the fill site."""
    facts = Facts(plan, group)
    drives = "; ".join(first_drives(plan, group.lead, group.ways_in, EVERY))
    drives = "; ".join(filter(None, (drives, *bridge_words(plan, group.ways_in))))
    near = dict.fromkeys(one for site in sites_of(facts) for one in site_warnings(plan, site))
    return drives, " ".join(sheet_words(facts)), " ".join(near)


def _seasons(plan: Plan, rows: IntArray) -> list[str]:
    """Write what the seasons bring where they differ on the card: fill sites and flow of the shown level.

    Where no level is shown, of every level, lowest first.
    """
    brought = [_brought(plan, season, rows) for season in plan.seasons]
    said = []
    for row, level in enumerate(plan.answers.level[rows].tolist()):
        months_of: dict[str, list[int]] = {}
        for season, cells in zip(plan.seasons, brought, strict=True):
            shown = cells[level][row] if level >= 0 else ", ".join(cell[row] for cell in cells)
            months_of.setdefault(shown, []).extend(season.months)
        parts = months_of.items() if len(months_of) > 1 else ()
        said.append("; ".join(f"{month_words(which)}: {shown}" for shown, which in parts))
    return said


def _brought(plan: Plan, season: SeasonLine, rows: IntArray) -> list[list[str]]:
    """Write the fill sites and the flow of each level in a season, an entry a row."""
    ids, cells = [site.site_id for site in plan.sites], []
    for level in range(len(plan.district.levels)):
        sites = (named(ids, of[rows, level]) for of in (season.best_site, season.split_site))
        held = supply(np.nan_to_num(season.uninterrupted_gpm[rows, level])).values.tolist()
        cells.append([
            f"{'+'.join(filter(None, (one, other)))} {gpm:.0f} gpm" if one else "no site"
            for one, other, gpm in zip(*sites, held, strict=True)
        ])  # fmt: skip
    return cells
