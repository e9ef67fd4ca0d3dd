"""The public entry of this room: a district file and all its tables, checked together."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from pathlib import Path

import numpy as np

from preplan.errors import Finding, InputError, InvariantError
from preplan.inputs.addresses import note_not_given, read_addresses
from preplan.inputs.apparatus import fleet_findings, read_apparatus, read_stations
from preplan.inputs.bridges import read_bridges
from preplan.inputs.closures import read_closures
from preplan.inputs.district_file import REQUIRED_TABLES, DistrictFile, check_district, read_district
from preplan.inputs.fill_sites import read_fill_sites
from preplan.inputs.hydrants import read_hydrants
from preplan.inputs.sheet import Sheet, empty_sheet, open_sheet
from preplan.inputs.table_file import is_table, parts_of
from preplan.inputs.table_specs import SERVICE_BESIDE, SPECS
from preplan.inputs.whereabouts import Places, check_places
from preplan.months import month_words
from preplan.plan_inputs import Inputs, Rejected
from preplan.records import AddressTable, FillSite, HydrantTable

REJECTED_SHARE_MAX = 0.20
"""Share of an address or hydrant table's rows above which the table as a whole is at fault."""
FAULTS_NAMED = 20
"""Faults of rows of a table that are named; the rest is counted by column and rule."""
ROW_BY_ROW = ("addresses", "hydrants")
"""Tables whose faulty rows are left out one by one; a fault anywhere else stops the run."""


def read_inputs(district_file: Path) -> Inputs:
    """Read a district file and every table it names.

    Returns
    -------
    Inputs
        Everything checked; address and hydrant rows at fault are in `rejected`, one line a fault.

    Raises
    ------
    InputError
        Anything else is at fault, with the findings of all files at once.
    """
    said = check_district(district_file)
    opened, findings, notes = _open_tables(said)
    sheets = {role: opened[role] if role in opened else empty_sheet(role) for role in SPECS}
    rules = said.district.rules

    addresses = read_addresses(sheets["addresses"])
    note_not_given(sheets["addresses"], addresses, rules.required_flow)
    hydrants = read_hydrants(sheets["hydrants"], rules.hydrants)
    sites = read_fill_sites(sheets["fill_sites"], rules.shuttle, said.district.date)
    stations = read_stations(sheets["stations"], rules.apparatus)
    units = read_apparatus(sheets["apparatus"], rules, set(sheets["stations"].id) if "stations" in opened else None)
    closures = read_closures(sheets["closures"])
    bridges = read_bridges(sheets["bridges"])

    findings += _of_rows(opened)
    if "apparatus" in opened and not opened["apparatus"].faults:
        findings += fleet_findings(units, opened["apparatus"].file)
    places = Places(
        sheets=sheets,
        addresses=addresses,
        hydrants=hydrants,
        bridges=bridges,
        sites=sites,
        stations=stations,
        boundary=said.roads.boundary,
        boundary_file="" if said.boundary_file is None else said.boundary_file.name,
    )
    notes += _checked(opened, places, findings)
    notes += _closed_months(sites, rules.plan.months)
    for role, table in (("addresses", addresses), ("hydrants", hydrants)):
        _account(sheets[role], table)
    return Inputs(
        district=said.district,
        roads=said.roads,
        addresses=addresses,
        sites=sites,
        stations=stations,
        units=units,
        hydrants=hydrants,
        closures=closures,
        bridges=bridges,
        rejected=_rejected(opened),
        notes=tuple(notes),
        files=_files(said),
        left_out={role: aside for role, sheet in opened.items() if (aside := int(np.count_nonzero(sheet.left_out)))},
        rows={role: len(sheet) for role, sheet in opened.items()},
        read_from={sheet.file: told for sheet in opened.values() if (told := _read_from(sheet))},
    )


def _read_from(sheet: Sheet) -> dict[str, str]:
    """Give the headers that columns are read from under another name; a layer's places come from its shapes."""
    own = ("lon", "lat") if sheet.is_layer else ()
    return {
        name: header
        for name, header in sheet.read_from.items()
        if name not in own and not name.startswith(SERVICE_BESIDE)
    }


def _of_rows(opened: Mapping[str, Sheet]) -> list[Finding]:
    """List the faults in rows that stop the run, table by table."""
    found: list[Finding] = []
    for role, sheet in opened.items():
        mine = _too_many_faults(sheet) if role in ROW_BY_ROW else _named(sheet)
        # the notes of a run that stops are not printed, and a header that is not read may be why a cell is empty
        found += [*mine, *(Finding(file=sheet.file, rule=said) for said in sheet.unread if mine)]
    return found


def _named(sheet: Sheet) -> list[Finding]:
    """List the faults of a table, the first by row, the others counted by column and rule."""
    found = sheet.findings()
    return [*found[:FAULTS_NAMED], *counted(found[FAULTS_NAMED:])]


def counted(findings: Sequence[Finding]) -> list[Finding]:
    """Count findings by file, column and rule, without what the rule says of the one cell."""
    rules = (re.sub(r"\brow \d+", "another row", re.split(r"[:;(]", one.rule)[0].strip()) for one in findings)
    groups = Counter((one.file, one.column, rule) for one, rule in zip(findings, rules, strict=True))
    return [
        Finding(file=file, column=column, rule=f"{count:,} more row{'s' * (count > 1)} likewise: {rule}")
        for (file, column, rule), count in groups.items()
    ]


def _closed_months(sites: Sequence[FillSite], months: Collection[int]) -> list[str]:
    """Note the months planned in which no fill site is open: nobody has a route then."""
    closed = {*months}.difference(*(site.months for site in sites if site.in_service))
    if not closed or closed == {*months}:  # no site at all is a fault
        return []
    return [f"fill_sites: none is open in {month_words(closed)}: no address has a tanker shuttle then; see months"]


def _checked(opened: Mapping[str, Sheet], places: Places, findings: list[Finding]) -> list[str]:
    """Hold places against one another and stop where anything is at fault; gives the notes on places and tables.

    Raises
    ------
    InputError
        With `findings`, then those on places.
    """
    wrong, doubts = check_places(places)
    if findings or wrong:
        raise InputError([*findings, *_left_out_rows(opened, findings), *wrong])
    return [*doubts, *(note for sheet in opened.values() for note in sheet.notes)]


def _left_out_rows(opened: Mapping[str, Sheet], findings: Sequence[Finding]) -> list[Finding]:
    """List the faults of rows that alone would not stop the run: who mends a table wants to hear of all in one go."""
    told = {finding.file for finding in findings}
    sheets = (opened[role] for role in ROW_BY_ROW if role in opened)
    return [finding for sheet in sheets if sheet.file not in told for finding in _named(sheet)]


def input_files(district_file: Path) -> list[Path]:
    """List every file that a district file names, and itself; only itself where it cannot be read."""
    try:
        said = check_district(district_file)
    except InputError:
        return [district_file]
    return [district_file, *_files(said).values(), *said.unread]


def _open_tables(said: DistrictFile) -> tuple[dict[str, Sheet], list[Finding], list[str]]:
    """Open every table that can be opened; the others have their findings beside those of the district file."""
    opened: dict[str, Sheet] = {}
    findings, notes = list(said.findings), list(said.notes)
    for role, path in said.tables.items():
        try:
            opened[role], assumed = open_sheet(path, role, said.names[role], said.columns[role])
        except InputError as error:
            findings += error.findings
            continue
        notes += assumed
        if role in REQUIRED_TABLES and not len(opened[role]):
            findings.append(Finding(file=said.names[role], rule="has no rows below its header"))
    return opened, [*findings, *_read_twice(said.tables, opened)], notes


def _read_twice(tables: Mapping[str, Path], opened: Mapping[str, Sheet]) -> list[Finding]:
    """Find what is read as two tables: addresses taken for hydrants would need no tanker.

    One file may hold hydrants and fill sites alike, but nothing else is an address, and of several sheets or layers
    one that is not named for its table was the first by chance.
    """
    roles: dict[tuple[Path, str], list[str]] = {}
    for role, sheet in opened.items():
        roles.setdefault((tables[role].resolve(), sheet.part), []).append(role)
    return [
        Finding(
            file=opened[same[0]].file,
            value=part,
            rule=f"is read for {' and for '.join(same)}",
            remedy="call each sheet or layer by its table's name, or give each table a file of its own",
        )
        for (_, part), same in roles.items()
        if len(same) > 1 and (part or "addresses" in same)
    ]


def _too_many_faults(sheet: Sheet) -> list[Finding]:
    """Refuse a table as a whole when too large a share of its rows is at fault."""
    wrong = int(np.count_nonzero(~sheet.good))
    if wrong <= REJECTED_SHARE_MAX * len(sheet):
        return []
    rule = f"{wrong:,} of {len(sheet):,} rows are at fault, more than {REJECTED_SHARE_MAX:.0%}"
    remedy = f"the first {FAULTS_NAMED} faults follow" if len(sheet.faults) > FAULTS_NAMED else "the faults follow"
    return [Finding(file=sheet.file, rule=rule, remedy=remedy), *_named(sheet)]


def _rejected(opened: Mapping[str, Sheet]) -> tuple[Rejected, ...]:
    """List the faults of the rows left out, by table and row."""
    return tuple(
        fault for role in ROW_BY_ROW if role in opened for fault in sorted(opened[role].faults, key=lambda one: one.row)
    )


def _account(sheet: Sheet, table: AddressTable | HydrantTable) -> None:
    """Hold that each row of a table is planned, left out or rejected, and none is two of them.

    Raises
    ------
    InvariantError
        The counts do not add up.
    """
    out = len({fault.row for fault in sheet.faults})
    aside = int(np.count_nonzero(sheet.left_out))
    if len(table) + out + aside != len(sheet):
        said = f"{len(table):,} are planned, {aside:,} left out and {out:,} rejected"
        raise InvariantError(f"{sheet.file}: of {len(sheet):,} rows {said}")


def _files(said: DistrictFile) -> dict[str, Path]:
    """Name every file read by its role."""
    files = {"district": said.path, **said.tables}
    for role, path in said.tables.items():
        parts = {f"{role}/{part.name}": part for part in parts_of(path)}
        if path.is_dir():  # a geodatabase is its files
            del files[role]
        files |= parts
    if said.boundary_file is not None:
        files["boundary"] = said.boundary_file
    if said.roads.file is not None:
        files["roads"] = said.roads.file
    return files


def read_candidates(district_file: Path, table: Path | None) -> tuple[tuple[FillSite, ...], tuple[str, ...]]:
    """Read the places where a fill site could be built: a table like that of the fill sites.

    Parameters
    ----------
    district_file
        It may name the table as `candidates`, and rules fill what the table leaves out.
    table
        The table, where the district file names none or another is wanted.

    Returns
    -------
    tuple
        The places, none where no table is named; and what was taken for what.

    Raises
    ------
    InputError
        With every fault of the table.
    """
    said = read_district(district_file)
    path = said.candidates if table is None else table
    if path is None:
        return (), ()
    if not is_table(path):
        raise InputError([Finding(file=path.name, rule="is no file", remedy="see --candidates")])
    sheet, notes = open_sheet(path, "fill_sites", path.name, {} if table else said.columns.get("candidates", {}))
    places = read_fill_sites(sheet, said.district.rules.shuttle, said.district.date)
    findings = sheet.findings()
    if not findings and not places:
        findings = [Finding(file=path.name, rule="has no rows below its header")]
    if findings:
        raise InputError(findings)
    return places, (*notes, *sheet.notes)
