"""The comparison as a whole: two results in, what differs at large, at each address, and why."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from preplan.compare.answers import Answers, compare_answers
from preplan.compare.causes import causes_of
from preplan.compare.look_up import look_up
from preplan.compare.results import Results
from preplan.compare.runs import RunChange, run_changes
from preplan.compare.steps import Steps


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """Two results of one district, held against each other."""

    old: Results
    new: Results
    steps: Steps
    runs: tuple[RunChange, ...]
    """What differs at large."""
    answers: Answers
    """The addresses that both have."""
    causes: pd.DataFrame
    """See `causes_of`."""
    added: pd.DataFrame
    """Rows of addresses.csv that the new results alone have, with `road` and `why`."""
    removed: pd.DataFrame
    """Those that the old results alone have."""


def compare(old: Results, new: Results, steps: Steps | None = None) -> Comparison:
    """Hold two results against each other.

    Parameters
    ----------
    old, new
        The results, of one district.
    steps
        What counts as a change of a number; None: the usual.
    """
    steps = steps or Steps()
    runs = run_changes(old, new)
    answers = compare_answers(old, new, runs, steps)
    return Comparison(
        old=old,
        new=new,
        steps=steps,
        runs=tuple(runs),
        answers=answers,
        causes=causes_of(old, new, answers, runs),
        added=_alone(new, old, "its row was at fault before", "it is new in the address table"),
        removed=_alone(old, new, "its row is at fault", "it is no longer in the address table"),
    )


def _alone(one: Results, other: Results, at_fault: str, else_why: str) -> pd.DataFrame:
    """Take the addresses that one run alone has, each with why: its row is among the other's rejected, or is not."""
    table = one["addresses"]
    mine = table[~table["address_id"].isin(other["addresses"]["address_id"])].sort_values(
        "address_id", ignore_index=True
    )
    rejected = other["rejected"]
    rejected = rejected[rejected["file"] == other.run["inputs"].get("addresses", {}).get("name")]
    rule = rejected.drop_duplicates("id").set_index("id")
    said = at_fault + ": column " + rule["column"] + " " + rule["rule"]
    known = said.to_dict()
    why = mine["address_id"].map(lambda one: known.get(one, else_why))
    twin = dict(zip(*(other["addresses"][name] for name in ("label", "address_id")), strict=True))
    ids = set(table["address_id"])
    same_label = mine["label"].map(lambda label: twin.get(label, ""))
    also = np.where(
        (same_label != "") & ~same_label.isin(ids), "; its label is now, or was, that of id " + same_label, ""
    )
    return mine.assign(why=why + also, road=look_up(mine, one["dispatch"])["road"])
