"""A comparison for a spreadsheet, and for other programs."""

from __future__ import annotations

import numpy as np
import pandas as pd

from preplan.compare.answers import GROUPS, NUMBERS, TO_DO
from preplan.compare.comparison import Comparison
from preplan.compare.entries import NO_ROAD, roads_of
from preplan.compare.pages import cards_wrong, roads_changed, sites_changed
from preplan.compare.report import causes_counted, counted, statuses
from preplan.compare.results import Results
from preplan.compare.sentences import Fact, causes_words, differences_words, facts_by_address
from preplan.render.tables import Cells, Numbers, csv_bytes

_TWICE = (
    "status", "response_level", "fill_site_id", "backup_site_id", "split_site_id", "call_by_min", "required_gpm",
    "uninterrupted_gpm", "tankers", "units", "jobs", "page",
)  # fmt: skip
"""Columns that are there twice, old and new."""
CHANGE_COLUMNS = (
    "address_id", "label", "road", "change", *(f"{name}_{end}" for name in _TWICE for end in ("old", "new")),
    "differences", "causes",
)  # fmt: skip
"""Columns of the file, in order."""
_WHAT, _WHY = ("what", "subject", "old", "new"), ("code", "subject", "old", "new")
"""What JSON calls the parts of a difference, and of a cause."""


def changes_csv(found: Comparison) -> bytes:
    """Write a CSV file: one row a changed address, worst first, then those that are new or gone.

    Columns: `address_id, label, road, change`, each of `_TWICE` with `_old` and `_new`, `differences`, `causes`.
    """
    rows = _changed(found)
    before = pd.concat([found.answers.old.iloc[rows], _blank(found.added), found.removed], ignore_index=True)
    after = pd.concat([found.answers.new.iloc[rows], found.added, _blank(found.removed)], ignore_index=True)
    whole = pd.concat([found.answers.new.iloc[rows], found.added, found.removed], ignore_index=True)
    alone = [*["added"] * len(found.added), *["removed"] * len(found.removed)]
    differences, causes = _facts(found)
    roads = roads_of(found)
    columns: dict[str, Cells] = {
        "address_id": whole["address_id"].tolist(),
        "label": whole["label"].tolist(),
        "road": [*(roads[at].replace(NO_ROAD, "") for at in rows), *found.added["road"], *found.removed["road"]],
        "change": [*found.answers.group[rows].tolist(), *alone],
    }
    for name in _TWICE:
        columns |= {f"{name}_old": _cells(before, name), f"{name}_new": _cells(after, name)}
    columns["differences"] = [
        *("; ".join(differences_words(differences.get(at, []), (*TO_DO, *NUMBERS))) for at in rows), *[""] * len(alone)
    ]  # fmt: skip
    columns["causes"] = [
        *(causes_words(causes[at], found.runs) for at in rows), *found.added["why"], *found.removed["why"]
    ]  # fmt: skip
    return csv_bytes(columns)


def _facts(found: Comparison) -> tuple[dict[int, list[Fact]], dict[int, list[Fact]]]:
    """Give the differences and the causes of each address."""
    return facts_by_address(found.answers.differences, "what"), facts_by_address(found.causes, "code")


def _changed(found: Comparison) -> list[int]:
    """List the changed addresses, worst first: by group, by the share of the need that is lost, then by id."""
    rank = np.array([GROUPS.index(group) for group in found.answers.group.tolist()], dtype=np.int32)
    order: list[int] = np.lexsort((-found.answers.lost, rank)).tolist()
    return [at for at in order if GROUPS[rank[at]] != "same"]


def _blank(table: pd.DataFrame) -> pd.DataFrame:
    """Take a table's rows without what they say."""
    return table.iloc[:, :0]


def _cells(table: pd.DataFrame, name: str) -> Cells:
    if pd.api.types.is_numeric_dtype(table[name]):
        return Numbers(table[name].to_numpy(dtype=np.float64), 0)
    return [cell if isinstance(cell, str) else "" for cell in table[name].tolist()]


def as_answer(found: Comparison) -> dict[str, object]:
    """Give the comparison for other programs."""
    answers, roads = found.answers, roads_of(found)
    differences, causes = _facts(found)
    listed = [
        {
            "address_id": str(answers.new["address_id"].iloc[at]),
            "label": str(answers.new["label"].iloc[at]),
            "road": None if roads[at] == NO_ROAD else roads[at],
            "change": str(answers.group[at]),
            "differences": [dict(zip(_WHAT, fact, strict=True)) for fact in differences.get(at, [])],
            "causes": [dict(zip(_WHY, fact, strict=True)) for fact in causes[at]],
            "said": causes_words(causes[at], found.runs),
        }
        for at in _changed(found)
    ]
    return {
        "old": _about(found.old),
        "new": _about(found.new),
        "steps": {"gpm": found.steps.gpm, "min": found.steps.min},
        "runs": [
            {"kind": one.kind, "subject": one.subject, "old": one.old, "new": one.new, "said": one.said}
            for one in found.runs
        ],
        "counts": counted(found),
        "smaller": int(answers.smaller.sum()),
        "status": {status: {"old": old, "new": new} for status, (old, new) in statuses(found).items()},
        "causes": [{"code": c, "subject": s, "addresses": n} for c, s, n in causes_counted(found)],
        "roads": [{"road": r, "changed": n, "addresses": total} for r, n, total in roads_changed(found)],
        "pages": dict(zip(("old", "new"), cards_wrong(found), strict=True)),
        "fill_sites": sites_changed(found),
        "addresses": listed,
        **{
            name: table[["address_id", "label", "status", "why"]].to_dict("records")
            for name, table in (("added", found.added), ("removed", found.removed))
        },
    }


def _about(results: Results) -> dict[str, object]:
    return {
        "folder": str(results.folder), **{key: results.run[key] for key in ("district", "version", "date")},
        "addresses": len(results["addresses"]),
    }  # fmt: skip
