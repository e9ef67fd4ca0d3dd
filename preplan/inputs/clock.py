"""Times of a log: the time of day, with or without a date, or minutes from the start; midnight may pass."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from preplan.inputs import cells
from preplan.records import FloatArray
from preplan.units import MIN_PER_HOUR, SECONDS_PER_MIN

DAY_MIN = 24.0 * MIN_PER_HOUR
LONGEST_MIN = 12.0 * MIN_PER_HOUR
"""No drill lasts longer (this program's careful bounds); where days are not written, midnight is found by it."""
LATEST_START_MIN = 2.0 * MIN_PER_HOUR
"""Minutes from the start begin before this, else they are a time of day without its colon."""
NEAR_MIDNIGHT_MIN = 3.0 * MIN_PER_HOUR
"""A date without a time of day is midnight if another row lies so near it (this program's careful bounds)."""
EXPECTED = "is not a time such as 14:05, 14:05:30, 2:05 PM, 2026-05-16 14:05, or minutes from the start such as 12.5"
NO_COLON = "may be a time of day or minutes from the start: write 09:15 with a colon, or minutes from 0 on"
POINTED = "may be a time of day with a point, for the whole log lasts but minutes: write 14:05 with a colon"
_POINTED_HOURS, _POINTED_SPAN, _POINTED_ROWS = (5.0, 24.0), 4.0, 4
"""Minutes from the start from the first of these on, so few of them in all and no fraction above 0.59, are hours and
minutes: a log of that many different times lasts longer (this program's choice)."""
DAY_SHARE = "is a spreadsheet's share of a day; give the column the format of a time"
ONLY_DATE = "is a date without a time of day"
_SPREADSHEET_ZERO = 1905
"""A date before this is the day zero of a spreadsheet: what stands behind it is a time of day alone."""
_TIME = re.compile(
    r"(?:(?P<date>\d{4}-\d{2}-\d{2}|\d{1,2}/\d{1,2}/(?:\d{4}|\d{2}))(?:[T ]+|$)|(?P<days>\d+) days?,? )?"
    r"(?:(?P<hour>\d{1,2}):(?P<minute>\d{2})(?::(?P<second>\d{2}(?:\.\d+)?))?\s*(?P<half>[ap]\.?m\.?)?"
    r"\s*(?:z|[+-]\d{2}:?\d{2})?)?",
    re.IGNORECASE,
)
_ZEROS = re.compile(r"0\d{2,3}")


@dataclass(frozen=True, slots=True)
class Time:
    """One cell as read."""

    kind: str
    """time of day, date and time, or minutes."""
    minute: float
    """From midnight, from the year 1, or from the start; NaN where the cell is none."""
    date: str = ""
    fault: str = ""
    whole: bool = True
    """It tells no seconds."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Times:
    """A column of times."""

    minute: FloatArray
    """(rows,) from the first of them, or as given; NaN where a cell is empty or at fault."""
    faults: tuple[str, ...]
    """(rows,) what is wrong with each cell, '' for nothing."""
    begun: str = ""
    """Time of day of minute 0; '' where minutes were given."""
    date: str = ""
    whole_minutes: bool = False


def one_time(cell: str) -> Time:
    """Read one cell.

    >>> one_time("14:05").minute, one_time("2:05 pm").minute, one_time("12:30 AM").minute, one_time("12.5 min").minute
    (845.0, 845.0, 30.0, 12.5)
    >>> one_time("1899-12-31 09:15:30").kind, one_time("2026-05-16T09:15").date, one_time("0915").fault == NO_COLON
    ('time of day', '2026-05-16', True)
    """
    match = _TIME.fullmatch(cell)
    if match is None or not (match["hour"] or match["date"]):
        minute = cells.number(cell, "min")
        if np.isnan(minute) or minute < 0.0:
            return Time("", np.nan, fault=EXPECTED)
        return Time("minutes", minute, fault=NO_COLON if _ZEROS.fullmatch(cell) else "", whole=minute % 1 == 0)
    minute = _of_day(match)
    day = cells.iso_date(match["date"]) if match["date"] else ""
    if np.isnan(minute) or day is None:
        return Time("", np.nan, fault=EXPECTED)
    whole = float(match["second"] or 0.0) == 0.0
    if match["days"]:
        return Time("minutes", int(match["days"]) * DAY_MIN + minute, whole=whole)
    if not day or int(day[:4]) < _SPREADSHEET_ZERO:
        return Time("time of day", minute % DAY_MIN, whole=whole)
    start_min = date.fromisoformat(day).toordinal() * DAY_MIN
    return Time("date and time", start_min + minute, day, "" if match["hour"] else ONLY_DATE, whole)


def _of_day(match: re.Match[str]) -> float:
    """Give the minutes from midnight, NaN where there is no such time."""
    hour, minute, second = int(match["hour"] or 0), int(match["minute"] or 0), float(match["second"] or 0.0)
    half = (match["half"] or "").casefold()[:1]
    if half and not 1 <= hour <= 12:
        return np.nan
    if half:
        hour = hour % 12 + (12 if half == "p" else 0)
    if hour > 24 or minute >= MIN_PER_HOUR or second >= SECONDS_PER_MIN:
        return np.nan
    return hour * MIN_PER_HOUR + minute + second / SECONDS_PER_MIN


def read_times(given: Sequence[str]) -> Times:
    """Read a column of times; the rows need not stand in their order.

    Times of day are laid out from behind the longest stretch without any, which is where the drill was not: so
    midnight may pass. One column is of one kind.
    """
    read = [one_time(cell) if cell else Time("", np.nan) for cell in given]
    read = _midnights(read)
    kinds = Counter(one.kind for one in read if one.kind)
    kind = kinds.most_common(1)[0][0] if kinds else ""
    faults = [one.fault or _other_kind(one, kind) for one in read]
    minute = np.array([np.nan if fault else one.minute for one, fault in zip(read, faults, strict=True)])
    known = np.isfinite(minute)
    start, doubt = _start(minute[known], kind)
    since = (minute - start) % DAY_MIN if kind == "time of day" else minute - start
    if doubt:
        faults = [fault or (doubt if there else "") for fault, there in zip(faults, known, strict=True)]
    long = np.where(known, since, 0.0) > LONGEST_MIN
    limit = f"lies more than {LONGEST_MIN / MIN_PER_HOUR:.0f} hours after the first: is the time wrong, or PM missing?"
    faults = [fault or (limit if much else "") for fault, much in zip(faults, long, strict=True)]
    return Times(
        minute=since,
        faults=tuple(faults),
        begun="" if kind == "minutes" or not known.any() else clock(start),
        date=min((one.date for one in read if one.date and not one.fault), default=""),
        whole_minutes=all(one.whole for one in read),
    )


def _midnights(read: list[Time]) -> list[Time]:
    """Take a date alone for its midnight where others lie near: so spreadsheets hand that minute over."""
    known = np.array([one.minute for one in read if one.kind == "date and time" and not one.fault])

    def near(one: Time) -> bool:
        return bool((np.abs(known - one.minute) < NEAR_MIDNIGHT_MIN).any())

    return [replace(one, fault="") if one.fault == ONLY_DATE and near(one) else one for one in read]


def _other_kind(one: Time, kind: str) -> str:
    """Say so where a cell is of another kind than the most of its column."""
    if one.kind in ("", kind):
        return ""
    return f"is {one.kind if one.kind == 'minutes' else 'a ' + one.kind}, where the most rows give {kind}: write one"


def _start(minute: FloatArray, kind: str) -> tuple[float, str]:
    """Find minute 0 among those known, and what is in doubt about all of them."""
    if not minute.size:
        return 0.0, ""
    if kind == "time of day":
        ordered = np.unique(minute)
        free = np.append(np.diff(ordered), ordered[0] + DAY_MIN - ordered[-1])
        return float(ordered[(int(free.argmax()) + 1) % len(ordered)]), ""
    if kind != "minutes":
        return float(minute.min()), ""
    if minute.max() < 1.0 and len(np.unique(minute)) > 1:
        return 0.0, DAY_SHARE
    if _pointed(np.unique(minute)):
        return 0.0, POINTED
    return (0.0, NO_COLON) if minute.min() > LATEST_START_MIN else (0.0, "")


def _pointed(minute: FloatArray) -> bool:
    """Tell whether minutes, each once and rising, are hours and minutes with a point between, as 14.05.

    >>> _pointed(np.array([14.0, 14.04, 14.1, 15.59])), _pointed(np.array([14.0, 18.5, 24.0, 27.0]))
    (True, False)
    """
    first, last = _POINTED_HOURS
    hours = len(minute) >= _POINTED_ROWS and first <= minute[0] and minute[-1] < last
    fraction = np.round(minute % 1.0, 6)
    as_clock = (fraction < MIN_PER_HOUR / 100.0) & (np.round(fraction * 100.0, 3) % 1.0 == 0.0)
    return bool(hours and minute[-1] - minute[0] < _POINTED_SPAN and as_clock.all() and fraction.any())


def clock(minute: float) -> str:
    """Write a minute as a time of day.

    >>> clock(845.0), clock(845.5)
    ('14:05', '14:05:30')
    """
    seconds = round(minute % DAY_MIN * SECONDS_PER_MIN)
    hours, rest = divmod(seconds, 3600)
    text = f"{hours % 24:02d}:{rest // 60:02d}"
    return f"{text}:{rest % 60:02d}" if rest % 60 else text


def minute_of(text: str) -> float:
    """Read a time of day as `clock` writes it, minutes from midnight.

    >>> minute_of("14:05:30")
    845.5
    """
    return one_time(text).minute
