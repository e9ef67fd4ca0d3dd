"""`preplan sites`: where new fill sites help most, proved as far as can be, and planned again with them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

import numpy as np

from preplan.build import Watch, default_folder, prepared_roads
from preplan.errors import Finding, InputError
from preplan.inputs.reader import read_candidates, read_inputs
from preplan.months import month_words
from preplan.plan import Plan
from preplan.plan_inputs import Inputs
from preplan.planning.ground import lay_ground
from preplan.planning.pipeline import Progress, meets_at, plan_district
from preplan.planning.siting import Picked, pick_places
from preplan.records import BoolArray, FeatureTable, FillSite, FloatArray, RoadLimits, RoadTable
from preplan.render.words import CAUTIONS, level_words
from preplan.roads.places import place_points
from preplan.roads.road_names import road_label
from preplan.roads.water_places import water_places
from preplan.water.timeline_memory import remembering

COUNTED = ("addresses", "gpm")
"""What the new sites are chosen to bring up: as many addresses as can be, or as much required flow."""
MOST_NEW = 20
"""New fill sites that may be asked for at once: more are no question of next year's budget (this program's choice)."""
BOUND_REACHED = 1e-6
"""A bound nearer than this share is reached."""

_NO_WATER_NEAR = "shows no pond, lake or wide river near a road that tankers can use"
_NO_WATER_MAPPED = "shows no water at all: a download or saved graph holds roads alone"


@dataclass(frozen=True, slots=True, kw_only=True)
class NewSite:
    """A place to build, and what it brings beside those before it."""

    site: FillSite
    addresses: int
    required_gpm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Siting:
    """The answer."""

    district: str
    date: str
    places: int
    """Places that were weighed."""
    asked: int
    counted: str
    level: str
    """Highest response level that counts; '': all do."""
    unmet: int
    """Addresses not met now."""
    reachable: int
    """Those of them that some place alone brings up."""
    new: tuple[NewSite, ...]
    brought: float
    bound: float
    """No choice of so many of the places brings more, counted as `counted` says."""
    before: Mapping[str, int]
    """Addresses by status now."""
    after: Mapping[str, int]
    """Addresses by status planned with the new sites."""
    met: int
    """Addresses not met now that are met then."""
    lost: int
    """The other way round."""
    from_map: bool = False
    """The places are mapped water near roads, not a table's."""
    notes: tuple[str, ...] = ()


def new_sites(
    district_file: Path, count: int, progress: Progress, *, table: Path | None = None, counted: str = "addresses",
    level: str = "",
) -> Siting:  # fmt: skip
    """Find the places where so many new fill sites bring most addresses, or most flow, up to the requirement.

    Parameters
    ----------
    district_file
        The district.
    count
        Most new fill sites.
    progress
        Told the stages.
    table
        Places where one could be built; None: the district file's, else mapped water near roads.
    counted
        One of `COUNTED`.
    level
        Name of the response level that shall meet the requirement, or one below it; '': any.

    Raises
    ------
    InputError
        With every fault of the input.
    """
    if not 1 <= count <= MOST_NEW:
        raise InputError([Finding(file="--new", value=str(count), rule=f"is not between 1 and {MOST_NEW}")])
    if counted not in COUNTED:
        raise InputError([Finding(file="--count", value=counted, rule=f"is none of {', '.join(COUNTED)}")])
    watch = Watch(progress)
    watch.stage("reading tables", 0.0)
    inputs = read_inputs(district_file)
    levels = _levels_up_to(level, inputs)
    given, notes = read_candidates(district_file, table)
    roads, features = prepared_roads(inputs, default_folder(district_file), watch, keep=False)
    limits = lay_ground(inputs, roads, features).limits
    places = given or _from_map(inputs, roads, limits, features)
    _check(places, inputs, file="candidates" if given else "the map")
    asked = _Asked(inputs, roads, features, places, levels, counted, count)
    with remembering():
        answer = asked.answer(watch)
    watch.stage("done", 1.0)
    return replace(answer, from_map=not given, notes=(*notes, *_notes(places, inputs, roads, limits)))


@dataclass(frozen=True, slots=True)
class _Asked:
    """What is asked, everything checked."""

    inputs: Inputs
    roads: RoadTable
    features: FeatureTable
    places: Sequence[FillSite]
    levels: int
    """The first so many response levels count."""
    counted: str
    count: int

    def answer(self, watch: Watch) -> Siting:
        """Plan the district, weigh and choose the places, and plan it again with them."""
        plan = self.planned((), _within(watch.stage, 0.05, 0.35))
        now = _short(plan, self.levels)
        rows, ids = np.flatnonzero(now).astype(np.int32), [place.site_id for place in self.places]
        inputs, weighing = _with(self.inputs, self.places), _within(watch.stage, 0.35, 0.7)
        meets = meets_at(inputs, self.roads, self.features, rows, ids, self.levels, weighing)
        watch.stage("choosing", 0.7)
        need = plan.needs.required_gpm[rows]
        picked = pick_places(meets, need if self.counted == "gpm" else np.ones(len(rows)), self.count)
        chosen = [self.places[at] for at in picked.places]
        then = self.planned(chosen, _within(watch.stage, 0.7, 1.0)) if chosen else plan
        short, every = _short(then, self.levels), self.inputs.district.levels
        return Siting(
            district=self.inputs.district.name,
            date=plan.district.date,
            places=len(self.places),
            asked=self.count,
            counted=self.counted,
            level=every[self.levels - 1].name if self.levels < len(every) else "",
            unmet=len(rows),
            reachable=int(meets.any(axis=1).sum()),
            new=tuple(_gains(chosen, picked, meets, need)),
            brought=picked.total,
            bound=picked.bound,
            before=plan.counts(),
            after=then.counts(),
            met=int((now & ~short).sum()),
            lost=int((short & ~now).sum()),
        )

    def planned(self, places: Sequence[FillSite], stage: Progress) -> Plan:
        """Plan the district with some of the places."""
        return plan_district(_with(self.inputs, places), self.roads, self.features, stage)


def _notes(places: Sequence[FillSite], inputs: Inputs, roads: RoadTable, limits: RoadLimits) -> Iterator[str]:
    """Say which places bring nobody up, and why: those that join no road, or stand not all year or not at all."""
    lon, lat = np.array([place.lon for place in places]), np.array([place.lat for place in places])
    gap_ft = place_points(roads, limits, lon, lat, snap_max_ft=inputs.district.rules.roads.snap_max_ft).gap_ft
    for place, gap in zip(places, gap_ft.tolist(), strict=True):
        why = ""
        if not place.in_service:
            why = "in_service says no"
        elif not place.stands_through(inputs.district.rules.plan.months):
            why = f"it stands in {month_words(place.months)} only"
        elif gap > inputs.district.rules.roads.snap_max_ft:
            why = f"it is {gap:,.0f} ft from any road for tankers"
        if why:
            yield f"{place.site_id}: brings nobody up all year, since {why}"


def _within(stage: Progress, begin: float, end: float) -> Progress:
    """Show the progress of a part of the work as that of the whole."""
    return lambda name, share: stage(name, begin + (end - begin) * share)


def _levels_up_to(name: str, inputs: Inputs) -> int:
    """Count the response levels up to one; all where none is named.

    Raises
    ------
    InputError
        Where no level has that name.
    """
    names = [level.name for level in inputs.district.levels]
    if not name:
        return len(names)
    folded = [one.casefold() for one in names]
    if name.casefold() not in folded:
        rule = f"is no response level of the district: {', '.join(names)}"
        raise InputError([Finding(file="--level", value=name, rule=rule)])
    return folded.index(name.casefold()) + 1


def _short(plan: Plan, levels: int) -> BoolArray:
    """Mask the addresses that none of the first so many response levels meets, those without a route among them.

    No fill site may be reached now, or not all year, and a new one be all that lacks.
    """
    answers = plan.answers
    later = (answers.status == "higher level") & (answers.level >= levels)
    short: BoolArray = np.isin(answers.status, ("not met", "no route")) | later
    return short


def _with(inputs: Inputs, places: Sequence[FillSite]) -> Inputs:
    """Add fill sites to a district's, in the order of their ids."""
    return replace(inputs, sites=tuple(sorted((*inputs.sites, *places), key=lambda site: site.site_id)))


def _check(places: Sequence[FillSite], inputs: Inputs, file: str) -> None:
    """Refuse an id that a fill site of the district has, and an answer without any place.

    Raises
    ------
    InputError
        If it is so.
    """
    taken = {site.site_id for site in inputs.sites}
    findings = [
        Finding(file=file, row=place.row, id=place.site_id, rule="is the id of a fill site that stands already",
                remedy="give the place another id")
        for place in places if place.site_id in taken
    ]  # fmt: skip
    if not places:
        findings.append(
            Finding(
                file=file,
                rule=_NO_WATER_MAPPED if inputs.roads.alone else _NO_WATER_NEAR,
                remedy="name the places in a table like that of the fill sites: --candidates FILE",
            )
        )
    if findings:
        raise InputError(findings)


def _from_map(inputs: Inputs, roads: RoadTable, limits: RoadLimits, features: FeatureTable) -> tuple[FillSite, ...]:
    """Take the places where mapped water is near a road as dry hydrants built for the rate that the rules say."""
    rules = inputs.district.rules.plan
    found = water_places(roads, limits, features, rules.new_site_reach_ft)
    taken = {site.site_id for site in inputs.sites}
    numbers = (number for number in range(1, len(found) + len(taken) + 1) if f"N{number:02d}" not in taken)
    return tuple(
        FillSite(
            site_id=f"N{number:02d}",
            name=f"Water by {road_label(roads, int(found.segment[at]))}, {found.gap_ft[at]:.0f} ft from the road",
            kind="dry hydrant",
            lon=float(found.lon[at]),
            lat=float(found.lat[at]),
            fill_gpm=rules.new_site_gpm,
            fill_gpm_given=False,
            turnaround_given=False,
            lift_given=False,
        )
        for at, number in zip(range(len(found)), numbers, strict=False)
    )


def _gains(chosen: Sequence[FillSite], picked: Picked, meets: BoolArray, need: FloatArray) -> Iterator[NewSite]:
    """Count what each chosen place brings beside those before it."""
    left = np.ones(len(meets), dtype=np.bool_)
    for site, place in zip(chosen, picked.places, strict=True):
        brings = left & meets[:, place]
        yield NewSite(site=site, addresses=int(brings.sum()), required_gpm=float(need[brings].sum()))
        left &= ~brings


# --------------------------------------------------------------------------- what is said of it


def as_text(answer: Siting) -> list[str]:
    """Say the answer in plain words, a line each."""
    where = "mapped water near a road for tankers" if answer.from_map else "the table"
    weighed = f"{answer.places:,} place{'s' * (answer.places != 1)} of {where} weighed."
    unmet = f"Not met now{_at(answer)}: {_addresses(answer.unmet)}{_no_route(answer)}"
    lines = [
        f"{answer.district}, data of {answer.date or 'an unknown date'}: {weighed}",
        f"{unmet}; the places, each alone, bring up {answer.reachable:,}.",
    ]
    lines += [f"note: {note}" for note in answer.notes]
    if not answer.new:
        return [*lines, "No place alone brings an address up to the requirement.", CAUTIONS]
    for rank, new in enumerate(answer.new, 1):
        more = " more" * (rank > 1)
        lines.append(
            f"{rank}. {new.site.site_id}: {new.site.name}; {new.site.kind}, {new.site.fill_gpm:,.0f} gpm"
            f"{'' if new.site.fill_gpm_given else ' ASSUMED, to be tested'}; {new.site.lat:.5f}, {new.site.lon:.5f}: "
            f"{_addresses(new.addresses)}{more}, {new.required_gpm:,.0f} gpm of required flow"
        )
    if len(answer.new) < answer.asked:
        lines.append(f"More than {len(answer.new)} bring nobody else up.")
    flow = answer.counted == "gpm"
    together, most = (f"{n:,.0f} gpm" if flow else _addresses(round(n)) for n in (answer.brought, answer.bound))
    if answer.bound - answer.brought < BOUND_REACHED * max(answer.brought, 1.0):
        lines.append(f"Together {together}: proved, no choice of so many of these places brings more, each alone.")
    else:
        lines.append(f"Together {together}; no choice of so many brings more than {most}, as far as was searched.")
    lines += _planned_again(answer)
    if answer.from_map:
        lines.append(
            "Each place is water on the map, nothing more: whether it holds water all year, who owns it, whether an "
            "engine or a pipe gets there and tankers can turn must be seen on the ground."
        )
    return [*lines, CAUTIONS]


def _at(answer: Siting) -> str:
    """Say which response level counts, where not all do."""
    return f" at {level_words(answer.level)}" if answer.level else ""


def _no_route(answer: Siting) -> str:
    """Say how many of the addresses that are not met have no route now, behind their number."""
    count = answer.before.get("no route", 0)
    return f", {count:,} of them without a route" if count else ""


def _addresses(count: int) -> str:
    """Count addresses."""
    return f"{count:,} address{'es' * (count != 1)}"


def _planned_again(answer: Siting) -> list[str]:
    """Say what a plan with the new sites gives: tankers split over two sites and seasons are reckoned in it too."""
    lines = [f"Planned again with them (tankers may split over two): {_addresses(answer.met)} more met{_at(answer)}."]
    if answer.lost:
        lines.append(f"{_addresses(answer.lost)} met now, not then.")
    names = [name for name in answer.before if answer.before[name] or answer.after[name]]
    counts = "; ".join(f"{name} {answer.before[name]:,} -> {answer.after[name]:,}" for name in names)
    return [*lines, f"By status: {counts}."]


def as_record(answer: Siting) -> dict[str, Any]:
    """Give the answer as what JSON holds, unrounded."""
    said = {field.name: getattr(answer, field.name) for field in fields(answer)}
    said["new"] = [
        {"site_id": new.site.site_id, "name": new.site.name, "kind": new.site.kind, "lon": new.site.lon,
         "lat": new.site.lat, "fill_gpm": new.site.fill_gpm, "assumed": not new.site.fill_gpm_given,
         "addresses": new.addresses, "required_gpm": new.required_gpm}
        for new in answer.new
    ]  # fmt: skip
    return {**said, "notes": list(answer.notes)}
