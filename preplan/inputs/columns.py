"""Which header means which column of a table, and what is said of those that mean none."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from functools import cache
from itertools import chain

from preplan.errors import Finding, InputError
from preplan.inputs.address_headers import PLACE_ALIASES
from preplan.inputs.cells import YES_NO
from preplan.inputs.table_specs import REVERSED, SERVICE_BESIDE, SPECS, TableSpec
from preplan.inputs.tables import LEAST_HEADERS, TextTable, plain
from preplan.inputs.units_written import unit_of

_LENGTHS = ("m", "metres", "meters", "metre", "meter", "cm", "mm")
OTHER_UNITS: Mapping[str, tuple[str, ...]] = {
    "ft": (*_LENGTHS, "inches", "yd", "yards", "mi", "mile", "miles", "km"),
    "in": (*_LENGTHS, "ft", "feet"),
    "lb": ("kg", "kgs", "kilograms", "t", "tons", "ton", "tonnes"),
    "gal": ("l", "ltr", "litres", "liters", "litre", "liter", "m3"),
    "gpm": ("lpm", "lps", "litres", "liters"),
    "mph": ("km", "kmh", "kph", "kmph"),
    "min": ("sec", "secs", "second", "seconds", "hr", "hrs", "hour", "hours"),
    "sqft": ("sqm", "m2"),
}
"""Words of a header, behind its first, that name another unit than the column's name (this program's choice)."""
OWN_WORDS: Mapping[str, tuple[str, ...]] = {
    "ft": ("feet", "foot"), "in": ("inches", "inch"), "lb": ("lbs", "pounds"), "gal": ("gallons", "gals"),
}  # fmt: skip
"""Other words of a header for the unit that the column is in."""
CUT_AT = 10
"""Letters of a header that the table of a shapefile keeps."""
_NUMBER = re.compile(r"-?\d+\.\d+")
MOST_LETTERS = 60
"""Letters that are shown of a row that is no header."""
MOST_NAMED = 40
"""Headers that are named when they are not read; the exports of a county have more."""
LOOKS_LIKE = 0.8
"""Likeness (0 to 1) above which an unread header is taken for a slip of the pen and noted."""
LIKE_ENOUGH = 0.6
"""The same, above which a header is named as the closest to one that lacks: below it the name misleads."""


def match_headers(
    table: TextTable, spec: TableSpec, mapping: Mapping[str, str]
) -> tuple[dict[str, int], tuple[str, ...]]:
    """Find each column of a table among its headers.

    Parameters
    ----------
    mapping
        The district's own words, ours to theirs; they go before names and aliases.

    Returns
    -------
    columns, notes
        Position of each column found, by our name; and every header that is not read.

    Raises
    ------
    InputError
        A required column is missing, a mapped header does not exist, or a header stands twice.
    """
    forms = [_form(header, spec) for header in table.headers]
    findings = [*_missing_mapped(table, spec, mapping), *in_other_units(table, mapping)]
    columns: dict[str, int] = {}
    contested: list[str] = []
    told: set[int] = set()
    for name, wanted in _wanted(spec, mapping).items():
        present = [form for form in wanted if form in forms]
        if not present:
            continue
        found = present[0] if name in mapping or present[0] == name else _filled(table, forms, present, spec, name)
        columns[name] = _position(table, forms, mapping.get(name), found)
        others = [repr(table.headers[forms.index(form)]) for form in present if form != found]
        if others and name not in {found, "in_service"}:
            contested.append(f"{name} is read from {table.headers[columns[name]]!r}, not {', '.join(others)}")
            told |= {forms.index(form) for form in present}
        if name not in mapping and forms.count(found) > 1:
            findings.append(
                Finding(
                    file=table.file,
                    row=table.header_row,
                    column=name,
                    value=found,
                    rule="is the header of more than one column",
                )
            )
    beside = {} if "in_service" in mapping else _service_beside(table, spec, forms, columns)
    columns |= beside
    wanting = (name for name in spec.required if not _stands(table, spec, name, columns))
    findings += [_missing(table, spec, name, columns) for name in wanting if name not in mapping]
    if "in_service" in spec.names and "in_service" not in columns:
        findings += [_reversed(table, i) for i, form in enumerate(forms) if form in REVERSED and any(table.columns[i])]
    findings += _shut(table, spec, forms)
    if findings:
        lower = _header_below(table, spec, mapping)
        raise InputError([lower] if lower else findings)
    contested += [
        f"a no of column {table.headers[i]!r} counts as a no of in_service; nothing else of it is read"
        for i in beside.values()
    ]
    notes = (f"{table.file}: {'; '.join(contested)}.",) if contested else ()
    return columns, (*notes, *_unread(table, spec, forms, told | set(columns.values())))


def _service_beside(table: TextTable, spec: TableSpec, forms: list[str], columns: Mapping[str, int]) -> dict[str, int]:
    """Find further columns that may tell what is out of service: an asset may be active, and not operable."""
    known = {*spec.aliases.get("in_service", ()), *spec.meant.get("in_service", ())} - {*REVERSED}
    return {
        f"{SERVICE_BESIDE}{i + 1}": i
        for i, form in enumerate(forms)
        if form in known and i not in columns.values() and any(table.columns[i])
    }


def in_other_units(table: TextTable, mapping: Mapping[str, str]) -> Iterator[Finding]:
    """Refuse a header that the district maps although it names a unit that its column is not in."""
    for ours, theirs in mapping.items():
        unit = ours.rpartition("_")[2]
        if wrong := _other_unit(plain(theirs), unit):
            yield Finding(
                file=table.file,
                row=table.header_row,
                column=ours,
                value=theirs,
                rule=f"the header names {wrong!r}, but {ours} is in {unit}",
                remedy=f"put a column with the values in {unit} into the table, and map that one",
            )


def _other_unit(form: str, unit: str) -> str:
    """Give the unit that a header names and a column is not in, '' where it names none or the column's own."""
    words = form.split("_")
    wrong = next((one for one in OTHER_UNITS.get(unit, ()) if one in words[1:]), "")
    return "" if {unit, *OWN_WORDS.get(unit, ())} & {*words} else wrong


def _wanted(spec: TableSpec, mapping: Mapping[str, str]) -> dict[str, tuple[str, ...]]:
    """List the headers of each column, best first; one that the district maps stands for nothing else."""
    taken = {_form(theirs, spec) for theirs in mapping.values()}
    cut = _cut_names(spec)
    wanted = {}
    for name in spec.names:
        known = (name, *spec.aliases.get(name, ()), *cut.get(name, ()))
        wanted[name] = tuple(form for form in known if form not in taken)
    return wanted | {ours: (_form(theirs, spec),) for ours, theirs in mapping.items()}


def _filled(table: TextTable, forms: list[str], present: Sequence[str], spec: TableSpec, name: str) -> str:
    """Choose among headers of one meaning: the best documented whose column has values, and for ids one for each row.

    An export often keeps a column of a standard that its county never filled.
    """
    for form in present:
        values = table.columns[forms.index(form)].tolist()
        different = set(values)
        if different - {""} and (name != spec.required[0] or (len(different) == len(values) and "" not in different)):
            return form
    return present[0]


def _form(header: str, spec: TableSpec) -> str:
    """Bring a header to plain form.

    One that a shapefile has cut right behind an underscore is that of a longer column, not of the words before it.
    """
    form = plain(header)
    form = form[:-1] if form.endswith("_lbs") else form
    form = form if form in known_forms(spec) else _run_together(spec).get(form.replace("_", ""), form)
    if len(header) == CUT_AT and header.endswith("_") and form in spec.names:
        longer = [name for name in spec.names if name.startswith(header.casefold())]
        return longer[0] if len(longer) == 1 else form
    return form


@cache
def known_forms(spec: TableSpec) -> frozenset[str]:
    """Collect every form of a header that means something in a table: its names, and what is read, asked or advised."""
    said = chain(*spec.aliases.values(), *spec.meant.values())
    return frozenset((*spec.names, *said, *spec.advice, *spec.reverse))


@cache
def _run_together(spec: TableSpec) -> Mapping[str, str]:
    """Give each form without its underscores, as `SiteID` or `TankSize` leave them out, the one form it is of."""
    forms: dict[str, set[str]] = {}
    for form in known_forms(spec):
        forms.setdefault(form.replace("_", ""), set()).add(form)
    return {together: one for together, (one, *others) in forms.items() if not others}


def _cut_names(spec: TableSpec) -> dict[str, tuple[str, ...]]:
    """Give each column the names under which a shapefile, which cuts them, may know it.

    One cut name of several columns is the shortest whole name's; of two as short, nobody's.
    """
    whole = {form: name for name in spec.names for form in (name, *spec.aliases.get(name, ()))}
    claims: dict[str, list[tuple[int, str]]] = {}
    for form, name in whole.items():
        if len(form) > CUT_AT and form[:CUT_AT].strip("_") not in whole:
            claims.setdefault(form[:CUT_AT].strip("_"), []).append((len(form), name))
    cut: dict[str, tuple[str, ...]] = {}
    for form, claimed in claims.items():
        shortest = {name for length, name in claimed if length == min(claimed)[0]}
        if len(shortest) == 1:
            name = shortest.pop()
            cut[name] = (*cut.get(name, ()), form)
    return cut


def _position(table: TextTable, forms: list[str], mapped: str | None, form: str) -> int:
    """Prefer a header written exactly as the district maps it; else the first of that form."""
    return table.headers.index(mapped) if mapped in table.headers else forms.index(form)


def _missing_mapped(table: TextTable, spec: TableSpec, mapping: Mapping[str, str]) -> list[Finding]:
    forms = {_form(header, spec) for header in table.headers}
    role = next((role for role, one in SPECS.items() if one is spec), "")
    right = f"; set the line right under [columns.{role}] of the district file, or take it away"
    return [
        Finding(
            file=table.file, row=table.header_row, column=ours, value=theirs, rule="is not a header of this table",
            remedy=_found(table, (theirs,)) + right * bool(role),
        )
        for ours, theirs in mapping.items()
        if _form(theirs, spec) not in forms
    ]  # fmt: skip


def _header_below(table: TextTable, spec: TableSpec, mapping: Mapping[str, str]) -> Finding | None:
    """Find the header a few rows below what stands in its place, by the names it has; None where it is right."""
    known = {form for forms in _wanted(spec, mapping).values() for form in forms}

    def named(cells: Sequence[str]) -> int:
        return len({_form(cell, spec) for cell in cells} & known)

    row, cells = max(table.below, key=lambda one: named(one[1]), default=(0, ()))
    if named(cells) < max(LEAST_HEADERS, named(table.headers) + 1):
        return None
    return Finding(
        file=table.file, row=table.header_row, value=", ".join(filter(None, table.headers))[:MOST_LETTERS],
        rule=f"is no header, and row {row} looks like it", remedy=f"delete the rows above row {row}",
    )  # fmt: skip


def _reversed(table: TextTable, i: int) -> Finding:
    return Finding(
        file=table.file, row=table.header_row, column=table.headers[i], rule="says the reverse of in_service",
        remedy="call the column in_service, and write no for what is out of service, yes for the rest",
    )  # fmt: skip


def _shut(table: TextTable, spec: TableSpec, forms: list[str]) -> Iterator[Finding]:
    """Refuse columns that say when something cannot be used, where any cell says more than no."""
    rule = "says when the site cannot be used, the reverse of months"
    for i, form in enumerate(forms):
        told = form in spec.reverse and any(YES_NO.get(one.casefold()) != 0.0 for one in table.columns[i] if one)
        if told:
            yield Finding(
                file=table.file, row=table.header_row, column=table.headers[i], rule=rule, remedy=spec.reverse[form]
            )


def _stands(table: TextTable, spec: TableSpec, name: str, columns: Mapping[str, int]) -> bool:
    """Tell whether a required column is there, or what may stand in for it."""
    if name in columns or (table.shapes is not None and name in PLACE_ALIASES):
        return True
    return any(all(one in columns for one in group) for group in spec.instead.get(name, ()))


def _missing(table: TextTable, spec: TableSpec, name: str, columns: Mapping[str, int]) -> Finding:
    remedy = _found(table, (name, *spec.aliases.get(name, ())), set(columns.values()))
    role = next((role for role, one in SPECS.items() if one is spec), "")
    if role and len(columns) < len(table.headers) and not _looks_like_data(table):
        remedy += f'; which is it? Write under [columns.{role}] of the district file: {name} = "ITS HEADER"'
    return Finding(file=table.file, row=table.header_row, column=name, rule="required column is missing", remedy=remedy)


def _found(table: TextTable, wanted: Sequence[str], read: AbstractSet[int] = frozenset()) -> str:
    """List a table's headers and the one, not read yet, most like any of the names wanted."""

    def likeness(header: str) -> float:
        return max(difflib.SequenceMatcher(None, plain(header), plain(one)).ratio() for one in wanted)

    unread = [header for i, header in enumerate(table.headers) if i not in read]
    found = f"columns found: {', '.join(table.headers) or 'none'}"
    if _looks_like_data(table):
        return f"{found}; the first row must name the columns, and this one looks like a row of the table"
    closest = max(unread, key=likeness, default="")
    if closest and likeness(closest) >= LIKE_ENOUGH:
        return f"{found}; closest: {closest}"
    if not unread:
        return f"{found}; add the column"
    return f"{found}; not read: {', '.join(unread)}" if read else found


def _looks_like_data(table: TextTable) -> bool:
    """Tell whether the first row is one of the table, since it has numbers."""
    return any(_NUMBER.fullmatch(header) for header in table.headers)


def _unread(table: TextTable, spec: TableSpec, forms: list[str], read: set[int]) -> tuple[str, ...]:
    """Note every header that is not read, and first those that may mean a column."""
    asked, others = [], []
    for i, form in enumerate(forms):
        if i in read or not (form or (table.columns[i] != "").any()):
            continue
        header = repr(table.headers[i]) if form else f"number {i + 1}, which has no header,"
        name = _meant(form, spec)
        if form in spec.advice:
            asked.append(f"{table.file}: column {header} is not read: {spec.advice[form]}")
        elif name and name != form:
            told = f" Then bring its values into {unit_of(name)}." if _other_unit(form, unit_of(name)) else ""
            asked.append(f"{table.file}: column {header} is not read; is {name!r} meant?{told}")
        else:
            others.append(header.rstrip(","))
    if not others:
        return tuple(asked)
    further = f" and {len(others) - MOST_NAMED:,} more" if len(others) > MOST_NAMED else ""
    return (*asked, f"{table.file}: columns that are not read: {', '.join(others[:MOST_NAMED])}{further}.")


def _meant(form: str, spec: TableSpec) -> str:
    """Guess which column a header means that is not read: by its sense, without its unit, or misspelt; else ''."""
    for name in spec.names:
        if form in spec.meant.get(name, ()) or (form and unit_of(name) and form == name.rpartition("_")[0]):
            return name
    return next(iter(difflib.get_close_matches(form, spec.names, n=1, cutoff=LOOKS_LIKE)), "")
