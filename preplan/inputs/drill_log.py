"""The log of a tanker shuttle drill: who reached and left which end of the circuit, and when."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from itertools import pairwise
from pathlib import Path

import numpy as np

from preplan.drill_events import (
    CLOCK_EVENTS,
    DUMP_EVENTS,
    FILL_EVENTS,
    LEAVES_DRILL,
    SAYS_NOTHING,
    DrillEvent,
    DrillLog,
)
from preplan.errors import Finding, InputError
from preplan.inputs.clock import read_times
from preplan.inputs.sheet import Sheet, open_sheet
from preplan.plan_inputs import Inputs
from preplan.records import FloatArray, TextArray, text_array

ARRIVES, LEAVES = "arrives", "leaves"
"""What a log may say where its column of places tells at which end."""
MOST_APART_MIN = 180.0
"""A row this long after the one before it is none of the drill's, or its time is wrong (careful bounds)."""
MOST_FILL_SITES = 2
_NOBODY_S = (*CLOCK_EVENTS[:3], CLOCK_EVENTS[-1])
"""Events of the clock that are no tanker's, whoever wrote them down."""
_FOUR = (FILL_EVENTS[1], FILL_EVENTS[4], DUMP_EVENTS[1], DUMP_EVENTS[4])
"""The events that will do."""
_MOST_SOME = 4
"""Most ids that are named where one is wanted."""
_VERBS: Mapping[str, tuple[str, ...]] = {
    ARRIVES: ("arrives", "arrive", "arrived", "arrival", "in", "at", "reached", "stops"),
    LEAVES: ("leaves", "leave", "left", "departs", "depart", "departed", "departure", "leaving", "out"),
}
_ENDS: Mapping[str, tuple[str, str, tuple[str, ...]]] = {
    "dump": (DUMP_EVENTS[1], DUMP_EVENTS[4], ("dump", "dump site", "the dump site")),
    "fill": (FILL_EVENTS[1], FILL_EVENTS[4], ("fill", "fill site", "the fill site")),
}
"""Of each end: what a tanker does that arrives there, and that leaves, and how the place is called."""
EVENT_WORDS: Mapping[str, str] = {
    **{word: word for word in (*DUMP_EVENTS, *FILL_EVENTS, *CLOCK_EVENTS, LEAVES_DRILL, *SAYS_NOTHING)},
    **{
        f"{said}{at} {place}": (arrives if verb == ARRIVES else leaves)
        for verb, words in _VERBS.items()
        for said in words
        for at in ("", " at")
        for arrives, leaves, places in _ENDS.values()
        for place in places
    },
    **{said: verb for verb, words in _VERBS.items() for said in words},
    "reaches dump site": DUMP_EVENTS[0],
    "arrives on scene": DUMP_EVENTS[0],
    "on-scene": DUMP_EVENTS[0],
    "dump place": DUMP_EVENTS[2],
    "dumping": DUMP_EVENTS[3],
    "starts dumping": DUMP_EVENTS[3],
    "dump starts": DUMP_EVENTS[3],
    "fill place": FILL_EVENTS[2],
    "filling": FILL_EVENTS[3],
    "starts filling": FILL_EVENTS[3],
    "fill starts": FILL_EVENTS[3],
    "paused": "pause",
    "pauses": "pause",
    "resumed": "resume",
    "resumes": "resume",
    "end of drill": "end",
    "leaves the drill": LEAVES_DRILL,
    "out of service": LEAVES_DRILL,
    "goes home": LEAVES_DRILL,
    "gone home": LEAVES_DRILL,
}
"""Every spelling of an event, folded, and the word meant."""
_IS_OVER: dict[str, str] = {
    said.format(stem): leaves
    for leaves, stem in ((FILL_EVENTS[4], "fill"), (DUMP_EVENTS[4], "dump"))
    for said in (
        "{}ed", "{} complete", "{} completed", "{} done", "{} ends", "{} end", "{} stop", "{}ing complete",
        "{}ing done", "done {}ing", "finished {}ing", "stops {}ing", "end {}",
    )
}  # fmt: skip
"""What says that water has stopped, and not that the tanker has left: asked about, never taken."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Named:
    """What the log's places may be: ids by their folded spelling, and the one that an empty cell stands for."""

    ids: Mapping[str, str]
    spoken: Mapping[str, str]
    """Names and labels by which people know a place, folded, to its id."""
    only: str
    """The one that is evident where no row names any; '' where there are several."""


def read_drill_log(path: Path, inputs: Inputs, site: str = "", address: str = "") -> DrillLog:
    """Read a log and check every cell against the district.

    Parameters
    ----------
    site, address
        Where tankers filled and dumped, for the rows that do not say; '' where the log tells.

    Raises
    ------
    InputError
        Anything is at fault; all findings at once.
    """
    sheet, notes = open_sheet(path, "drill_log", path.name, {})
    if not len(sheet):
        raise InputError([Finding(file=path.name, rule="has no rows below its header")])
    return _Reader(sheet, inputs, site.strip(), address.strip()).read(notes)


class _Reader:
    """One log while it is read."""

    def __init__(self, sheet: Sheet, inputs: Inputs, site: str, address: str) -> None:
        self.sheet, self.inputs = sheet, inputs
        self.units = {unit.unit_id: unit for unit in inputs.units}
        sheet.fault(sheet.cells("event") == "", "event", "is empty")
        self.event = sheet.parsed("event", _event, _no_event)
        self.unit = _known_as(sheet.text("unit_id"), _named(self.units, (), "").ids)
        self.engine = np.isin(self.unit, [name for name, unit in self.units.items() if unit.kind == "engine"])
        self.places = sheet.text("place")
        labels = zip(inputs.addresses.label.tolist(), inputs.addresses.address_id.tolist(), strict=True)
        self.sites = _named(
            (one.site_id for one in inputs.sites), ((one.name, one.site_id) for one in inputs.sites), site
        )
        self.addresses = _named(inputs.addresses.address_id.tolist(), labels, address)
        self.options = [("--site", site, self.sites), ("--address", address, self.addresses)]

    def read(self, notes: Iterable[str]) -> DrillLog:
        """Check the columns one by one, then lay the rows out in time."""
        sheet = self.sheet
        unknown = [
            Finding(
                file="command line",
                column=option,
                value=said,
                rule=f"is not in the district{_near(said, known)}",
                remedy=f"it may be {_some(known)}" * (not _near(said, known)),
            )
            for option, said, known in self.options
            if said and not {said, _plain(said)} & set(known.ids)
        ]
        if unknown:
            raise InputError(unknown)
        self._resolve_ends()
        self._check_units()
        place = self._resolve_places()
        times = read_times(sheet.cells("time").tolist())
        sheet.fault(sheet.cells("time") == "", "time", "is empty")
        for rule in dict.fromkeys(filter(None, times.faults)):
            sheet.fault(np.array([one == rule for one in times.faults]), "time", rule)
        self._check_gaps(np.where([bool(one) for one in times.faults], np.nan, times.minute))
        gallons = self._gallons()
        if sheet.faults:
            raise InputError(sheet.findings())
        events = [
            DrillEvent(
                unit_id="" if self.event[i] in _NOBODY_S else str(self.unit[i]),
                event=str(self.event[i]),
                minute=float(times.minute[i]),
                gallons=float(gallons[i]),
                place=str(place[i]),
                row=int(sheet.row[i]),
            )
            for i in range(len(sheet))
            if self._counts(i)
        ]
        kept = self._ordered(events)
        sites = dict.fromkeys(event.place for event in kept if event.event in FILL_EVENTS)
        dumps = [event.place for event in kept if event.event in DUMP_EVENTS]
        if not any(event.event == DUMP_EVENTS[-1] for event in kept):
            rule = f"has no row in which a tanker leaves the dump site ({DUMP_EVENTS[-1]!r}): nothing can be measured"
            raise InputError([Finding(file=sheet.file, column=sheet.header("event"), rule=rule)])
        return DrillLog(
            file=sheet.file,
            events=tuple(kept),
            site_ids=tuple(sites) or ((self.sites.only,) if self.sites.only else ()),
            address_id=dumps[0],
            begun=times.begun,
            date=times.date,
            whole_minutes=times.whole_minutes,
            rows=len(sheet),
            notes=(*notes, *sheet.notes),
        )

    # ------------------------------------------------------------------ columns

    def _resolve_ends(self) -> None:
        """Let the place say at which end a tanker arrives or leaves, where the event does not."""
        verb = np.isin(self.event, [ARRIVES, LEAVES])
        words = []
        for event, said in zip(self.event.tolist(), self.places.tolist(), strict=True):
            arrives, leaves, _ = _ENDS.get(self._end_of(said), ("", "", ()))
            words.append({ARRIVES: arrives, LEAVES: leaves}.get(event, event))
        self.sheet.fault(
            verb & (text_array(words) == "") & (self.places == ""),
            "event",
            "does not say where: write 'at fill site', 'full', 'at dump site' or 'empty', or give the place",
        )
        for said in dict.fromkeys(self.places[verb & (text_array(words) == "") & (self.places != "")].tolist()):
            near = _near(said, self.sites) or _near(said, self.addresses)
            rule = f"is neither a fill site nor an address_id of the district{near}"
            if said in self.sites.ids and said in self.addresses.ids:
                rule = "is a fill site and an address_id: write the event out, such as 'at fill site'"
            self.sheet.fault(verb & (self.places == said), "place", rule)
        self.event = text_array(words)

    def _end_of(self, said: str) -> str:
        """Tell which end of the circuit a place is: fill, dump or ''."""
        for end, (_, _, names) in _ENDS.items():
            if said.casefold() in names:
                return end
        own = {said, _plain(said)}
        fill, dump = bool(own & set(self.sites.ids)), bool(own & set(self.addresses.ids))
        return "" if fill == dump else "fill" if fill else "dump"

    def _check_units(self) -> None:
        """Refuse units that the district does not have; say who is no tanker."""
        sheet, known = self.sheet, set(self.units)
        nobody = self.unit == ""
        sheet.fault(
            nobody & ~np.isin(self.event, [*CLOCK_EVENTS, *SAYS_NOTHING, ""]),
            "unit_id",
            "is empty: which tanker?",
        )
        strange = ~nobody & ~np.isin(self.unit, list(known))
        for name in dict.fromkeys(self.unit[strange].tolist()):
            rule = f"is no unit of the table of apparatus{_near(name, _named(known, (), ''))}"
            sheet.fault(self.unit == name, "unit_id", rule)
        for name in sorted(set(self.unit[self.engine].tolist())):
            count = int(np.count_nonzero((self.unit == name) & ~np.isin(self.event, CLOCK_EVENTS)))
            if count:
                sheet.note(f"rows of {name}, an engine that hauls no water in the plan, passed over: {count}.")
        for name in sorted(known & set(self.unit.tolist())):
            if not self.units[name].in_service:
                sheet.note(f"{name} is out of service in the table of apparatus, and took part.")

    def _resolve_places(self) -> TextArray:
        """Give each row's place by its id: what it says, else the one that is evident."""
        sheet = self.sheet
        place = text_array([""] * len(sheet))
        for end, words, known, option in (
            ("fill", FILL_EVENTS, self.sites, "--site"),
            ("dump", DUMP_EVENTS, self.addresses, "--address"),
        ):
            mine = np.isin(self.event, words) & ~self.engine
            if end == "fill":
                mine |= np.isin(self.event, CLOCK_EVENTS[1:3]) & (self.places != "")
            said = text_array(["" if one.casefold() in _ENDS[end][2] else one for one in self.places.tolist()])
            named = _known_as(said, known.ids)
            strange = mine & (named != "") & ~np.isin(named, list(known.ids.values()))
            for one in dict.fromkeys(named[strange].tolist()):
                what = "fill site" if end == "fill" else "address_id"
                sheet.fault(strange & (named == one), "place", f"is no {what} of the district{_near(one, known)}")
            first = dict.fromkeys(named[mine & (named != "") & ~strange].tolist())
            evident = known.only or (next(iter(first)) if len(first) == 1 else "")
            silent = mine & (named == "")
            if not evident:
                others = f"it names {', '.join(first)}" if first else "no row names one"
                rule = f"names no {end} site, and none is evident ({others}): write its id, or give {option}"
                sheet.fault(silent, "place", rule)
            place = text_array(np.where(mine & ~strange, np.where(silent, evident, named), place).tolist())
            used = list(dict.fromkeys(place[mine & (place != "")].tolist()))
            most, rule = (
                (MOST_FILL_SITES, "is a third fill site: one log tells of two at most; write one for each circuit")
                if end == "fill"
                else (1, f"is a second dump site beside {used[0] if used else ''}: write one log for each")
            )
            sheet.fault(mine & np.isin(place, used[most:]), "place", rule)
        return place

    def _check_gaps(self, minute: FloatArray) -> None:
        """Refuse times that lie hours behind all others."""
        order = [i for i in np.argsort(minute, kind="stable").tolist() if np.isfinite(minute[i])]
        late = np.zeros(len(self.sheet), dtype=np.bool_)
        for before, after in pairwise(order):
            late[after] = late[before] or minute[after] - minute[before] > MOST_APART_MIN
        rule = f"lies over {MOST_APART_MIN / 60:.0f} hours behind the rows before it: is the time wrong, or PM missing?"
        self.sheet.fault(late, "time", rule)

    def _gallons(self) -> FloatArray:
        """Read the loads; none is larger than the tank."""
        gallons = self.sheet.number("gallons", above=0.0)
        tank = np.array([self.units[name].tank_gal if name in self.units else np.inf for name in self.unit.tolist()])
        too_much = gallons > tank
        self.sheet.fault(too_much, "gallons", "is more than the tank of that unit holds by the table of apparatus")
        return gallons

    # ------------------------------------------------------------------ rows

    def _counts(self, i: int) -> bool:
        """Tell whether a row says anything of a tanker or of the clock."""
        if self.event[i] in _NOBODY_S or (self.event[i] in CLOCK_EVENTS and not self.unit[i]):
            return True
        unit = self.units.get(self.unit[i])
        return self.event[i] not in SAYS_NOTHING and unit is not None and unit.kind != "engine"

    def _ordered(self, events: list[DrillEvent]) -> list[DrillEvent]:
        """Lay the rows out in time, and leave out those that stand twice; count both."""
        sheet = self.sheet
        nothing = int(np.count_nonzero(np.isin(self.event, SAYS_NOTHING)))
        if nothing:
            sheet.note(f"rows that tell of nursing, engines or the fire, passed over: {nothing}.")
        back = sum(after.minute < before.minute for before, after in pairwise(events))
        if back:
            times = "once" if back == 1 else f"{back} times"
            sheet.note(f"the time goes back {times} from one row to the next; the rows were put in order of time.")
        rank = {word: at for at, word in enumerate((*DUMP_EVENTS, *FILL_EVENTS))}
        events.sort(key=lambda event: (event.minute, rank.get(event.event, len(rank)), event.row))
        kept: dict[tuple[str, str, float, str], DrillEvent] = {}
        for event in events:
            first = kept.setdefault((event.unit_id, event.event, event.minute, event.place), event)
            if first is not event:
                sheet.note(f"row {event.row} says again what row {first.row} says, and counts once.")
        return list(kept.values())


def _event(cell: str) -> str | None:
    """Read what happened; capitals, low lines and runs of blanks do not count.

    >>> _event("Arrived at_Dump site"), _event("At  fill site"), _event("gone") is None
    ('at dump site', 'at fill site', True)
    """
    return EVENT_WORDS.get(" ".join(cell.casefold().replace("_", " ").split()))


def _no_event(cell: str) -> str:
    """Say that nobody knows an event, and which one comes near."""
    said = " ".join(cell.casefold().replace("_", " ").split())
    near = get_close_matches(said, list(EVENT_WORDS), n=1)
    meant = f"did you mean {EVENT_WORDS[near[0]]!r}?" if near else "see preplan columns drill_log"
    if said in _IS_OVER:
        meant = f"did you mean {_IS_OVER[said]!r}? It is the minute at which the tanker is under way again"
    return f"is no event of a log such as {', '.join(map(repr, _FOUR))}; {meant}"


def _plain(name: str) -> str:
    """Fold a name for comparison: T-11, t 11 and T11 are one.

    >>> _plain("t-11") == _plain("T 11")
    True
    """
    return "".join(letter for letter in name.casefold() if letter.isalnum()) or name.casefold()


def _known_as(said: TextArray, ids: Mapping[str, str]) -> TextArray:
    """Give each name as the district's table spells it, where it has it."""
    own = set(ids.values())
    return text_array([one if one in own else ids.get(_plain(one), one) for one in said.tolist()])


def _named(ids: Iterable[str], spoken: Iterable[tuple[str, str]], only: str) -> Named:
    """Gather the ids of one kind of place; spellings that two ids share stand for none."""
    known, folded = list(ids), _plain
    counts: dict[str, list[str]] = {}
    for one in known:
        counts.setdefault(folded(one), []).append(one)
    plain = {name: several[0] for name, several in counts.items() if len(several) == 1}
    evident = plain.get(folded(only), only) if only else (known[0] if len(known) == 1 else "")
    return Named(
        ids=plain | {one: one for one in known},
        spoken={name.casefold(): one for name, one in spoken},
        only=evident,
    )


def _some(known: Named) -> str:
    """Name the first ids that there are."""
    ids = list(dict.fromkeys(known.ids.values()))
    more = f" or another of {len(ids) - _MOST_SOME} more" if len(ids) > _MOST_SOME else ""
    return f"{' or '.join(ids[:_MOST_SOME])}{more}" if ids else "left out: the table has none"


def _near(said: str, known: Named) -> str:
    """Name the ids that come near what was written, or the one whose name it is."""
    meant = known.spoken.get(said.casefold())
    close: Callable[[str], list[str]] = lambda text: get_close_matches(text, list(known.ids), n=3)  # noqa: E731
    near = [meant] if meant else list(dict.fromkeys(known.ids[one] for one in close(_plain(said))))
    return f"; did you mean {' or '.join(near)}?" if near else ""
