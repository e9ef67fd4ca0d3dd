"""What a run of accounts noted, as it is drawn: levels, dry stretches, who nursed, dumps, dry sources."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from preplan.plan_cards import Nursed, Strip
from preplan.records import FloatArray
from preplan.water.timeline_accounts import Accounts
from preplan.water.timeline_state import DRY, DUMP, LEVEL, NOTHING, NURSED
from preplan.water.timeline_table import CaseTable

_APART_MIN = 1e-9  # points of time nearer than this are one


def strips_of(run: Accounts, table: CaseTable, unit_ids: Sequence[str]) -> list[Strip]:
    """Write every case's strip; `unit_ids` name the tankers in the order of their columns."""
    return [_strip(run, table, row, unit_ids) for row in range(len(table))]


def _strip(run: Accounts, table: CaseTable, row: int, unit_ids: Sequence[str]) -> Strip:
    """Write one case's strip."""
    kinds = LEVEL, DRY, NOTHING, DUMP
    (minute, gal), dry, nothing, (dumped_min, who) = (run.noted(row, kind).T for kind in kinds)
    clock = run.clock
    end = clock.end[row]
    kept = np.ones(len(minute), dtype=np.bool_)
    kept[1:] = (np.diff(minute) > _APART_MIN) | (np.abs(np.diff(gal)) > _APART_MIN)
    steps = sorted({
        float(clock.first_water[row]): float(clock.attack_gpm[row]),
        float(clock.full[row]): float(table.required_gpm[row]),
        float(end): 0.0,
    }.items())  # fmt: skip
    runs = bool(np.isfinite(end))
    arrival = table.arrival_min[row]
    here = np.flatnonzero(arrival < end)
    here = here[np.argsort(arrival[here], kind="stable")]
    order = np.lexsort((who, dumped_min))
    nurse, fed = int(run.ground["nurse"][row]), run.noted(row, NURSED).tolist()
    return Strip(
        minute=minute[kept],
        on_scene_gal=gal[kept],
        demand_min=np.array([at for at, _ in steps] if runs else []),
        demand_gpm=np.array([gpm for _, gpm in steps] if runs else []),
        gaps_min=_joined(*dry),
        nothing_min=_joined(*nothing),
        arrivals=tuple((float(arrival[t]), unit_ids[t]) for t in here.tolist()) if runs else (),
        dumps=tuple((float(dumped_min[i]), unit_ids[int(who[i])]) for i in order.tolist()),
        sources_dry_min=tuple(run.sites["dry_min"][row].tolist()),
        nursed=Nursed.of(unit_ids[nurse], fed, float(clock.dump_ready[row])) if nurse >= 0 else None,
    )


def _joined(start_min: FloatArray, stop_min: FloatArray) -> FloatArray:
    """Join dry stretches that touch, (g, 2)."""
    stretches: list[list[float]] = []
    for start, stop in zip(start_min.tolist(), stop_min.tolist(), strict=True):
        if stretches and start - stretches[-1][1] <= _APART_MIN:
            stretches[-1][1] = stop
        else:
            stretches.append([start, stop])
    return np.array(stretches, dtype=np.float64).reshape(-1, 2)
