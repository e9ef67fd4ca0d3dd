"""From a file on disk to a table of texts: by the ending of its name, packed or not."""

from __future__ import annotations

import gzip
import zipfile
import zlib
from dataclasses import replace
from pathlib import Path, PurePosixPath
from typing import IO

from preplan.errors import InputError, unreadable
from preplan.inputs.csv_text import read_csv
from preplan.inputs.map_layer import check_counts, check_first_bytes, read_layer
from preplan.inputs.tables import TextTable, fail, plain
from preplan.inputs.workbook import read_workbook

CSV_SUFFIXES = (".csv", ".tsv", ".txt")
WORKBOOK_SUFFIXES = (".xlsx", ".xlsm", ".xls", ".xlsb", ".ods")
MAP_SUFFIXES = (".gpkg", ".geojson", ".json", ".geojsonl", ".geojsons", ".ndjson", ".shp", ".gdb")
PACKED_SUFFIXES = (".gz", ".zip")
UNLIKELY_SUFFIXES = (".txt", ".json")
"""In an archive, a licence or a description rather than the table."""
MOST_BYTES = 250_000_000
"""A larger table, packed or not, is no district's: a county of 100,000 addresses is a tenth of it."""
SHAPEFILE_PARTS = (".dbf", ".shx", ".prj", ".cpg")
"""Files beside a shapefile that are read with it."""


def read_table(path: Path, role: str, file: str) -> TextTable:
    """Read a table.

    Parameters
    ----------
    path
        The file; the ending of its name tells its kind, one more `.gz` or a `.zip` how it is packed.
    role
        Name of the table, such as 'addresses'; a layer or sheet of that name is taken where a file has several.
    file
        What to call the file in findings and notes.

    Raises
    ------
    InputError
        The file cannot be read at all; faults of single rows are left to the checks of cells.
    """
    suffix = path.suffix.lower()
    try:
        _check_size(path.stat().st_size, file)
        if suffix == ".gz":
            with gzip.open(path) as packed:
                return _read_bytes(_at_most(packed, file), Path(path.stem).suffix.lower(), role, file)
        if suffix == ".zip":
            return _read_zip(path, role, file)
        if suffix in MAP_SUFFIXES:
            return read_layer(path, role, file)
        return _read_bytes(path.read_bytes(), suffix, role, file)
    except (EOFError, zlib.error, gzip.BadGzipFile, zipfile.BadZipFile, RuntimeError) as error:
        raise fail(file, "cannot be unpacked", remedy="pack it again, or give it unpacked") from error
    except OSError as error:
        raise InputError([unreadable(file, error)]) from error


def _check_size(size: int, file: str) -> None:
    """Refuse a table of more bytes than a district has."""
    if size > MOST_BYTES:
        rule = f"is over {MOST_BYTES / 1e6:,.0f} MB, too large for one district"
        raise fail(file, rule, remedy="cut out the rows of the district and give those")


def _at_most(packed: IO[bytes] | gzip.GzipFile, file: str) -> bytes:
    """Unpack no more than a table may have, whatever the packed file says of itself."""
    data = packed.read(MOST_BYTES + 1)
    _check_size(len(data), file)
    return data


def _read_bytes(data: bytes, suffix: str, role: str, file: str) -> TextTable:
    """Read a table from the bytes of one file."""
    if suffix in CSV_SUFFIXES:
        return read_csv(data, file)
    if suffix in WORKBOOK_SUFFIXES:
        return read_workbook(data, role, file)
    if suffix in MAP_SUFFIXES and suffix not in {".shp", ".gdb"}:
        return read_layer(data, role, file, suffix=suffix)
    known = ", ".join((*CSV_SUFFIXES, *WORKBOOK_SUFFIXES[:1], *MAP_SUFFIXES, *PACKED_SUFFIXES))
    raise fail(file, f"is no kind of table this program reads ({known})", remedy="save it as CSV")


def _read_zip(path: Path, role: str, file: str) -> TextTable:
    """Read the table of an archive: the one named like the role, else the first by name."""
    with zipfile.ZipFile(path) as archive:
        # a member may be written './a.csv'; its table is found under its plain name
        names = {table: one for one in archive.infolist() if (table := _table_of(PurePosixPath(one.filename)))}
        tables = sorted(names)
        if not tables:
            raise fail(file, "holds no table this program reads", remedy="pack a shapefile, a CSV file or a GeoPackage")
        tables = [table for table in tables if table.suffix.lower() not in UNLIKELY_SUFFIXES] or tables
        named = [table for table in tables if plain(table.stem) == role]
        table = (named or tables)[0]
        if table.suffix.lower() in {".shp", ".gdb"}:
            _check_size(sum(one.file_size for one in archive.infolist()), file)
            with archive.open(names[table]) as member:
                check_first_bytes(member.read(16), table.suffix.lower(), file)
            _check_shapefile(archive, table, file)
            read = read_layer(f"/vsizip/{{{path}}}/{table}", role, file)
        else:
            with archive.open(names[table]) as member:
                read = _read_bytes(_at_most(member, file), table.suffix.lower(), role, file)
    if len(tables) == 1:
        return read
    read = replace(read, part=f"{table} {read.part}".rstrip())
    if named:
        return read
    note = f"{file}: holds {len(tables)} tables; {table.name!r} was read (name one {role!r} to choose it)."
    return replace(read, notes=(note, *read.notes), chosen=read.chosen or note)


def _check_shapefile(archive: zipfile.ZipFile, table: PurePosixPath, file: str) -> None:
    """Hold the parts of a shapefile in an archive against each other."""
    parts = {
        path.suffix.lower(): one
        for one in archive.infolist()
        if ((path := PurePosixPath(one.filename)).parent, path.stem) == (table.parent, table.stem)
    }
    if table.suffix.lower() == ".shp" and parts.keys() >= {".shx", ".dbf"}:
        with archive.open(parts[".dbf"]) as head:
            check_counts(parts[".shx"].file_size, head.read(16), file)


def _table_of(member: PurePosixPath) -> PurePosixPath | None:
    """Name the table a member of an archive is, or is a part of; None for the rest and for hidden files."""
    if any(part.startswith((".", "__MACOSX")) for part in member.parts):
        return None
    for folder in member.parents:
        if folder.suffix.lower() == ".gdb":
            return folder
    readable = (*CSV_SUFFIXES, *WORKBOOK_SUFFIXES, *(one for one in MAP_SUFFIXES if one != ".gdb"))
    return member if member.suffix.lower() in readable else None


def is_table(path: Path) -> bool:
    """Tell whether a table is there: a file, or the folder that a file geodatabase is."""
    return path.is_file() or (path.suffix.lower() == ".gdb" and path.is_dir())


def parts_of(path: Path) -> list[Path]:
    """List the further files a table is made of: those beside a shapefile, those inside a geodatabase."""
    if path.is_dir():
        return sorted(part for part in path.iterdir() if part.is_file() and part.suffix.lower() != ".lock")
    if path.suffix.lower() == ".shp":
        beside = {part.suffix.lower(): part for part in sorted(path.parent.glob("*")) if part.stem == path.stem}
        return [beside[suffix] for suffix in SHAPEFILE_PARTS if suffix in beside]
    return []
