"""Why an address changed: what the files of both runs tell of it, and nothing else.

A cause is a fact at the address (its fill site is out of service, the round trip to it takes longer, a unit of its
fleet is gone) or a rule that acts on every flow. Where there is none, the address says so.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from preplan.compare.answers import Answers, ranked_levels
from preplan.compare.results import Results
from preplan.compare.runs import MOVED_FT, RunChange, behind, moved_ft
from preplan.plan_tables import NO_SITE_IN
from preplan.planning.weights import LIMIT_FLAGS
from preplan.records import BoolArray, FloatArray, text_array

CAUSES = (
    "requirement", "hydrant", "fill site", "unit", "response level", "road", "trip", "posting", "arrival",
    "first water", "driveway", "place", "label", "rule", "not told",
)  # fmt: skip
"""Codes of causes, in the order of telling."""
CHANNEL: Mapping[str, str] = MappingProxyType(
    {
        "requirement": "requirement", "hydrant": "hydrant", "road": "trip", "trip": "trip", "posting": "trip",
        "arrival": "arrival", "first water": "arrival", "driveway": "driveway", "place": "place", "label": "label",
    }
)  # fmt: skip
"""On what a difference between the runs at large must act to stand behind a cause."""
_REQUIRED = ("required", "required for", "required total", "basis")
_OF_ITSELF = frozenset({*_REQUIRED, "label", "driveway", "fill site's card", "fill site's number"})
"""Differences that are no answer: they are their own cause, and trips, units and fill sites are none of theirs."""
_ROAD_FLAGS = frozenset({
    "road closed", NO_SITE_IN, "road cut off", "off road data", "no way for", "dump site at junction", "dead end",
    *LIMIT_FLAGS,
})  # fmt: skip
"""Flags that tell of the roads at an address."""
_SERVED_FROM = re.compile(r"(?:no site|(.+?) \d+ gpm)(?:, |$)")
"""The fill sites of a level, as cards.csv writes them behind the months of a season; two are joined by a plus sign."""
_TELLS = 0.05
"""Less than half of the last digit that a table prints is no difference."""


def causes_of(old: Results, new: Results, answers: Answers, changes: Sequence[RunChange]) -> pd.DataFrame:
    """List the causes of every changed address: `at`, `code`, `subject`, `old`, `new`, in the order of telling."""
    case = _Case(old=old, new=new, answers=answers, changes=changes)
    columns = ["at", "code", "subject", "old", "new"]
    causes = pd.concat([table[columns] for finder in _FINDERS for table in finder(case)], ignore_index=True)
    causes = causes[np.isin(causes["at"], np.flatnonzero(answers.group != "same"))]
    causes = causes[_possible(causes, changes)]
    told = np.isin(np.arange(len(answers)), causes["at"].to_numpy(dtype=np.int64))
    left = _told("not told", ~told & (answers.group != "same"))
    causes = pd.concat([causes, left], ignore_index=True)
    causes["order"] = causes["code"].map({code: at for at, code in enumerate(CAUSES)})
    causes["at"] = causes["at"].astype(np.int64)
    return causes.sort_values(["at", "order", "subject"], ignore_index=True, kind="stable").drop(columns="order")


def _possible(causes: pd.DataFrame, changes: Sequence[RunChange]) -> BoolArray:
    """Mask the causes that can be what came first, and are no mere consequence of another.

    Trips, arrivals and warnings of the road differ too where another fill site or season decides: they are causes only
    where something differs that acts on them.
    """
    possible = np.ones(len(causes), dtype=np.bool_)
    code = causes["code"].to_numpy(dtype=object)
    moved = np.isin(causes["at"], causes.loc[causes["code"] == "place", "at"])
    own = {change.subject for change in behind(changes, "trip") if change.kind == "fill site"}
    for one in ("road", "trip", "posting", "arrival", "first water"):
        if all(change.kind == "fill site" for change in behind(changes, CHANNEL[one])):
            driven = one in {"trip", "posting"} and causes["subject"].isin(own).to_numpy()
            possible &= (code != one) | driven | moved
    return possible


@dataclass(frozen=True, slots=True, kw_only=True)
class _Case:
    """What causes are sought in."""

    old: Results
    new: Results
    answers: Answers
    changes: Sequence[RunChange]

    @property
    def ids(self) -> pd.Index[Any]:
        """Give the ids of the addresses."""
        ids: pd.Index[Any] = pd.Index(self.answers.old["address_id"])
        return ids

    @property
    def answered(self) -> BoolArray:
        """Mask the addresses whose answer itself differs."""
        differences = self.answers.differences
        at = differences.loc[~differences["what"].isin(_OF_ITSELF), "at"]
        return np.isin(np.arange(len(self.answers)), at.to_numpy())

    def rows_of(self, table: pd.DataFrame) -> pd.DataFrame:
        """Add the place of each row's address to a table, `at`, without the addresses that one run alone has."""
        at = self.ids.get_indexer(pd.Index(table["address_id"]))
        return table.assign(at=at)[at >= 0]


Found = Iterator[pd.DataFrame]


def _told(code: str, mask: BoolArray) -> pd.DataFrame:
    """Write one cause at the addresses of a mask; subject, old and new are left to be filled in."""
    return pd.DataFrame({"at": np.flatnonzero(mask), "code": code, "subject": "", "old": "", "new": ""})


def _of_its_own(case: _Case) -> Found:
    """Tell what changed at the address itself: its requirement, hydrant, driveway, place and label."""
    differences, answers = case.answers.differences, case.answers
    required = differences[differences["what"].isin(_REQUIRED)]
    yield required[["at", "what", "old", "new"]].rename(columns={"what": "subject"}).assign(code="requirement")
    near = [
        one["flags"].str.extract(r"(?:^|; )hydrant near=([^;]*)", expand=False).fillna("")
        for one in (answers.old, answers.new)
    ]
    table = _told("hydrant", (near[0] != near[1]).to_numpy())
    yield table.assign(**{end: one.iloc[table["at"]].to_numpy() for end, one in zip(("old", "new"), near, strict=True)})
    feet = [one["driveway_ft"].to_numpy(dtype=float) for one in (answers.old, answers.new)]
    table = _told("driveway", np.abs(feet[1] - feet[0]) > _TELLS)
    yield table.assign(old=_text(feet[0][table["at"]], 0), new=_text(feet[1][table["at"]], 0))
    places = [one[["lon", "lat"]].to_numpy(dtype=float) for one in (answers.old, answers.new)]
    moved = moved_ft(*places)
    table = _told("place", moved > MOVED_FT)
    yield table.assign(new=_text(moved[table["at"]], 0))
    label = differences[differences["what"] == "label"]
    yield label[["at", "old", "new"]].assign(code="label", subject="")


def _named_sites(case: _Case) -> pd.DataFrame:
    """List the fill sites that play a part at each address whose answer differs: `at`, `site_id`, `before`, `after`."""
    found = []
    for results, rows, run in ((case.old, case.answers.old, "before"), (case.new, case.answers.new, "after")):
        levels = case.rows_of(results["levels"])[["at", "fill_site_id"]].rename(columns={"fill_site_id": "site_id"})
        own = [
            pd.DataFrame({"at": np.arange(len(rows)), "site_id": rows[name].to_numpy(dtype=object)})
            for name in ("fill_site_id", "split_site_id", "backup_site_id")
        ]
        own.append(_sites_of_seasons(rows))
        found += [one.assign(before=run == "before", after=run == "after") for one in (levels, *own)]
    named = pd.concat(found, ignore_index=True)
    named = named[(named["site_id"] != "") & case.answered[named["at"]]]
    return named.groupby(["at", "site_id"], as_index=False)[["before", "after"]].any()


def _sites_of_seasons(rows: pd.DataFrame) -> pd.DataFrame:
    """List the fill sites that serve each address in some season: `at`, `site_id`."""
    single = [
        (at, site)
        for at, text in enumerate(rows["seasons"])
        for season in text.split("; ")
        for found in _SERVED_FROM.findall(season.partition(": ")[2])
        for site in found.split("+")
        if site
    ]
    return pd.DataFrame(
        {"at": np.array([at for at, _ in single], dtype=np.int64), "site_id": text_array([site for _, site in single])}
    )


def _fill_sites(case: _Case) -> Found:
    """Tell of fill sites that came, went or changed, where they play a part, and where cards say so."""
    named, differences = _named_sites(case), case.answers.differences
    printed = differences[differences["what"].isin(["fill site's card", "fill site's number"])]
    for change in case.changes:
        if change.kind == "fill site":
            run = {"gone": "before", "out": "before", "new": "after", "back": "after"}.get(change.state)
            mine = named[(named["site_id"] == change.subject) & (named[run] if run else change.state == "changed")]
            said = printed[(printed["subject"] == change.subject) & (printed["new"] == change.new)]
            yield _said(change, "fill site", np.union1d(mine["at"], said["at"]).astype(np.int64))


def _said(change: RunChange, code: str, at: npt.NDArray[np.integer]) -> pd.DataFrame:
    """Write a difference between the runs at large as the cause at some addresses."""
    return pd.DataFrame({"at": at, "code": code, "subject": change.subject, "old": change.state, "new": change.said})


def _trips(case: _Case) -> Found:
    """Tell of round trips that take longer or less, came or went, between an address and a fill site of its own."""
    key = ["at", "site_id"]
    trips = [
        case.rows_of(one["trips"]).assign(trip=lambda t: t["out_min"] + t["back_min"])[
            [*key, "trip", "posted_avoided_min"]
        ]
        for one in (case.old, case.new)
    ]
    both = trips[0].merge(trips[1], on=key, how="outer", suffixes=("_old", "_new"))
    both = both.merge(_named_sites(case)[key], on=key)
    usable = [
        set(one["fill_sites"].loc[one["fill_sites"]["in_service"] == "yes", "site_id"]) for one in (case.old, case.new)
    ]
    both = both[both["site_id"].isin(usable[0] & usable[1])]
    for code, column in (("trip", "trip"), ("posting", "posted_avoided_min")):
        old, new = (both[f"{column}_{end}"].to_numpy(dtype=float) for end in ("old", "new"))
        unlike = np.abs(new - old) > _TELLS
        unlike |= (np.isnan(old) != np.isnan(new)) & (code == "trip") & _all_kept(case)
        yield pd.DataFrame(
            {
                "at": both["at"].to_numpy()[unlike], "code": code, "subject": both["site_id"].to_numpy()[unlike],
                "old": _text(old[unlike], 1), "new": _text(new[unlike], 1),
            }
        )  # fmt: skip


def _all_kept(case: _Case) -> bool:
    """Tell whether both runs kept every trip: where they kept the best alone, a trip that is not there says nothing."""
    for one in (case.old, case.new):
        plan = one.run["rules"].get("plan", {})
        if (one["fill_sites"]["in_service"] == "yes").sum() > plan.get("keep_sites", np.inf):
            return False
    return True


def _fleet(case: _Case) -> Found:
    """Tell of units that went, came or moved, at the addresses to which they are sent."""
    sent = [_sent(case, *one) for one in ((case.old, case.answers.old), (case.new, case.answers.new))]
    for change in case.changes:
        if change.kind == "unit":
            runs = {"gone": sent[:1], "new": sent[1:]}.get(change.state, sent)
            at = {a for one in runs for a in one.get(change.subject, ())}
            yield _said(change, "unit", np.array(sorted(at), dtype=np.int32))


def _sent(case: _Case, results: Results, rows: pd.DataFrame) -> dict[str, set[int]]:
    """Give the addresses to which each unit is sent, at the shown level or below, and the tankers of any level."""
    levels = case.rows_of(results["levels"])
    lists = [
        pd.DataFrame({"at": rows.index, "unit": rows["units"]}),
        *(pd.DataFrame({"at": levels["at"], "unit": levels[name]}) for name in ("tankers", "left_out")),
    ]
    single = pd.concat(lists, ignore_index=True)
    single = single[(single["unit"] != "") & case.answered[single["at"]]]
    single = single.assign(unit=single["unit"].map(results.units_of)).explode("unit")
    return {str(unit): set(at.tolist()) for unit, at in single.groupby("unit")["at"]}


def _arrivals(case: _Case) -> Found:
    """Tell of tankers and first engines that come sooner or later."""
    key = ["at", "unit_id"]
    came = [case.rows_of(one["tankers"])[[*key, "arrives_min"]].drop_duplicates(key) for one in (case.old, case.new)]
    both = came[0].merge(came[1], on=key, suffixes=("_old", "_new"))
    both = both[case.answered[both["at"]]]
    old, new = (both[f"arrives_min_{end}"].to_numpy(dtype=float) for end in ("old", "new"))
    unlike = np.abs(new - old) > _TELLS
    yield pd.DataFrame(
        {
            "at": both["at"].to_numpy()[unlike], "code": "arrival", "subject": both["unit_id"].to_numpy()[unlike],
            "old": _text(old[unlike], 1), "new": _text(new[unlike], 1),
        }
    )  # fmt: skip
    water = [one["first_water_min"].to_numpy(dtype=float) for one in (case.answers.old, case.answers.new)]
    table = _told("first water", (np.abs(water[1] - water[0]) > _TELLS) & case.answered)
    yield table.assign(old=_text(water[0][table["at"]], 1), new=_text(water[1][table["at"]], 1))


def _level_counts(case: _Case) -> Found:
    """Tell of response levels that changed, at the addresses that get so far up, or whose other levels differ."""
    answers, differences = case.answers, case.answers.differences
    last = [int(ranked_levels(one)["rank"].max()) for one in (case.old, case.new)]
    up_to = np.maximum(*(
        np.where(rows["status"] == "not met", top, rows["rank"])
        for rows, top in ((answers.old, last[0]), (answers.new, last[1]))
    ))  # fmt: skip
    others = np.isin(
        np.arange(len(answers)), differences.loc[differences["what"].str.startswith("other level"), "at"].to_numpy()
    )
    for change in case.changes:
        if change.kind == "response level":
            yield _said(
                change, "response level", np.flatnonzero(case.answered & ((up_to >= int(change.subject)) | others))
            )


def _road_flags(case: _Case) -> Found:
    """Tell of roads by the flags of each address that are about them."""
    differences = case.answers.differences
    mine = differences["what"].isin(["to mind", "remarks"]) & differences["subject"].isin(_ROAD_FLAGS)
    yield differences.loc[mine, ["at", "subject", "old", "new"]].assign(code="road")


def _rules(case: _Case) -> Found:
    """Tell of rules that act on every flow."""
    for change in case.changes:
        if change.kind == "rule" and "flow" in change.acts:
            yield _said(change, "rule", np.flatnonzero(case.answered))


_FINDERS = (_of_its_own, _fill_sites, _fleet, _level_counts, _road_flags, _trips, _arrivals, _rules)


def _text(values: FloatArray, decimals: int) -> list[str]:
    return ["" if np.isnan(value) else f"{value:.{decimals}f}" for value in values.tolist()]


def stands_behind(changes: Sequence[RunChange], code: str, subject: str = "") -> list[RunChange]:
    """Pick the differences at large that can stand behind a cause."""
    if code not in CHANNEL:
        return []
    return [one for one in behind(changes, CHANNEL[code]) if one.kind != "fill site" or one.subject == subject]
