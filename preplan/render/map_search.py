"""What the map's search needs beside the labels: ids, and the spellings that are one word in the name of a street."""

from __future__ import annotations

import re

from preplan.plan import Plan
from preplan.render import words
from preplan.render.map_pack import Page, Texts


def search_data(plan: Plan) -> Page:
    """Collect the spellings of the short forms that names of the district have, and the words of numbered roads."""
    short_of = plan.search_words.short_of
    labels = {words.where_words(plan, k) for k in range(len(plan.addresses))}
    roads = zip(plan.roads.name.tolist(), plan.roads.ref.tolist(), strict=True)
    names = labels | {words.road_name(name, ref) for name, ref in set(roads)} | set(plan.roads.ref.tolist())
    said = {word for name in names for word in re.findall(r"[A-Z]+", words.printable(name).upper())}
    shorts = {short_of.get(word, word) for word in said}
    spellings: dict[str, list[str]] = {}
    for word, short in short_of.items():
        if short in shorts and word != short:
            spellings.setdefault(short, []).append(word)
    return {"spellings": spellings, "beforeNumber": sorted(plan.search_words.before_number)}


def id_columns(plan: Plan) -> tuple[dict[str, list[int]], list[tuple[str, int]]]:
    """Part each address's id into stem and number: MR0005 is MR, four digits, 5; most ids count on.

    Gives the columns, and the stems with their digits, 0 where an id ends in no number. An id that is the label too,
    as ids that are made here are, is left out.
    """
    stems, stem, number = Texts([("", 0)], {("", 0): 0}), [], []
    for k, one in enumerate(plan.addresses.address_id.tolist()):
        said = words.printable(one)
        said = "" if said == words.where_words(plan, k) else said
        digits = re.search(r"[0-9]{1,8}$", said)
        first = digits.start() if digits else len(said)
        stem.append(stems.place((said[:first], len(said) - first)))
        number.append(int(said[first:] or 0))
    return {"idStem": stem, "idNumber": number}, stems.values
