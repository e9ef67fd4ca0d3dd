"""The one module that knows every room: read, plan, render, write."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator, Mapping, MutableMapping
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from time import perf_counter

from preplan.errors import Finding, InputError
from preplan.inputs.asked_address import asked_address
from preplan.inputs.drill_log import read_drill_log
from preplan.inputs.reader import FAULTS_NAMED, counted, input_files, read_inputs
from preplan.plan import Plan
from preplan.plan_inputs import Inputs, Rejected
from preplan.planning.drill_offers import Offered, offers
from preplan.planning.drills import Drilled, compare, dump_ground
from preplan.planning.ground import lay_ground, with_streets
from preplan.planning.pipeline import Progress, plan_district, require_fleet
from preplan.processes import cores
from preplan.records import FeatureTable, RoadTable
from preplan.render.letters import unwritten
from preplan.render.run_info import PROGRAM, accounts, run_json
from preplan.render.shelf import Shelf
from preplan.roads import cache
from preplan.roads.source import check_road_file, read_roads
from preplan.write import (
    beside,
    check_apart,
    check_earlier,
    check_place,
    restore_broken,
    write_file,
    write_results,
)

RESULTS = (
    "addresses.csv", "levels.csv", "seasons.csv", "trips.csv", "tankers.csv", "dispatch.csv", "cards.csv",
    "rejected.csv", "addresses.xlsx", "map.html", "cards.pdf", "sites.pdf", "report.pdf", "preplan.gpkg",
    "fill_sites.gpx", "fill_sites.kml", "run.json",
)  # fmt: skip
"""Files of every set of results; many cards are files in `cards` besides."""
_PLAIN_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,63}")
"""Ids that may be part of a file's name on any system."""
REJECTED_NAMED = 20
"""Faults of rows left out that a run names when it ends; all of them are in rejected.csv."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Built:
    """What a finished run says of itself."""

    folder: Path
    """Where the results are."""
    rejected: tuple[Rejected, ...]
    """Faults of the rows that are not planned."""
    accounts: Mapping[str, Mapping[str, int]]
    """What became of the rows of each table that is read row by row; see `run_info.accounts`."""
    status: Mapping[str, int]
    """Addresses of each status."""
    notes: tuple[str, ...] = ()
    """What was taken for what, and what looks odd in the tables."""

    def summary(self) -> list[str]:
        """Say what was left out and why, and what became of every row, a line each."""
        lines = [f"note: {note}" for note in self.notes]
        lines += [f"rejected: {fault.finding}" for fault in self.rejected[:REJECTED_NAMED]]
        if len(self.rejected) > REJECTED_NAMED:
            lines.append(f"rejected: and {len(self.rejected) - REJECTED_NAMED:,} more faults, in rejected.csv")
        for table, account in self.accounts.items():
            parts = ", ".join(f"{count:,} {name}" for name, count in account.items() if name != "rows")
            lines.append(f"{table}: {account['rows']:,} rows: {parts}")
        parts = ", ".join(f"{count:,} {status}" for status, count in self.status.items() if status != "hydrant")
        return [*lines, f"planned: {parts}"]


def build_district(district_file: Path, out: Path | None, progress: Progress) -> Built:
    """Do the main job: plan a district and write its pages and tables.

    Raises
    ------
    InputError
        With every fault of the input; nothing is written.
    OutputError
        Where the results cannot be written; previous results are whole.
    """
    watch = Watch(progress)
    folder = _folder_for(district_file, out)
    restore_broken(folder)
    inputs = _read(district_file, folder, watch)
    digests = _digests(inputs)
    plan = _planned(inputs, folder, watch)
    _check_unchanged(inputs, digests)
    files = render_all(plan, inputs, digests, watch)
    watch.stage("writing results", 0.97)
    files["run.json"] = run_json(plan, replace(inputs, district=plan.district), digests, files, watch.seconds)
    write_results(folder, files)
    watch.stage("done", 1.0)
    return Built(
        folder=folder,
        rejected=inputs.rejected,
        accounts=accounts(plan, inputs),
        status=plan.counts(),
        notes=(*plan.notes, *_misprinted(plan), *_older_cards(folder)),
    )


def _digests(inputs: Inputs) -> dict[str, str]:
    """Give the checksum of each input, by its role; '' where it cannot be read: whoever needs it says why."""
    found = {}
    for role, path in inputs.files.items():
        try:
            found[role] = hashlib.sha256(path.read_bytes()).hexdigest()
        except OSError:
            found[role] = ""
    return found


def _check_unchanged(inputs: Inputs, digests: Mapping[str, str]) -> None:
    """See that results are of the files whose checksums they name.

    Raises
    ------
    InputError
        With each file that somebody saved meanwhile.
    """
    now = _digests(inputs)
    rule = "was changed while the district was planned: build again"
    findings = [Finding(file=inputs.files[role].name, rule=rule) for role in digests if now[role] != digests[role]]
    if findings:
        raise InputError(findings)


def _misprinted(plan: Plan) -> Iterator[str]:
    """Note the names that printed pages cannot write."""
    named = [name for one in plan.sites for name in (one.name, one.notes)] + [one.name for one in plan.stations]
    return unwritten(plan.addresses.label, plan.roads, named)


def _older_cards(folder: Path) -> Iterator[str]:
    """Note the cards of single addresses that stand beside new results: they are of the plan before."""
    found = sorted(path.name for path in folder.glob("card-*.pdf"))
    if found:
        said = found[0] if len(found) == 1 else f"{found[0]} and {len(found) - 1} other{'s' * (len(found) > 2)}"
        yield f"{said}: of an earlier plan; make again with `preplan card`, or delete"


def check_district(district_file: Path, progress: Progress) -> list[str]:
    """Read tables and roads, plan nothing; return what was found, a line each."""
    watch = Watch(progress)
    watch.stage("reading tables", 0.0)
    inputs = read_inputs(district_file)
    require_fleet(inputs, inputs.in_service)
    roads, features = prepared_roads(inputs, default_folder(district_file), watch, keep=False)
    inputs = with_streets(inputs, roads)
    ground = lay_ground(inputs, roads, features)
    watch.stage("done", 1.0)
    lines = [f"{name}: {count:,} rows" for name, count in inputs.rows.items()]
    undated = "of unknown date" + (
        "" if inputs.district.date else "; write date = ... under [district], or pages have none"
    )
    lines.append(f"roads: {len(roads):,} stretches, newest data {roads.newest or undated}")
    for file, headers in inputs.read_from.items():
        lines.append(f"{file}: " + ", ".join(f"{name} is read from {header!r}" for name, header in headers.items()))
    lines += [f"note: {note}" for note in (*inputs.notes, *ground.notes)]
    lines += _rejected_lines(inputs.rejected)
    lines += [f"road data: {p.osm_id} {p.key}={p.value}: {p.rule}" for p in ground.problems]
    if inputs.rejected:
        rows = len({(fault.file, fault.row) for fault in inputs.rejected})
        said = f"{rows:,} rows are" if rows > 1 else "1 row is"
        lines.append(f"{said} at fault and would not be planned: mend, and check again")
    else:
        lines.append("no row is at fault; the other lines above stop nothing, but read them")
    return lines


def _rejected_lines(rejected: tuple[Rejected, ...]) -> list[str]:
    """Name the first faults of each table's rows, and count the others by column and rule."""
    lines = []
    for file in dict.fromkeys(fault.file for fault in rejected):
        found = [fault.finding for fault in rejected if fault.file == file]
        lines += [f"rejected: {one}" for one in (*found[:FAULTS_NAMED], *counted(found[FAULTS_NAMED:]))]
    return lines


def one_card(district_file: Path, address_id: str, out: Path | None, progress: Progress) -> tuple[Path, str]:
    """Plan the district and write the card of one address beside the other results; return its path, and whose it is.

    Raises
    ------
    InputError
        Where no address has that id or label, before anything is planned.
    OutputError
        Where the card cannot be written.
    """
    from preplan.render import card_pdf  # noqa: PLC0415 - drawing is slow to import and only used here

    watch = Watch(progress)
    folder = _folder_for(district_file, out)
    inputs = _read(district_file, folder, watch)
    wanted = asked_address(inputs.addresses, inputs.rejected, address_id.strip())
    # its own figures, not those of the weakest of its neighbours
    inputs = replace(inputs, district=replace(inputs.district, cards_per="address"))
    plan = _planned(inputs, folder, watch)
    at = plan.addresses.address_id.tolist().index(wanted)
    watch.stage("drawing the card", 0.9)
    # The id is other people's text: where it is more than letters and digits, the file is named by the row. So is one
    # that another differs from in capitals alone: many a disk takes both names for one.
    alike = sum(one.casefold() == wanted.casefold() for one in plan.addresses.address_id.tolist())
    name = wanted if _PLAIN_ID.fullmatch(wanted) and alike == 1 else f"row-{int(plan.addresses.row[at])}"
    path = folder / f"card-{name}.pdf"
    write_file(path, card_pdf.one_card(plan, at))
    watch.stage("done", 1.0)
    return path, f"{wanted}, {plan.addresses.label[at]}" if plan.addresses.label[at] else wanted


class Watch:
    """Progress with the seconds of each stage."""

    def __init__(self, progress: Progress) -> None:
        """Start the clock."""
        self._progress = progress
        self._begun = perf_counter()
        self._name = ""
        self.seconds: dict[str, float] = {}

    def stage(self, name: str, share: float) -> None:
        """End the stage before and begin the next."""
        now = perf_counter()
        if self._name:
            self.seconds[self._name] = round(self.seconds.get(self._name, 0.0) + now - self._begun, 3)
        self._name, self._begun = name, now
        self._progress(name, share)


def default_folder(district_file: Path) -> Path:
    """Name the folder of results: `outputs/<folder name of the file>`."""
    return Path("outputs") / (district_file.resolve().parent.name or "district")


def _folder_for(district_file: Path, out: Path | None) -> Path:
    """Settle where results go, before any work is done: where they can be written, and apart from what is read.

    Raises
    ------
    OutputError
        If they cannot go there.
    """
    folder = default_folder(district_file) if out is None else out
    check_place(folder)
    check_apart(folder, input_files(district_file))
    return folder


def _read(district_file: Path, folder: Path, watch: Watch) -> Inputs:
    """Read the tables, for results in a folder."""
    watch.stage("reading tables", 0.0)
    inputs = read_inputs(district_file)
    check_earlier(folder, PROGRAM, inputs.district.name, RESULTS)
    require_fleet(inputs, inputs.in_service)
    return inputs


def _planned(inputs: Inputs, folder: Path, watch: Watch) -> Plan:
    """Read the roads and plan."""
    roads, features = prepared_roads(inputs, folder, watch)
    return plan_district(inputs, roads, features, watch.stage)


def prepared_roads(inputs: Inputs, folder: Path, watch: Watch, *, keep: bool = True) -> tuple[RoadTable, FeatureTable]:
    """Read the roads, from the cache beside the results where it holds them; `keep` them there for the next run."""
    kept = beside(folder, ".cache")
    watch.stage("reading roads", 0.03)
    if inputs.roads.file is None:
        return read_roads(inputs.roads, kept)
    check_road_file(inputs.roads.file)
    key = cache.key_of(inputs.roads.file, "roads")
    found = cache.load(kept, key)
    if found is None:
        found = read_roads(inputs.roads, kept)
        if keep:
            with suppress(OSError):  # where nothing can be kept the results say so, or the next run reads again
                cache.save(kept, key, *found)
    return found


def render_all(plan: Plan, inputs: Inputs, digests: Mapping[str, str], watch: Watch) -> MutableMapping[str, bytes]:
    """Draw every page and table: bytes by file name."""
    from preplan.render import (  # noqa: PLC0415 - slow to import
        card_pdf,
        card_table,
        dispatch,
        geopackage,
        map_html,
        report_pdf,
        site_pdf,
        tables,
        waypoints,
        workbook,
    )

    files = Shelf()
    watch.stage("writing tables", 0.72)
    files["addresses.csv"] = tables.addresses_csv(plan)
    files["levels.csv"] = tables.levels_csv(plan)
    files["seasons.csv"] = tables.seasons_csv(plan)
    files["trips.csv"] = tables.trips_csv(plan)
    files["tankers.csv"] = tables.hauls_csv(plan)
    files["dispatch.csv"] = dispatch.dispatch_csv(plan)
    files["rejected.csv"] = tables.rejected_csv(inputs.rejected)
    files["addresses.xlsx"] = workbook.addresses_xlsx(plan, inputs.rejected)
    watch.stage("drawing the map", 0.76)
    files["map.html"] = map_html.map_page(plan).encode()
    watch.stage("drawing cards", 0.8)
    files.update(card_pdf.cards(plan, cores()))
    files["cards.csv"] = card_table.cards_csv(plan)
    files["sites.pdf"] = site_pdf.sites(plan)
    watch.stage("drawing the report", 0.9)
    files["report.pdf"] = report_pdf.report(plan)
    watch.stage("writing the GeoPackage", 0.93)
    files["preplan.gpkg"] = geopackage.geopackage(plan, digests)
    files["fill_sites.gpx"] = waypoints.fill_sites_gpx(plan)
    files["fill_sites.kml"] = waypoints.fill_sites_kml(plan)
    return files


def drill_district(
    district_file: Path, log: Path, site: str, address: str, progress: Progress
) -> tuple[Drilled, Offered]:
    """Measure a drill from its log, work out what the plan reckons for it, and what it offers.

    Parameters
    ----------
    site, address
        Fill site and dump site of the rows that name none; '' where the log tells.

    Raises
    ------
    InputError
        The district or the log is at fault; with every finding.
    """
    watch = Watch(progress)
    watch.stage("reading tables", 0.0)
    inputs = read_inputs(district_file)
    require_fleet(inputs, inputs.in_service)
    logged = read_drill_log(log, inputs, site, address)
    roads, features = prepared_roads(inputs, default_folder(district_file), watch, keep=False)
    watch.stage("placing addresses on the roads", 0.3)
    row = inputs.addresses.address_id.tolist().index(logged.address_id)
    inputs = with_streets(inputs, roads)
    one, ground = dump_ground(inputs, lay_ground(inputs, roads, features), row)
    watch.stage("measuring", 0.8)
    drilled = compare(logged, one, ground)
    watch.stage("done", 1.0)
    return drilled, offers(drilled, inputs.district.rules.shuttle)
