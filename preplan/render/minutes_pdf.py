"""The report on the first minutes: when water flows, where it runs dry, what minutes change in the answers."""

from __future__ import annotations

from collections import Counter

import numpy as np

from preplan.plan import Plan
from preplan.plan_tables import FIRST_ALARM_IN, LEAST_GAP_MIN
from preplan.records import BoolArray, FloatArray, IntArray
from preplan.render import words
from preplan.render.bars_pdf import BAR_PT, Bar, bars
from preplan.render.evidence_pdf import of
from preplan.render.first_minutes import little_time
from preplan.render.index_pdf import heading_of
from preplan.render.paper import SMALL_PT, TABLE_PT, Document

_MOST_GAPS = 20
_MOST_CHANGES = 20
NEVER = 99
"""Stands for no level in a list of levels."""


def first_minutes(document: Document, plan: Plan) -> None:
    """Draw how the addresses with a shuttle stand in the first minutes, and list the worst gaps."""
    runs = np.asarray(plan.answers.called != "")
    total = int(runs.sum())
    rows = [Bar(said, int(mask.sum()), of(int(mask.sum()), total)) for said, mask in kinds(plan)] if total else []
    document.heading("The first minutes", bookmark=True, keep=40.0 + BAR_PT * len(rows))
    if not total:
        document.flow("No address has a shuttle.")
        return
    document.flow(_when(plan, runs))
    document.y -= 2.0
    bars(document, rows, total)
    document.flow(
        "Minutes count from the alarm. Too little: the demand exceeds what can be delivered, water in a waiting "
        f"tanker not counted.{_who_calls(plan)}",
        SMALL_PT,
    )
    _gaps(document, plan)


def _who_calls(plan: Plan) -> str:
    """Say who calls the further units of a higher level, and how they count where that call is late; else nothing.

    The minutes of every higher level are those of a call on arrival.
    """
    waits = plan.answers.in_time() & ~little_time(plan, range(len(plan.answers)))
    goes = (plan.answers.status == "higher level") & ~waits
    said = ""
    if waits.any():
        said += " Where a call on arrival is in time, the officer who arrives first calls the further units."
    if goes.any():
        said += (
            " The minutes of a higher level that should go with the first alarm are those of a call on arrival all the "
            "same: so much does waiting cost."
        )
    return said


def _when(plan: Plan, runs: BoolArray) -> str:
    """Say when half of the addresses have first water and an established shuttle."""
    said = []
    for word, column in (
        ("first water", plan.answers.first_water_min),
        ("the first refill", plan.answers.established_min),
    ):
        known = column[runs & np.isfinite(column)]
        if known.size:
            low, middle, high = np.quantile(known, [0.05, 0.5, 0.95])
            said.append(
                f"{word}: half of the addresses by minute {words.need(middle)}, nine in ten between "
                f"{words.number(low)} and {words.need(high)}"
            )
    return words.first_up("; ".join(said)) + "." if said else "First water is not known anywhere."


AT_TIMES = "higher level, with the first alarm in some months"


def kinds(plan: Plan) -> list[tuple[str, BoolArray]]:
    """Sort the addresses with a shuttle by what the first minutes bring: (words, mask of addresses)."""
    answers = plan.answers
    status = answers.status.astype(str)
    dry = np.nan_to_num(answers.gap_min) > LEAST_GAP_MIN
    runs = answers.called.astype(str) != ""
    higher = runs & (status == "higher level")
    early = np.array([any(flag.code == FIRST_ALARM_IN for flag in flags) for flags in answers.flags], dtype=np.bool_)
    soon = little_time(plan, range(len(answers)))
    barely = runs & (status == "not met") & ~dry
    found = [
        ("served, enough throughout", runs & (status == "served") & ~dry),
        ("served, too little before full flow is asked for", runs & (status == "served") & dry),
        ("higher level, a call on arrival is in time", runs & answers.in_time() & ~early & ~soon),
        *([("higher level, best with the first alarm", runs & soon & ~early)] if soon.any() else []),
        *([(AT_TIMES, runs & answers.in_time() & early)] if early.any() else []),
        ("higher level, to be sent with the first alarm", higher & ~answers.in_time()),
        ("not met, too little under the required flow", runs & (status == "not met") & dry),
    ]
    # such as 499 gpm of 500: too little, and never long enough to be printed as minutes
    return [*found, ("not met, by so little that no minute is dry", barely)] if barely.any() else found


def _gaps(document: Document, plan: Plan) -> None:
    """List the worst gaps of addresses that some level serves, a row a road."""
    answers = plan.answers
    met = np.isin(answers.status.astype(str), ["served", "higher level"])
    gap = np.where(met, np.nan_to_num(answers.gap_min), 0.0)
    worst = [a for a in np.argsort(-gap, kind="stable").tolist() if gap[a] > LEAST_GAP_MIN]
    if not worst:
        document.flow("No address that some level serves gets too little.")
        return
    road_of = {a: heading_of(group) for group in plan.groups for a in group.addresses}
    roads: dict[str, list[int]] = {}
    for a in worst:
        roads.setdefault(road_of.get(a, "") or words.where_words(plan, a), []).append(a)
    document.heading("Too little for longest where a level meets, called on arrival", 11.0, keep=TABLE_PT)
    rows = [
        (
            road[:90], f"{len(mine):,}", words.where_words(plan, mine[0])[:90], words.minutes(float(gap[mine[0]])),
            words.minutes(float(answers.nothing_min[mine[0]])),
            f"minute {words.number(float(answers.first_gap_min[mine[0]]))}",
            words.need(float(answers.short_gal[mine[0]])),
        )
        for road, mine in list(roads.items())[:_MOST_GAPS]
    ]  # fmt: skip
    head = ("road", "addresses", "worst of them", "too little in all", "of it dry", "from", "gal short")
    document.table(head, rows, (115.0, 55.0, 135.0, 75.0, 50.0, 60.0, 50.0))
    if len(roads) > len(rows):
        document.flow(f"and {len(roads) - len(rows):,} more roads: see addresses.csv.", SMALL_PT)


# --------------------------------------------------------------------------- against the steady flow


def against_steady(document: Document, plan: Plan) -> None:
    """Count the addresses whose level differs between steady and uninterrupted flow, and say why."""
    document.heading("What the minutes change", bookmark=True, keep=70.0)
    document.flow(
        "The steady flow is what circulates without end. Over the required time first loads and full portable tanks "
        "add to it; a late first tanker, or full tanks that make tankers wait, take from it. The lowest level that "
        "meets the required flow by either:"
    )
    steady, held, asked = levels_by(plan)
    changed = asked & (steady != held)
    document.flow(
        f"{of(int(changed.sum()), int(asked.sum()))} of the addresses with a shuttle change level.", bold=True
    )
    counts = Counter(
        (int(steady[a]), int(held[a]), _why(plan, int(a), int(steady[a]), int(held[a])))
        for a in np.flatnonzero(changed)
    )
    rows = [
        (_level(plan, before), _level(plan, after), f"{count:,}", why)
        for (before, after, why), count in sorted(counts.items(), key=lambda item: (-item[1], item[0]))[:_MOST_CHANGES]
    ]
    if rows:
        document.y -= 2.0
        head = ("by steady flow", "by uninterrupted flow", "addresses", "why")
        document.table(head, rows, (120.0, 130.0, 60.0, 230.0))


def levels_by(plan: Plan) -> tuple[IntArray, IntArray, BoolArray]:
    """Give the lowest level that meets by steady and by uninterrupted flow, `NEVER` where none; and who is asked."""
    asked = np.asarray(plan.answers.level >= 0)
    need = plan.needs.met_from_gpm[:, None]
    return _first(plan.levels.sustained_gpm, need), _first(plan.levels.uninterrupted_gpm, need), asked


def _first(flow_gpm: FloatArray, need_gpm: FloatArray) -> IntArray:
    meets = np.nan_to_num(flow_gpm) >= need_gpm
    return np.where(meets.any(axis=1), meets.argmax(axis=1), NEVER).astype(np.int32)


def _why(plan: Plan, address: int, steady: int, held: int) -> str:
    """Name what lifts an address to a lower level, or pushes it up."""
    if held < steady:
        return "first loads and full portable tanks last through the required time"
    limit = str(plan.levels.limited_by[address, steady])
    return {
        "arrival": "the first refill comes after the water on scene is gone",
        "room": "full portable tanks make tankers wait",
        "source": "the source runs low within the required time",
    }.get(limit, f"held back by {words.limit_words(limit)}")


def _level(plan: Plan, level: int) -> str:
    return "none" if level == NEVER else words.level_words(plan.district.levels[level].name)
