"""What a user brings, read and checked: what planning starts from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from preplan.errors import Finding
from preplan.records import AddressTable, BridgeTable, Closure, FillSite, FloatArray, HydrantTable, Station, Unit
from preplan.rules import District


@dataclass(frozen=True, slots=True, kw_only=True)
class RoadSource:
    """Where the roads come from: a file, or a download inside the boundary."""

    file: Path | None
    download: bool = False
    buffer_mi: float = 8.0
    boundary: FloatArray | None = None
    """Ring (n, 2) of lon, lat; None where the district gives none."""

    @property
    def alone(self) -> bool:
        """Tell whether they come without buildings, driveways and water, as saved graphs and downloads do."""
        return self.file is None or self.file.name.lower().endswith(".graphml")


@dataclass(frozen=True, slots=True, kw_only=True)
class Rejected:
    """One fault of one row that is not planned: a line of rejected.csv."""

    file: str
    row: int
    id: str
    column: str
    value: str
    rule: str

    @property
    def finding(self) -> Finding:
        """Give the same as it is told to the user."""
        return Finding(file=self.file, row=self.row, id=self.id, column=self.column, value=self.value, rule=self.rule)


@dataclass(frozen=True, slots=True, kw_only=True)
class Inputs:
    """Everything the user brings, checked: what planning starts from."""

    district: District
    roads: RoadSource
    addresses: AddressTable
    sites: tuple[FillSite, ...]
    """In code point order of site_id, those out of service included."""
    stations: tuple[Station, ...]
    units: tuple[Unit, ...]
    """In the order of apparatus.csv, those out of service included."""
    hydrants: HydrantTable
    closures: tuple[Closure, ...]
    rejected: tuple[Rejected, ...]
    notes: tuple[str, ...] = ()
    """Assumptions made while reading, one sentence each."""
    files: Mapping[str, Path] = field(default_factory=dict)
    """Every file read, by its role: district, addresses, ..., roads."""
    rows: Mapping[str, int] = field(default_factory=dict)
    """Data rows of each table as read."""
    left_out: Mapping[str, int] = field(default_factory=dict)
    """Rows of a table that are out of service, or hydrants on no main, and therefore in no table here."""
    bridges: BridgeTable = field(default_factory=BridgeTable.none)
    """The bridge inventory, empty where the district has none."""
    read_from: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    """By the name of each table: its columns that stand under another header, and that header."""

    @property
    def in_service(self) -> tuple[Unit, ...]:
        """Give the units in service, in code point order of unit_id, as every table of a plan has them."""
        return tuple(sorted((unit for unit in self.units if unit.in_service), key=lambda unit: unit.unit_id))
