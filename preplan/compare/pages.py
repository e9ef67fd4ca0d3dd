"""Which pages are wrong now: cards by file and page where cards.csv names them, by road everywhere; fill-site pages."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import groupby
from typing import TypeAlias

from preplan.compare.comparison import Comparison
from preplan.compare.entries import NO_ROAD, by_road, roads_of
from preplan.compare.results import Results
from preplan.render.words import in_runs, natural_key, printable

Page: TypeAlias = tuple[str, int]
"""File and page."""


def cards_wrong(found: Comparison) -> tuple[list[Page] | None, list[Page] | None]:
    """List the pages of cards to take out of the old set, and those of the new set to put in; None: not told.

    A page is wrong where an address on it changed, or where it is for other addresses than any page of the other set.
    """
    answers = found.answers
    changed = {*answers.new["address_id"].to_numpy(dtype=object)[answers.group != "same"]}
    changed |= {*found.added["address_id"], *found.removed["address_id"]}
    old, new = _by_page(found.old), _by_page(found.new)
    return _wrong(old, new, changed), _wrong(new, old, changed)


def cards_moved(found: Comparison) -> list[Page]:
    """List the pages of the new cards that are right in the old ones too, but have another number there."""
    put = {*(cards_wrong(found)[1] or [])}
    before = {ids: page for page, ids in _by_page(found.old).items()}
    pages = _by_page(found.new).items()
    return sorted(page for page, ids in pages if page not in put and before.get(ids, page) != page)


def _by_page(results: Results) -> dict[Page, frozenset[str]]:
    """Give the addresses of each page of the cards."""
    cards = results["cards"]
    pages: dict[Page, set[str]] = {}
    for address_id, file, page in zip(cards["address_id"], cards["file"], cards["page"], strict=True):
        pages.setdefault((file, int(page)), set()).add(address_id)
    return {page: frozenset(ids) for page, ids in pages.items()}


def _wrong(
    mine: Mapping[Page, frozenset[str]], other: Mapping[Page, frozenset[str]], changed: set[str]
) -> list[Page] | None:
    if not mine:
        return None
    same = {*other.values()} or {*mine.values()}
    return sorted(page for page, ids in mine.items() if ids & changed or ids not in same)


def page_words(pages: Iterable[Page]) -> str:
    """Write pages by file, runs of them as from and to.

    >>> page_words([("cards.pdf", 3), ("cards.pdf", 4), ("cards.pdf", 7)])
    'cards.pdf 3-4, 7'
    """
    said = []
    for file, mine in groupby(sorted(pages), key=lambda page: page[0]):
        runs = in_runs(page for _, page in mine)
        said.append(f"{file} " + ", ".join(f"{run[0]}-{run[-1]}" if run[1:] else f"{run[0]}" for run in runs))
    return "; ".join(said)


def roads_changed(found: Comparison) -> list[tuple[str, int, int]]:
    """Count by road the addresses with a card where some changed: road, changed, all."""
    answers = found.answers
    carded = ((answers.old["status"] != "hydrant") | (answers.new["status"] != "hydrant")).tolist()
    rows = [
        (road, group != "same")
        for road, group, has in zip(roads_of(found), answers.group.tolist(), carded, strict=True)
        if has
    ]
    for table in (found.added, found.removed):
        rows += [(printable(road) or NO_ROAD, True) for road in table.loc[table["status"] != "hydrant", "road"]]
    counts: dict[str, list[int]] = {}
    for road, changed in rows:
        count = counts.setdefault(road, [0, 0])
        count[0] += changed
        count[1] += 1
    return [(road, counts[road][0], counts[road][1]) for road in sorted(counts, key=by_road) if counts[road][0]]


def sites_changed(found: Comparison) -> list[str]:
    """Name the fill sites that changed, or whose page tells of addresses that changed."""
    changed = found.answers.group != "same"
    sites = {change.subject for change in found.runs if change.kind == "fill site"}
    tables = [rows[changed] for rows in (found.answers.old, found.answers.new)]
    for table in (*tables, found.added, found.removed):
        sites |= {*table["fill_site_id"], *table["split_site_id"]}
    return sorted(sites - {""}, key=natural_key)
