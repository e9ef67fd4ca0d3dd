"""A comparison for people: what differs at large, how many addresses, why, each of them by road, which cards."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from itertools import groupby
from textwrap import wrap
from types import MappingProxyType

from preplan.compare import entries
from preplan.compare.answers import GROUPS, WEIGHS
from preplan.compare.causes import CAUSES
from preplan.compare.comparison import Comparison
from preplan.compare.entries import Entry
from preplan.compare.pages import cards_moved, cards_wrong, page_words, roads_changed, sites_changed
from preplan.compare.sentences import Fact, behind_words, cause_words, facts_by_address
from preplan.plan_tables import STATUSES
from preplan.render.words import CAUTIONS, date_words, printable

TITLES: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "worse": (
            "Worse",
            f"a worse answer, {WEIGHS:.0%} of the need less held, or more months without a route",
        ),
        "better": (
            "Better",
            f"a better answer, {WEIGHS:.0%} of the need more held, or fewer months without a route",
        ),
        "instructions": ("Other instructions", "same answer; another fill site, backup, unit, call, way or warning"),
        "numbers": ("Other numbers", "same answer and instructions; other flows, minutes or remarks"),
        "added": ("New", "in the new results alone"),
        "removed": ("Gone", "in the old results alone"),
        "same": ("Unchanged", ""),
    }
)
"""Groups of addresses: heading, and what it means."""
LINE_LETTERS = 100
LISTED = 12
"""Entries of a group, and causes, that are printed; the rest is counted."""
_NAMED = 4
"""Addresses of an entry that are named; the rest is counted."""
_ALIKE = (
    ("program", "program version"), ("date", "date of the data"), ("input", "every input file"), ("rule", "every rule"),
    ("response level", "response levels"), ("fill site", "fill sites"), ("station", "stations"),
    ("unit", "units in service"), ("posting", "limits of roads and bridges"),
)  # fmt: skip
"""Kinds of differences at large, and what is the same where there is none."""


_PRINTED = {("program", "version")} | {
    ("input", role)
    for role in ("addresses", "apparatus", "bridges", "closures", "district", "hydrants", "roads", "stations")
}
"""Differences at large of which cards print more than the results' tables tell."""


def text(found: Comparison, most: int | None = LISTED) -> str:
    """Write the comparison in words.

    Parameters
    ----------
    found
        The comparison.
    most
        How many causes, and entries of each group, are printed; None: all.
    """
    lines = [f"{printable(found.new.run['district'])}: two results compared", *_folders(found), ""]
    lines += [*_at_large(found, most), "", *_counts(found), ""]
    if any(count for group, count in counted(found).items() if group != "same"):
        lines += [*_why(found, most), *_groups(found, most), *_replace(found), ""]
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


def _at_large(found: Comparison, most: int | None) -> list[str]:
    """List what differs between the runs, kind by kind, and what does not."""
    lines = ["What differs between the two runs"]
    for kind, changes in groupby(found.runs, key=lambda change: change.kind):
        said = [change.said for change in changes]
        lines += [line for one in said[:most] for line in _item(one)]
        if len(said[:most]) < len(said):
            lines.append(f"  and {len(said[most:]):,} more ({kind}): --all prints them")
    kinds = {change.kind for change in found.runs}
    same = [words for kind, words in _ALIKE if kind not in kinds]
    inputs = found.old.run["inputs"].keys() | found.new.run["inputs"].keys()
    others = len(inputs) - sum(change.kind == "input" for change in found.runs)
    if "input" in kinds and others:
        same.append(f"{others} other input file{'s' * (others != 1)}")
    if same:
        lines += _paragraph(f"{'' if found.runs else 'Nothing. '}The same: {', '.join(same)}.")
    if "input" in kinds:
        lines += _paragraph("The results tell that an input changed, not what in it, but for what is listed here.")
    return lines


def _counts(found: Comparison) -> list[str]:
    """Count the addresses of each group, and those of each status before and after."""
    lines = ["Addresses"]
    for group, count in counted(found).items():
        title, about = TITLES[group]
        if group == "same" and found.answers.smaller.any():
            about = f"{int(found.answers.smaller.sum()):,} of them but for smaller differences of numbers"
        lines.append(f"  {count:>7,}  {title}{f': {about}' if about else ''}")
    steps = found.steps
    lines += _paragraph(f"Flows are told from {steps.gpm:g} gpm on, minutes from {steps.min:g}, requirements always.")
    lines += ["", f"  {'status':<14}{'old':>7}{'new':>8}"]
    return lines + [f"  {status:<14}{old:>7,}{new:>8,}" for status, (old, new) in statuses(found).items()]


def counted(found: Comparison) -> dict[str, int]:
    """Count the addresses of each group of `TITLES`."""
    counts = {group: int((found.answers.group == group).sum()) for group in GROUPS}
    same = counts.pop("same")
    return {**counts, "added": len(found.added), "removed": len(found.removed), "same": same}


def statuses(found: Comparison) -> dict[str, tuple[int, int]]:
    """Count the addresses of each status, old and new."""
    old, new = (one["addresses"]["status"] for one in (found.old, found.new))
    return {status: (int((old == status).sum()), int((new == status).sum())) for status in STATUSES}


def _why(found: Comparison, most: int | None) -> list[str]:
    """Count the causes, the commonest first."""
    if not len(found.causes):
        return []
    lines = ["Why, as far as the files tell (an address may have several causes)"]
    listed = causes_counted(found)
    facts: dict[tuple[str, str], list[Fact]] = {}
    for one in facts_by_address(found.causes, "code").values():
        for fact in one:
            facts.setdefault((fact.kind, fact.subject), []).append(fact)
    for code, subject, count in listed[:most]:
        behind = behind_words(code, subject, found.runs)
        lines += _item(f"{cause_words(facts[code, subject])}{behind}", f"  {count:>7,}  ")
    if len(listed[:most]) < len(listed):
        lines.append(f"  and {len(listed[most:])} more causes: --all prints them")
    return [*lines, ""]


def causes_counted(found: Comparison) -> list[tuple[str, str, int]]:
    """Count the addresses of each cause, the commonest first: code, subject, addresses."""
    once = found.causes.drop_duplicates(["at", "code", "subject"])
    counts = Counter(zip(once["code"], once["subject"], strict=True))
    listed = [(str(code), str(subject), count) for (code, subject), count in counts.items()]
    return sorted(listed, key=lambda one: (-one[2], CAUSES.index(one[0]), one[1]))


# --------------------------------------------------------------------------- address by address


def _groups(found: Comparison, most: int | None) -> list[str]:
    """List every group of addresses, by road."""
    listed = [(group, entries.changed(found, group)) for group in GROUPS if group != "same"]
    listed += [("added", entries.alone(found.added, "is")), ("removed", entries.alone(found.removed, "was"))]
    return [line for group, some in listed if some for line in [*_listed(group, some, most), ""]]


def _listed(group: str, some: list[Entry], most: int | None) -> list[str]:
    """Write the entries of a group under its heading, road by road; of many those that lost, or gained, most."""
    title, about = TITLES[group]
    lines = [f"{title}: {_addresses(some)}, {about}"]
    first = set(sorted(range(len(some)), key=lambda at: -some[at].weight)[:most])
    for road, mine in groupby((one for at, one in enumerate(some) if at in first), key=lambda entry: entry.road):
        lines.append(f"  {road}")
        for entry in mine:
            lines += _item(_named(entry.names), "    ")
            lines += [*_item(entry.what, "      "), *_item(f"why: {entry.why}", "      ")]
    rest = [one for at, one in enumerate(some) if at not in first]
    return [*lines, *([f"  and {_addresses(rest)} more: --all prints them, --csv FILE writes them"] if rest else [])]


def _addresses(some: list[Entry]) -> str:
    count = sum(len(entry.names) for entry in some)
    return f"{count:,} address{'es' * (count != 1)}"


def _named(names: list[str]) -> str:
    """List names, many of them in part."""
    if len(names) <= _NAMED + 1:
        return "; ".join(names)
    return f"{'; '.join(names[:_NAMED])} and {len(names) - _NAMED} more"


# --------------------------------------------------------------------------- which pages


def _replace(found: Comparison) -> list[str]:
    """Say which pages are wrong now: by road, as the index of the cards names them, and by page where that is known."""
    lines = ["Cards that are wrong now: changed addresses of all that have a card, by road"]
    roads = roads_changed(found)
    lines += _paragraph("; ".join(f"{road} {n:,} of {total:,}" for road, n, total in roads) or "none")
    out, new = cards_wrong(found)
    lines += _item(f"Pages to take out of the old cards: {page_words(out)}") if out else []
    lines += _item(f"Pages of the new cards to put in: {page_words(new)}") if new else []
    moved = cards_moved(found)
    if moved:
        count = f"{len(moved):,}, the first on {page_words(moved[:1])}"
        lines += _item(
            f"Cards that have another page number and are else as they were: {count}. "
            "Print them too, or the new index names the wrong page."
        )
    sites = sites_changed(found)
    lines += _item(f"Pages of fill sites that are wrong now: {', '.join(map(printable, sites))}") if sites else []
    lines += _item("Replace the index with them.")
    if found.old.run["date"] != found.new.run["date"]:
        lines += _item("Every page prints the date of the data, which is another now.")
    beyond = [one.short for one in found.runs if (one.kind, one.subject) in _PRINTED]
    if not beyond:
        return lines
    return lines + _item(
        "All other cards agree in everything that the results' tables tell. What cards print besides (hose, pumps, "
        f"names of roads, notes) may differ too, since this changed: {', '.join(beyond)}. In doubt, print them all."
    )


def _item(said: str, mark: str = "  ") -> list[str]:
    return wrap(
        said, LINE_LETTERS, initial_indent=mark, subsequent_indent=" " * len(mark) + "  ", break_on_hyphens=False
    )


def _paragraph(said: str) -> list[str]:
    return wrap(said, LINE_LETTERS, initial_indent="  ", subsequent_indent="  ", break_on_hyphens=False)
