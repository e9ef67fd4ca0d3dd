"""A comparison for people, for a spreadsheet and for scripts."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from textwrap import wrap

import numpy as np
import pandas as pd

from preplan.compare.answers import GROUPS, NUMBERS, TO_DO, UNITS
from preplan.compare.causes import CAUSES
from preplan.compare.comparison import Comparison
from preplan.compare.results import Results
from preplan.compare.sentences import cause_words, difference_words
from preplan.plan import STATUSES
from preplan.render.tables import Cells, Numbers, csv_bytes
from preplan.render.words import CAUTIONS, date_words, natural_key, number, printable

TITLES: Mapping[str, tuple[str, str]] = {
    "worse": ("Worse", "the answer is worse than before"),
    "better": ("Better", "the answer is better than before"),
    "instructions": ("Other instructions", "same answer; another fill site, backup, unit, call, way or warning"),
    "numbers": ("Other numbers", "same answer and instructions; other flows, minutes or remarks"),
    "added": ("New", "in the new results alone"),
    "removed": ("Gone", "in the old results alone"),
    "same": ("Unchanged", ""),
}
"""Groups of addresses: heading, and what it means."""
LINE_LETTERS = 100
LISTED = 12
"""Entries of a group that are printed; the rest is counted."""
_NAMED = 4
"""Addresses of an entry that are named; the rest is counted."""
_SHOWN = (
    "status", "response_level", "fill_site_id", "backup_site_id", "split_site_id", "call_by_min", "required_gpm",
    "uninterrupted_gpm", "tankers", "units",
)  # fmt: skip
"""Columns of the CSV file that are there twice, old and new."""
_NO_ROAD = "Road not told"
_SAID_OF_ALL = ("held", "required")
"""Numbers that stand with every entry of an answer that changed."""


# --------------------------------------------------------------------------- for people


def text(found: Comparison, most: int | None = LISTED) -> str:
    """Write the comparison in words: what differs at large, how many addresses, why, and each of them by road.

    Parameters
    ----------
    found
        The comparison.
    most
        How many entries of each group are printed; None: all.
    """
    lines = [f"{printable(found.new.run['district'])}: results compared", *_folders(found), ""]
    lines += [*_at_large(found), "", *_counts(found), ""]
    if _n_changed(found):
        lines += [*_why(found), *_groups(found, most), *_replace(found), ""]
    return "\n".join([*lines, *wrap(CAUTIONS, LINE_LETTERS)])


def _folders(found: Comparison) -> list[str]:
    """Name both results."""
    lines = [
        f"  {word}  {printable(one.folder)}: {len(one['addresses']):,} addresses, "
        f"{date_words(one.run['date'])}, program version {printable(one.run['version'])}"
        for word, one in (("old", found.old), ("new", found.new))
    ]
    if found.new.run["date"] < found.old.run["date"]:
        lines.append("  The data of the new results is the older: were the folders given the wrong way round?")
    return lines


def _at_large(found: Comparison) -> list[str]:
    """List what differs between the runs, and what does not."""
    lines = ["What differs between the two runs"]
    lines += [line for change in found.runs for line in _item(change.said)]
    alike = {kind for kind, _ in _ALIKE} - {change.kind for change in found.runs}
    same = [words for kind, words in _ALIKE if kind in alike]
    if same:
        verb = "The same" if found.runs else "Nothing. The same"
        lines += wrap(f"{verb}: {', '.join(same)}.", LINE_LETTERS, initial_indent="  ", subsequent_indent="  ")
    if any(change.kind == "input" for change in found.runs):
        lines += wrap(
            "Of an input the results tell that it changed; what changed in it, only as far as it is listed here.",
            LINE_LETTERS, initial_indent="  ", subsequent_indent="  ",
        )  # fmt: skip
    return lines


_ALIKE = (
    ("program", "program version"), ("date", "date of the data"), ("input", "every input file"), ("rule", "every rule"),
    ("response level", "response levels"), ("fill site", "fill sites"), ("station", "stations"),
    ("unit", "units in service"), ("posting", "limits of roads and bridges"),
)  # fmt: skip


def _counts(found: Comparison) -> list[str]:
    """Count the addresses of each group, and those of each status before and after."""
    counts = counted(found)
    lines = ["Addresses"]
    for group, count in counts.items():
        title, about = TITLES[group]
        if group == "same" and found.answers.smaller.any():
            few = int(found.answers.smaller.sum())
            about = f"{few:,} of them but for numbers that differ by less than is told here"
        lines.append(f"  {count:>7,}  {title}{f': {about}' if about else ''}")
    lines += wrap(
        f"Numbers are told from {found.steps.gpm:g} gpm and {found.steps.min:g} min on, requirements always.",
        LINE_LETTERS, initial_indent="  ", subsequent_indent="  ",
    )  # fmt: skip
    lines += ["", f"  {'status':<14}{'old':>7}{'new':>8}"]
    for status, (old, new) in statuses(found).items():
        lines.append(f"  {status:<14}{old:>7,}{new:>8,}")
    return lines


def counted(found: Comparison) -> dict[str, int]:
    """Count the addresses of each group."""
    counts = {group: int((found.answers.group == group).sum()) for group in GROUPS}
    same = counts.pop("same")
    return {**counts, "added": len(found.added), "removed": len(found.removed), "same": same}


def statuses(found: Comparison) -> dict[str, tuple[int, int]]:
    """Count the addresses of each status, old and new."""
    tables = [one["addresses"]["status"] for one in (found.old, found.new)]
    return {status: (int((tables[0] == status).sum()), int((tables[1] == status).sum())) for status in STATUSES}


def _n_changed(found: Comparison) -> int:
    return int((found.answers.group != "same").sum()) + len(found.added) + len(found.removed)


def _why(found: Comparison) -> list[str]:
    """Count the causes, the commonest first."""
    lines = ["Why, as far as the files tell (an address may have several causes)"]
    for code, subject, count in causes_counted(found):
        mine = found.causes[(found.causes["code"] == code) & (found.causes["subject"] == subject)]
        lines += _item(cause_words(code, mine, found.runs), f"{count:>7,}  ")
    return [*lines, ""]


def causes_counted(found: Comparison) -> list[tuple[str, str, int]]:
    """Count the addresses of each cause: code, subject, addresses."""
    counts = found.causes.groupby(["code", "subject"])["at"].nunique()
    listed = [(code, subject, int(count)) for (code, subject), count in counts.items()]
    return sorted(listed, key=lambda one: (-one[2], CAUSES.index(one[0]), one[1]))


def _item(said: str, mark: str = "  ") -> list[str]:
    return wrap(said, LINE_LETTERS, initial_indent=mark, subsequent_indent=" " * len(mark) + "  ")


# --------------------------------------------------------------------------- address by address


@dataclass(frozen=True, slots=True, kw_only=True)
class _Entry:
    """Addresses of one road that changed in the same way, for the same causes."""

    road: str
    labels: list[str]
    what: str
    why: str


def _groups(found: Comparison, most: int | None) -> list[str]:
    """List every group of addresses, by road."""
    lines = []
    for group in GROUPS[:4]:
        entries = _entries(found, group)
        lines += _listed(group, entries, int((found.answers.group == group).sum()), most)
    for group, table, verb in (("added", found.added, "is"), ("removed", found.removed, "was")):
        entries = [
            _Entry(
                road=printable(road) or _NO_ROAD, labels=[_name(label, address_id, set())],
                what=f"{verb} {status}", why=why,
            )
            for road, label, address_id, status, why in zip(
                *(table[name] for name in ("road", "label", "address_id", "status", "why")), strict=True
            )
        ]  # fmt: skip
        lines += _listed(group, _merged(entries), len(table), most)
    return lines


def _listed(group: str, entries: list[_Entry], count: int, most: int | None) -> list[str]:
    """Write the entries of a group under its heading, road by road."""
    if not entries:
        return []
    shown = entries[:most]
    title, about = TITLES[group]
    lines = [f"{title}: {count:,} address{'es' * (count != 1)}, {about}"]
    for road, mine in groupby(shown, key=lambda entry: entry.road):
        lines.append(f"  {road}")
        for entry in mine:
            lines += _item(_names(entry.labels), "    ")
            lines += _item(entry.what, "      ") + _item(f"why: {entry.why}", "      ")
    if len(entries) > len(shown):
        rest = sum(len(entry.labels) for entry in entries[len(shown) :])
        lines.append(f"  and {rest:,} more address{'es' * (rest != 1)}: --all prints them, --csv FILE writes them")
    return [*lines, ""]


def _names(labels: Sequence[str]) -> str:
    if len(labels) <= _NAMED + 1:
        return "; ".join(labels)
    return f"{'; '.join(labels[:_NAMED])} and {len(labels) - _NAMED} more"


def _entries(found: Comparison, group: str) -> list[_Entry]:
    """Join the addresses of a group that changed alike, road by road."""
    mine = np.flatnonzero(found.answers.group == group)
    told = (*TO_DO, *(NUMBERS if group == "numbers" else _SAID_OF_ALL))
    differences = found.answers.differences
    differences = differences[differences["what"].isin(told) & np.isin(differences["at"], mine)]
    causes = found.causes[np.isin(found.causes["at"], mine)]
    keys = {at: [(), ()] for at in mine.tolist()}
    for at, rows in differences.groupby("at"):
        keys[at][0] = tuple(
            (what, "", "", "") if what in UNITS or what in {"call by", "other levels"} else (what, subject, old, new)
            for what, subject, old, new in zip(rows["what"], rows["subject"], rows["old"], rows["new"], strict=True)
        )
    for at, rows in causes.groupby("at"):
        keys[at][1] = tuple(
            (code, subject, old if code == "road" else "", new if code == "road" else "")
            for code, subject, old, new in zip(rows["code"], rows["subject"], rows["old"], rows["new"], strict=True)
        )
    roads, names = road_of(found), _address_names(found)
    order = sorted(mine.tolist(), key=lambda at: (roads[at] == _NO_ROAD, natural_key(roads[at]), natural_key(names[at]), at))
    alike: dict[tuple[object, ...], list[int]] = {}
    for at in order:
        alike.setdefault((roads[at], *keys[at]), []).append(at)
    by_at = {name: dict(iter(table.groupby("at"))) for name, table in (("what", differences), ("why", causes))}
    entries = []
    for key, rows in alike.items():
        what = pd.concat([by_at["what"][at] for at in rows if at in by_at["what"]] or [differences[:0]])
        why = pd.concat([by_at["why"][at] for at in rows])
        entries.append(
            _Entry(
                road=str(key[0]), labels=[names[at] for at in rows], what="; ".join(_what(what, told)),
                why="; ".join(_why_words(found, why)),
            )
        )  # fmt: skip
    first = {}
    for at, entry in enumerate(entries):
        first.setdefault(entry.road, at)
    return sorted(entries, key=lambda entry: first[entry.road])


def _what(rows: pd.DataFrame, told: Sequence[str]) -> Iterator[str]:
    for what in told:
        mine = rows[rows["what"] == what]
        if len(mine):
            yield difference_words(what, mine)


def _why_words(found: Comparison, rows: pd.DataFrame) -> Iterator[str]:
    for code in CAUSES:
        mine = rows[rows["code"] == code]
        if len(mine):
            yield cause_words(code, mine, found.runs)


def _merged(entries: Sequence[_Entry]) -> list[_Entry]:
    """Join entries of one road that say the same."""
    alike: dict[tuple[str, str, str], list[str]] = {}
    for entry in entries:
        alike.setdefault((entry.road, entry.what, entry.why), []).extend(entry.labels)
    merged = [
        _Entry(road=road, labels=sorted(labels, key=natural_key), what=what, why=why)
        for (road, what, why), labels in alike.items()
    ]
    return sorted(merged, key=lambda entry: (entry.road == _NO_ROAD, natural_key(entry.road)))


def road_of(found: Comparison) -> list[str]:
    """Name the road of each address, as the new results do, else the old."""
    both = zip(found.answers.new["road"], found.answers.old["road"], strict=True)
    return [printable(new) or printable(old) or _NO_ROAD for new, old in both]


def _address_names(found: Comparison) -> list[str]:
    labels = found.answers.new["label"]
    twice = set(labels[labels.duplicated()])
    return [_name(*one, twice) for one in zip(labels, found.answers.new["address_id"], strict=True)]


def _name(label: str, address_id: str, twice: set[str]) -> str:
    """Name an address: by its label, and by its id where it has none or others have the same."""
    said, name = printable(label), printable(address_id)
    return (f"{said} ({name})" if label in twice else said) or name


def _replace(found: Comparison) -> list[str]:
    """Say which cards are wrong now: by road, since the index of the cards names them so."""
    lines = ["Cards that are wrong now, by road (changed of all addresses that have a card)"]
    said = [f"{road} {changed:,} of {total:,}" for road, changed, total in roads_changed(found)]
    if not said:
        return [*lines, "  none"]
    lines += wrap(
        "; ".join(said), LINE_LETTERS, initial_indent="  ", subsequent_indent="  ", break_on_hyphens=False
    )  # fmt: skip
    sites = sites_changed(found)
    if sites:
        lines += _item(f"Pages of fill sites that are wrong now: {', '.join(map(printable, sites))}")
    return [
        *lines,
        *_item("Cards may be grouped and numbered anew: replace the index with them, and a road's cards together."),
    ]


def roads_changed(found: Comparison) -> list[tuple[str, int, int]]:
    """Count by road the addresses with a card, changed ones and all: road, changed, all."""
    roads, group = road_of(found), found.answers.group
    carded = ((found.answers.old["status"] != "hydrant") | (found.answers.new["status"] != "hydrant")).tolist()
    rows = [(road, one != "same") for road, one, has in zip(roads, group, carded, strict=True) if has]
    for table in (found.added, found.removed):
        rows += [(printable(r) or _NO_ROAD, True) for r in table.loc[table["status"] != "hydrant", "road"]]
    counts = pd.DataFrame(rows, columns=["road", "changed"]).groupby("road")["changed"].agg(["sum", "size"])
    listed = [(str(road), int(n), int(total)) for road, n, total in counts.itertuples() if n]
    return sorted(listed, key=lambda one: (one[0] == _NO_ROAD, natural_key(one[0])))


def sites_changed(found: Comparison) -> list[str]:
    """Name the fill sites that changed, or that serve other addresses or roads in another way than before."""
    answers = found.answers
    sites = {change.subject for change in found.runs if change.kind == "fill site"}
    changed = answers.group != "same"
    for column in ("fill_site_id", "split_site_id"):
        for rows in (answers.old, answers.new):
            sites |= set(rows[column].to_numpy(dtype=object)[changed])
    for table in (found.added, found.removed):
        sites |= {*table["fill_site_id"], *table["split_site_id"]}
    return sorted(sites - {""}, key=natural_key)


# --------------------------------------------------------------------------- for a spreadsheet, and for scripts


def table_bytes(found: Comparison) -> bytes:
    """Write a CSV file: one row a changed address, worst first, then by id."""
    answers = found.answers
    rank = np.array([GROUPS.index(group) for group in answers.group])
    mine = np.flatnonzero(rank < len(GROUPS) - 1)
    mine = mine[np.argsort(rank[mine], kind="stable")]
    roads = road_of(found)
    said = {name: _told_by_address(found, name) for name in ("differences", "causes")}
    alone = pd.concat([found.added, found.removed], ignore_index=True)
    both = {"old": (answers.old, found.removed, found.added), "new": (answers.new, found.added, found.removed)}
    columns: dict[str, Cells] = {
        "address_id": [*answers.new["address_id"].iloc[mine], *alone["address_id"]],
        "label": [*answers.new["label"].iloc[mine], *alone["label"]],
        "road": [*("" if roads[at] == _NO_ROAD else roads[at] for at in mine.tolist()), *alone["road"]],
        "change": [*answers.group[mine], *["added"] * len(found.added), *["removed"] * len(found.removed)],
    }
    for name in _SHOWN:
        for end, (rows, _, _) in both.items():
            there = ["removed", "added"][end == "new"]
            columns[f"{name}_{end}"] = _column(name, rows.iloc[mine], alone, np.array(columns["change"][len(mine) :]) == there)
    columns["differences"] = [*("; ".join(said["differences"].get(at, [])) for at in mine.tolist()), *[""] * len(alone)]
    columns["causes"] = [*("; ".join(said["causes"].get(at, [])) for at in mine.tolist()), *alone["why"]]
    return csv_bytes(columns)


def _column(name: str, rows: pd.DataFrame, alone: pd.DataFrame, there: object) -> Cells:
    """Give a column of changed addresses, then of those that one run alone has, empty where it is the other."""
    if not pd.api.types.is_numeric_dtype(rows[name]):
        mine = alone[name] if name in alone else pd.Series("", index=alone.index)
        return [*rows[name], *mine.where(there, "")]
    return Numbers(np.concatenate([rows[name].to_numpy(), alone[name].where(there).to_numpy(dtype=float)]), 0)


def _told_by_address(found: Comparison, which: str) -> dict[int, list[str]]:
    """Say every difference, or every cause, of each address in words."""
    if which == "differences":
        tables = found.answers.differences.groupby("at")
        return {int(at): list(_what(rows, (*TO_DO, *NUMBERS))) for at, rows in tables}
    return {int(at): list(_why_words(found, rows)) for at, rows in found.causes.groupby("at")}


def answer(found: Comparison) -> dict[str, object]:
    """Give the comparison for other programs."""
    answers, roads = found.answers, road_of(found)
    tables = {name: dict(iter(table.groupby("at"))) for name, table in (("d", answers.differences), ("c", found.causes))}
    none = answers.differences[:0]
    listed = [
        {
            "address_id": str(answers.new["address_id"].iloc[at]), "label": str(answers.new["label"].iloc[at]),
            "road": roads[at] if roads[at] != _NO_ROAD else None, "change": str(answers.group[at]),
            "differences": tables["d"].get(at, none)[["what", "subject", "old", "new"]].to_dict("records"),
            "causes": [
                {**row, "said": cause_words(row["code"], pd.DataFrame([row]), found.runs)}
                for row in tables["c"][at][["code", "subject", "old", "new"]].to_dict("records")
            ],
        }
        for at in np.flatnonzero(answers.group != "same").tolist()
    ]  # fmt: skip
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
        "fill_sites": sites_changed(found),
        "addresses": listed,
        "added": found.added[["address_id", "label", "status", "why"]].to_dict("records"),
        "removed": found.removed[["address_id", "label", "status", "why"]].to_dict("records"),
    }


def _about(results: Results) -> dict[str, object]:
    run = results.run
    return {
        "folder": str(results.folder), "district": run["district"], "version": run["version"], "date": run["date"],
        "addresses": len(results["addresses"]),
    }  # fmt: skip
