"""`preplan drill`: a drill's log beside the plan, in words and for other programs."""

from __future__ import annotations

import math
from dataclasses import asdict
from textwrap import wrap

from preplan.by_hand.options import LINE_LETTERS, as_json, cautions, labelled, table
from preplan.inputs.clock import clock, minute_of
from preplan.months import month_words
from preplan.planning.drill_case import Steady
from preplan.planning.drill_flow import Flow
from preplan.planning.drill_offers import SHUTTLE, Offer, Offered
from preplan.planning.drills import Drilled, Span
from preplan.records import ALL_MONTHS
from preplan.render.words import NOT_KNOWN, gallons, limit_words, minutes, number, printable, supply

_NAMES = {
    "fill maneuver": "positioning at fill site", "fill wait": "waiting to fill, mean",
    "fill hook-up": "hook-up at fill site", "fill": "filling, with hook-up",
    "loaded drive": "driving loaded", "loaded leg": "loaded leg, with positioning",
    "dump maneuver": "positioning at dump site", "dump wait": "waiting to dump, mean",
    "dump hook-up": "hook-up at dump site", "dump": "dumping, with hook-up",
    "empty drive": "driving empty", "empty leg": "empty leg, with positioning", "cycle": "whole round",
}  # fmt: skip
_EACH = ("fill", "loaded leg", "dump", "empty leg", "cycle")
"""What the table of tankers shows."""
_PARTS = ("fill wait", "fill", "loaded leg", "dump wait", "dump", "empty leg")
"""What a round consists of."""
_SAME, _WORTH_MIN = 0.02, 0.3
"""Shares and minutes below which a difference is not worth a word (this program's choice)."""
_WORTH_COUNT = 3
"""Spans of time of which fewer were timed are in the table and in no sentence (this program's choice)."""
_TOO_GOOD = 0.15
"""A drill that brings so much more than the plan promises may be a log at fault (this program's choice)."""
PEAKS = (
    "None of these is a peak: for some minutes a nozzle may throw far more than tankers bring, out of portable tanks"
    " and first loads."
)
ONE_DRILL = (
    "One drill, of crews who knew it would come. Nights, ice, traffic and tired crews are slower: of two numbers take"
    " the slower."
)


class HandDrill:
    """A drill beside the plan."""

    def __init__(self, drilled: Drilled, offered: Offered) -> None:
        """Keep what was measured, what is predicted, and what is offered."""
        self.drilled, self.offered = drilled, offered
        self._starts = minute_of(drilled.log.begun) if drilled.log.begun else math.nan

    # ------------------------------------------------------------------ for other programs

    def json(self) -> str:
        """Write the answer, unrounded."""
        one = self.drilled
        return as_json(
            {
                "log": one.log.file,
                "rows": one.log.rows,
                "date": one.log.date,
                "begun": one.log.begun,
                "tankers": [unit.unit_id for unit in one.units],
                "fill_sites": [site.site_id for site in one.sites],
                "address_id": one.log.address_id,
                "ways": {name: asdict(way) for name, way in one.ways.items()},
                "spans": [asdict(span) for span in one.spans],
                "measured": _flow_json(one.flow),
                "replayed": None if one.replayed_flow is None else _flow_json(one.replayed_flow),
                "predicted": asdict(one.predicted),
                "by_measured_times": asdict(one.by_measured),
                "loads": [asdict(load) for load in one.loads],
                "assumed_loads": one.assumed_loads,
                "offers": [asdict(offer) for offer in self.offered.values],
                "not_offered": list(self.offered.why_not),
                "told": [*one.told, *one.log.notes],
            }
        )

    # ------------------------------------------------------------------ for people

    def text(self) -> str:
        """Write the answer for people: supply rounded down."""
        return "\n".join(
            [
                *self._head(),
                "",
                *self._flow(),
                "",
                *self._spans(),
                "",
                *self._tankers(),
                "",
                *self._by_minute(),
                "",
                *self._offers(),
                "",
                *self._doubts(),
                "",
                *cautions(),
            ]
        )

    def _head(self) -> list[str]:
        one = self.drilled
        sites = " and ".join(f"{site.site_id} {printable(site.name)}" for site in one.sites) or "no fill site named"
        when = f" of {one.log.date}" if one.log.date else ""
        span = f"{self._when(one.flow.start_min)} to {self._when(one.flow.end_min)}"
        head = f"Drill{when}, {span}: {', '.join(printable(unit.unit_id) for unit in one.units)} between {sites} and "
        said = "" if one.months == ALL_MONTHS else f", as in {month_words(one.months)}"
        said += "" if one.log.date or not said else " since no row says a date"
        ways = [
            f"{name}: {minutes(way.out_min)} loaded, {minutes(way.back_min)} empty"
            if math.isfinite(way.out_min + way.back_min)
            else f"{name}: no way for all of these tankers on the roads known, so nothing is predicted"
            for name, way in one.ways.items()
        ]
        return [
            *wrap(head + f"{printable(one.log.address_id)}, {printable(one.label)}", LINE_LETTERS),
            *wrap(f"Driving by the plan's roads{said}: {'; '.join(ways) or NOT_KNOWN}", LINE_LETTERS),
        ]

    def _when(self, minute: float) -> str:
        """Write a minute of the log as the log itself would."""
        return f"minute {number(minute, 1)}" if math.isnan(self._starts) else clock(self._starts + minute)

    def _flow(self) -> list[str]:
        one, flow = self.drilled, self.drilled.flow
        return [
            *labelled("In short", self._short()),
            "",
            *labelled(
                "Delivered",
                f"{supply(flow.average_gpm)} gpm on average over {minutes(flow.minutes)}: {gallons(flow.gal)} in "
                f"{_count(flow.loads, 'load')}{self._assumed()}",
            ),
            *labelled(
                "Hauled",
                f"{supply(flow.hauled_gpm)} gpm over the same time without the {gallons(flow.first_gal)} that tankers"
                " came with",
            ),
            *labelled("Sustained", self._steady(flow)),
            *labelled(
                "By your times",
                _closed(one.by_measured, "the formula with the times measured, waits of chance left out"),
            ),
            *labelled("By the plan", _closed(one.predicted, "the same with the plan's times, for ever")),
            *self._replayed(),
            *wrap(PEAKS, LINE_LETTERS),
        ]

    def _short(self) -> str:
        """Say in a few sentences how the drill went against the plan, and what made the difference."""
        flow, theirs = self.drilled.flow, self.drilled.replayed_flow
        if theirs is None or theirs.gal <= 0:
            return "No fill site is named, or the plan has no way for these tankers: nothing to compare with."
        share = flow.gal / theirs.gal - 1.0
        water = (
            f"{abs(share):.0%} {'more' if share > 0 else 'less'} water than" if abs(share) >= _SAME else "As much as"
        )
        said = [f"{water} the plan reckons by the same minute; one load is {1.0 / theirs.loads:.0%}."]
        spans = [span for span in self.drilled.spans if not span.unit_id and span.n >= _WORTH_COUNT]
        said += [
            f"A {self._name(span)} took {number(span.typical_min, 1)} min, predicted {number(span.predicted_min, 1)}."
            for span in spans
            if span.what == "cycle" and math.isfinite(span.predicted_min)
        ]
        # NaN, where nothing is predicted, is worth nothing
        apart = [span for span in spans if span.what in _PARTS and abs(_late_min(span)) >= _WORTH_MIN]
        apart.sort(key=lambda span: -abs(_late_min(span)))
        if apart:
            parts = ", ".join(f"{self._name(span)} {_difference(span)} min" for span in apart[:3])
            said.append(f"Most of the difference: {parts}.")
        if share >= _TOO_GOOD:
            said.append("More than the plan promises: look first at what the log leaves open, below.")
        return " ".join(said)

    def _assumed(self) -> str:
        one = self.drilled
        if not one.assumed_loads:
            return ""
        return f"; gallons of {one.assumed_loads} assumed, the usable share of the tank"

    def _steady(self, flow: Flow) -> str:
        part = flow.steady
        if part is None:
            return "not told: no tanker made two whole rounds after its first refilled load"
        fleet = "" if part.same_fleet else "; not all tankers hauled all that time"
        return (
            f"{supply(part.gpm)} gpm of refilled loads, {self._when(part.from_min)} to {self._when(part.to_min)}, which"
            f" is {part.rounds} whole rounds of {printable(part.unit_id)}{fleet}"
        )

    def _replayed(self) -> list[str]:
        theirs = self.drilled.replayed_flow
        if theirs is None:
            return []
        steady = "" if theirs.steady is None else f", {supply(theirs.steady.gpm)} gpm sustained"
        return labelled(
            "Replayed",
            "your drill minute by minute with the plan's times, begun as yours began: "
            f"{gallons(theirs.gal)} by the same minute, {supply(theirs.average_gpm)} gpm on average, "
            f"{supply(theirs.hauled_gpm)} gpm hauled{steady}",
        )

    def _spans(self) -> list[str]:
        rows = [
            (
                self._name(span), str(span.n), number(span.typical_min, 1), number(span.least_min, 1),
                number(span.most_min, 1), _or_dash(span.predicted_min), _difference(span),
            )
            for span in self.drilled.spans
            if not span.unit_id
        ]  # fmt: skip
        return table(("minutes", "times", "median", "least", "most", "predicted", "difference"), rows)

    def _name(self, span: Span) -> str:
        name = _NAMES[span.what]
        return f"{name}, {span.site_id}" if span.site_id and len(self.drilled.sites) > 1 else name

    def _tankers(self) -> list[str]:
        one = self.drilled
        rows = []
        for unit in one.units:
            loads = [load for load in one.loads if load.unit_id == unit.unit_id]
            cells = [self._each(unit.unit_id, what) for what in _EACH]
            rows.append((unit.unit_id, str(len(loads)), number(sum(load.gallons for load in loads)), *cells))
        head = ("tanker", "loads", "gallons", "filling", "loaded leg", "dumping", "empty leg", "whole round")
        return [*table(head, rows), "Minutes: median measured / predicted, with positioning and hook-up as above."]

    def _each(self, unit_id: str, what: str) -> str:
        mine = [span for span in self.drilled.spans if span.unit_id == unit_id and span.what == what]
        return ", ".join(f"{number(span.typical_min, 1)} / {_or_dash(span.predicted_min)}" for span in mine) or "-"

    def _by_minute(self) -> list[str]:
        one = self.drilled
        theirs = dict(one.replayed_flow.by_minute) if one.replayed_flow is not None else {}
        rows = [
            (self._when(minute), number(gal), number(theirs[minute]) if minute in theirs else "-")
            for minute, gal in one.flow.by_minute
        ]
        return table(("gallons dumped by", "measured", "predicted"), rows)

    # ------------------------------------------------------------------ offers

    def _offers(self) -> list[str]:
        values = self.offered.values
        said = []
        rules = [one for one in values if one.where == SHUTTLE]
        if rules:
            said += wrap(
                "Your own values, careful: three of four were as good or better. If you trust this drill, put them"
                " under [shuttle] of the district file, in the place of lines of the same name:",
                LINE_LETTERS,
            )
            said += ["", SHUTTLE]
            for one in rules:
                said += [f"# {line}" for line in wrap(self._backed(one, "min"), LINE_LETTERS - 2)]
                said.append(f"{one.key} = {one.value:.1f}")
        for where in ("fill_sites", "apparatus"):
            for one in (each for each in values if each.where == where):
                value = f"{printable(one.row_id)}: {one.key} {number(one.value)}, {self._backed(one, 'gpm')}"
                said += ["", *labelled(where, value)]
        if not values:
            said.append("Nothing is offered for the district's own values.")
        for reason in self.offered.why_not:
            said += wrap(f"- {reason}", LINE_LETTERS, subsequent_indent="  ")
        return said

    def _backed(self, one: Offer, unit: str) -> str:
        """Say what stands behind an offered value."""
        digits = 1 if unit == "min" else 0
        quicker = one.value < one.now if unit == "min" else one.value > one.now
        timed = ", timed to the minute" if self.drilled.log.whole_minutes else ""
        spread = f"{number(one.median, digits)} ({number(one.least, digits)} to {number(one.most, digits)}) {unit}"
        of = f"{_count(one.n, 'fill' if 'fill' in one.key else 'dump')} of {_count(one.tankers, 'tanker')}"
        said = [f"from {of} in one drill{timed}: median {spread}, in use now {number(one.now, digits)}"]
        said += [one.how] if one.how else []
        return "; ".join([*said, *(["better than what is in use: be slow to take it"] if quicker else [])])

    def _doubts(self) -> list[str]:
        one = self.drilled
        said = ["What the log leaves open, and how it was taken"]
        lines = [*one.told, *one.log.notes]
        if one.log.whole_minutes:
            lines.insert(0, "Times are to the minute: what took one or two minutes is not known better than that.")
        if one.full_tank_loads:
            lines.append(
                f"{_count(one.full_tank_loads, 'load')} stand with the size of the tank as gallons. A dump leaves some "
                "aboard, so the flow may be less than told."
            )
        lines.append(
            "Predicted: the start is the drill's (who came when, both ends ready), the rest is rules, tables and roads;"
            " water is drawn as fast as it comes, no tank is ever full, and the engine at the fill site gives what its"
            " table says."
        )
        lines.append(ONE_DRILL)
        for line in lines:
            said += wrap(f"- {printable(line)}", LINE_LETTERS, subsequent_indent="  ")
        return said


def _flow_json(flow: Flow) -> dict[str, object]:
    return {
        **asdict(flow),
        "average_gpm": flow.average_gpm,
        "hauled_gpm": flow.hauled_gpm,
        "sustained_gpm": None if flow.steady is None else flow.steady.gpm,
    }


def _closed(steady: Steady, how: str) -> str:
    if math.isnan(steady.gpm):
        return f"{NOT_KNOWN}: a leg or a handling time is missing, or a way"
    return f"{supply(steady.gpm)} gpm sustained, {how}; limited by {limit_words(steady.limited_by)}"


def _late_min(span: Span) -> float:
    return span.typical_min - span.predicted_min


def _or_dash(value: float) -> str:
    return number(value, 1) if math.isfinite(value) else "-"


def _difference(span: Span) -> str:
    """Say by how much the measured time is longer, '-' where nothing is predicted."""
    if not math.isfinite(span.predicted_min):
        return "-"
    return f"{_late_min(span):+.1f}".replace("-0.0", "0.0").replace("+0.0", "0.0")


def _count(number_of: int, word: str) -> str:
    return f"{number_of} {word}{'s' * (number_of != 1)}"
