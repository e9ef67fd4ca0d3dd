"""cards.csv: where the card of each address is, and who is sent there with which job."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from preplan.render.card_pdf import places
from preplan.render.index_pdf import heading_of
from preplan.render.tables import (
    CARD_COLUMNS,
    Cells,
    Numbers,
    at_level,
    csv_bytes,
    mask_at_level,
    named,
    units_by_arrival,
)

if TYPE_CHECKING:
    from preplan.plan import Plan


def cards_csv(plan: Plan) -> bytes:
    """Write cards.csv: one row an address that has a card, in code point order of address_id."""
    return csv_bytes(card_columns(plan))


def card_columns(plan: Plan) -> dict[str, Cells]:
    """Return the columns of cards.csv by name: road as in the index, file and page, units by arrival, jobs."""
    cards = places(plan)
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
        units_by_arrival(plan, mask_at_level(levels.fleet, level)[rows], rows),
        *(named(ids, at_level(job, level)[rows]) for job in jobs),
    )
    return dict(zip(CARD_COLUMNS, cells, strict=True))
