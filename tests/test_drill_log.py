"""The reader of a drill's log: times as people write them, and every fault with its row."""
# ruff: noqa: DTZ001 - a clipboard's time of day has no zone

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from preplan.drill_events import DUMP_EVENTS, FILL_EVENTS, DrillLog
from preplan.errors import InputError
from preplan.inputs.clock import LATEST_START_MIN, LONGEST_MIN, clock, read_times
from preplan.inputs.drill_log import EVENT_WORDS, read_drill_log
from preplan.inputs.reader import read_inputs
from preplan.plan_inputs import Inputs
from tests.faults.small import SmallDistrict

HEADER = "unit_id,event,time,gallons,place"
GOOD = (
    "T1,at dump site,19:02,,G5", "T1,empty,19:06,1800,G5", "T1,at fill site,19:12,,S1", "T1,full,19:16,,S1",
    "T2,at dump site,19:05,,G5", "T2,empty,19:09,,G5",
)  # fmt: skip


@pytest.fixture(scope="module")
def inputs(tmp_path_factory: pytest.TempPathFactory) -> Inputs:
    return read_inputs(SmallDistrict().write(tmp_path_factory.mktemp("log") / "mine"))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path


def log_of(inputs: Inputs, folder: Path, rows: Sequence[str], header: str = HEADER) -> DrillLog:
    path = folder / "log.csv"
    path.write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    return read_drill_log(path, inputs)


def faults_of(inputs: Inputs, folder: Path, rows: Sequence[str], header: str = HEADER) -> str:
    with pytest.raises(InputError) as caught:
        log_of(inputs, folder, rows, header)
    return str(caught.value)


# --------------------------------------------------------------------------- faults


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("T9,full,19:20,,S1", "log.csv row 8 (T9), column unit_id: 'T9' is no unit of the table of apparatus"),
        (",full,19:20,,S1", "row 8, column unit_id: is empty: which tanker?"),
        ("T1,gone,19:20,,S1", "row 8 (T1), column event: 'gone' is no event of a log such as 'at fill site'"),
        ("T1,at fil site,19:20,,S1", "did you mean 'at fill site'?"),
        ("T1,,19:20,,S1", "column event: is empty"),
        ("T1,full,,,S1", "column time: is empty"),
        ("T1,full,soon,,S1", "column time: 'soon' is not a time such as 14:05"),
        ("T1,full,25:10,,S1", "'25:10' is not a time such as 14:05"),
        ("T1,full,13:10 pm,,S1", "is not a time such as 14:05"),
        ("T1,full,14.5,,S1", "'14.5' is minutes, where the most rows give time of day: write one"),
        ("T1,full,2026-05-16,,S1", "'2026-05-16' is a date without a time of day"),
        ("T1,full,22:40,,S1", "'22:40' lies over 3 hours behind the rows before it: is the time wrong, or PM missing?"),
        ("T1,full,19:20,0,S1", "column gallons: '0' must be above 0"),
        ("T1,full,19:20,many,S1", "column gallons: 'many' is not a number"),
        ("T1,full,19:20,2500,S1", "column gallons: '2500' is more than the tank of that unit holds"),
        ("T1,full,19:20,1.500,S1", "may be 1500 with a point for thousands, or 1.5"),
        ("T1,full,19:20,,S7", "column place: 'S7' is no fill site of the district"),
        ("T1,full,19:20,,Mill Pond", "'Mill Pond' is no fill site of the district; did you mean S1?"),
        ("T1,full,19:20,,G5", "'G5' is no fill site of the district"),
        ("T1,empty,19:20,,5 Mill Road", "'5 Mill Road' is no address_id of the district; did you mean G5?"),
        ("T1,empty,19:20,,G6", "'G6' is a second dump site beside G5: write one log for each"),
        ("T1,left,19:20,,", "column event: 'left' does not say where: write 'at fill site'"),
        ("T1,left,19:20,,S8", "column place: 'S8' is neither a fill site nor an address_id of the district"),
    ],
)
def test_a_fault_is_told_with_its_row_column_and_value(inputs: Inputs, folder: Path, row: str, said: str) -> None:
    """One line each, and no other row is blamed."""
    text = faults_of(inputs, folder, [*GOOD, row])
    assert said in text
    assert text.count("\n") == 0


def test_all_faults_are_told_at_once(inputs: Inputs, folder: Path) -> None:
    text = faults_of(inputs, folder, [*GOOD, "T9,full,19:20,,S1", "T1,gone,soon,9000,S1", "T1,full,19:30,,S9"])
    assert [text.count(one) for one in ("row 8", "row 9", "row 10")] == [1, 3, 1]


def test_every_row_behind_a_gap_of_hours_is_told(inputs: Inputs, folder: Path) -> None:
    text = faults_of(inputs, folder, [*GOOD, "T1,at dump site,22:40,,G5", "T1,empty,22:44,,G5"])
    assert text.count("lies over 3 hours behind the rows before it") == 2


def test_a_log_without_rows_columns_or_dumps_is_none(inputs: Inputs, folder: Path) -> None:
    assert "has no rows below its header" in faults_of(inputs, folder, [])
    text = faults_of(inputs, folder, ["T1,19:02"], "unit_id,when")
    assert "column event: required column is missing" in text
    assert "column time: required column is missing" in text
    text = faults_of(inputs, folder, ["T1,full,19:02,,S1", "T1,full,19:22,,S1", "T1,at dump site,19:30,,G5"])
    assert "has no row in which a tanker leaves the dump site ('empty'): nothing can be measured" in text


def test_times_of_day_with_a_point_are_no_minutes(inputs: Inputs, folder: Path) -> None:
    """Two rounds within 20 seconds were measured as 15,652 gpm."""
    events = ("at fill site", "full", "at dump site", "empty")
    said = ("14.00", "14.04", "14.10", "14.13", "14.20", "14.24", "14.30", "14.33")
    rows = [f"T1,{events[at % 4]},{time},,{'S1' if at % 4 < 2 else 'G5'}" for at, time in enumerate(said)]
    assert faults_of(inputs, folder, rows).count("write 14:05 with a colon") == len(said)


def test_a_folder_given_for_the_log_is_told_as_one(inputs: Inputs, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="is a folder; name the file in it"):
        read_drill_log(tmp_path, inputs)


def test_a_third_fill_site_wants_a_log_of_its_own(tmp_path: Path) -> None:
    one = SmallDistrict()
    one.files["fill_sites.csv"] = f"{one.files['fill_sites.csv']!s}S3,Third,draft,-72.01,44.0,500,back,\n"
    inputs = read_inputs(one.write(tmp_path / "mine"))
    rows = [*GOOD, "T2,full,19:20,,S2", "T1,full,19:40,,S3"]
    assert "row 9 (T1), column place: 'S3' is a third fill site" in faults_of(inputs, tmp_path, rows)
    assert log_of(inputs, tmp_path, rows[:-1]).site_ids == ("S1", "S2")


# --------------------------------------------------------------------------- words and spellings


def test_headers_and_spellings_of_other_clipboards_are_read(inputs: Inputs, folder: Path) -> None:
    """In and out with a place, names without their hyphen, AM and PM, generic names of the ends."""
    rows = ["t-1,In,7:02 PM,G5", "T 1,OUT,7:06 PM,g5", "T1,arrived_fill,7:12 pm,", "T1,Left Fill Site,7:16 PM,S1"]
    log = log_of(inputs, folder, [*rows, "T1,arrives,7:22 PM,dump site"], "Tanker,Status,Clock,Location")
    assert [(e.unit_id, e.event, e.minute, e.place) for e in log.events] == [
        ("T1", "at dump site", 0.0, "G5"), ("T1", "empty", 4.0, "G5"), ("T1", "at fill site", 10.0, "S1"),
        ("T1", "full", 14.0, "S1"), ("T1", "at dump site", 20.0, "G5"),
    ]  # fmt: skip
    assert (log.begun, log.date, log.whole_minutes, log.rows) == ("19:02", "", True, 5)


def test_spellings_that_two_names_share_stand_for_neither(tmp_path: Path) -> None:
    """T1 and T-1 are two tankers, and S1 may be a site and an address: only what is written out is taken."""
    one = SmallDistrict()
    one.files["apparatus.csv"] = f"{one.files['apparatus.csv']!s}T-1,H1,tanker,2000,2500\n"
    one.files["addresses.csv"] = str(one.files["addresses.csv"]).replace("G6,", "S1,")
    inputs = read_inputs(one.write(tmp_path / "mine"))
    rows = ["T1,empty,19:02,,G5", "T-1,empty,19:06,,G5"]
    assert log_of(inputs, tmp_path, rows).unit_ids == ("T-1", "T1")
    assert "'t 1' is no unit" in faults_of(inputs, tmp_path, [*rows, "t 1,full,19:12,,S1"])
    assert "'S1' is a fill site and an address_id: write the event out" in faults_of(
        inputs, tmp_path, [*rows, "T1,in,19:12,,S1"]
    )
    assert log_of(inputs, tmp_path, [*rows, "T1,full,19:12,,S1", "E1,full,19:20,,S2"]).site_ids == ("S1",)


def test_every_word_of_the_events_is_known_by_itself() -> None:
    """And every spelling means one of them."""
    for word in (*DUMP_EVENTS, *FILL_EVENTS):
        assert EVENT_WORDS[word] == word
        assert word == word.casefold()


def test_unread_columns_are_noted(inputs: Inputs, folder: Path) -> None:
    log = log_of(inputs, folder, [f"{row},wind" for row in GOOD], f"{HEADER},remarks")
    assert any("remarks" in note for note in log.notes)


# --------------------------------------------------------------------------- times


def test_a_workbook_s_cells_of_time_are_read(inputs: Inputs, tmp_path: Path) -> None:
    """Times, dates with times, and spans over a day, as spreadsheets hold them."""
    for name, start in (("time", dt.time(23, 50)), ("stamp", dt.datetime(2026, 5, 16, 23, 50))):
        book = openpyxl.Workbook()
        sheet = book.active
        assert sheet is not None
        sheet.append(HEADER.split(","))
        begun = dt.datetime.combine(dt.date(2026, 5, 16), start) if isinstance(start, dt.time) else start
        for row, minutes in zip(GOOD[:4], (0, 4, 10, 14), strict=True):
            unit, event, _, _, place = row.split(",")
            at = begun + dt.timedelta(minutes=minutes)
            sheet.append([unit, event, at.time() if name == "time" else at, None, place])
        path = tmp_path / f"{name}.xlsx"
        book.save(path)
        log = read_drill_log(path, inputs)
        assert [event.minute for event in log.events] == pytest.approx([0.0, 4.0, 10.0, 14.0], abs=1e-4), name
        assert log.begun == "23:50"
        assert log.date == ("2026-05-16" if name == "stamp" else "")


@pytest.mark.parametrize(
    ("cells", "minutes"),
    [
        (["23:58", "0:10", "00:02:30"], [0.0, 12.0, 4.5]),
        (["1899-12-31 23:58:00", "1900-01-01 00:10:00"], [0.0, 12.0]),
        (["2026-05-16T23:58", "2026-05-17 00:10"], [0.0, 12.0]),
        (["5/16/2026 11:58 PM", "5/17/2026 12:10 am"], [0.0, 12.0]),
        (["23:50:00", "1 day, 0:10:00"], None),
        (["1 day, 0:10:00", "1 day, 0:15:00"], None),
        (["12.5", "13 min", "840 s"], [12.5, 13.0, 14.0]),
        (["0.79", "0.80"], None),
        (["0915", "0920"], None),
        (["1915", "1920"], None),
        (["9:00", "22:00"], [13 * 60 - 2 * 60 - 0.0, 0.0]),
        (["6:00", "14:00", "22:00"], None),
    ],
)
def test_times_as_they_are_written(cells: list[str], minutes: list[float] | None) -> None:
    """None: a fault stands for at least one of them."""
    times = read_times(cells)
    if minutes is None:
        assert any(times.faults)
    else:
        assert not any(times.faults)
        assert times.minute.tolist() == pytest.approx(minutes)


@given(
    start=st.integers(0, 1439),
    after=st.lists(st.integers(0, int(LONGEST_MIN) - 1), min_size=1, max_size=20),
    how=st.sampled_from(["%H:%M", "%H:%M:00", "%I:%M %p", "2026-05-16 %H:%M"]),
)
def test_times_of_day_are_minutes_from_the_first_however_they_stand(start: int, after: list[int], how: str) -> None:
    """In any order, over any midnight, where less than half a day passes."""
    minutes = [0, *after]
    day = dt.datetime(2026, 5, 16)
    if how.startswith("2026"):
        how = "%Y-%m-%d %H:%M"
    cells = [(day + dt.timedelta(minutes=start + one)).strftime(how) for one in minutes]
    times = read_times(cells[1:] + cells[:1])
    assert not any(times.faults)
    assert times.minute.tolist() == pytest.approx([*minutes[1:], 0])
    assert times.begun == clock(start)
    assert times.whole_minutes


@given(after=st.lists(st.floats(0.0, LONGEST_MIN, allow_nan=False), min_size=2, max_size=20))
def test_minutes_stand_as_they_are_given(after: list[float]) -> None:
    after = [round(one, 4) for one in after]
    times = read_times([f"{one:.4f}" for one in after])
    if max(after) < 1.0 or min(after) > LATEST_START_MIN:
        return
    assert not any(times.faults)
    assert times.minute.tolist() == after
    assert times.begun == ""


@given(cells=st.lists(st.one_of(st.text(max_size=12), st.from_regex(r"\d{1,4}[:.]?\d{0,3}( [ap]m)?", fullmatch=True))))
def test_any_text_is_a_time_or_a_fault(cells: list[str]) -> None:
    """Never both, never neither."""
    times = read_times(cells)
    for cell, minute, fault in zip(cells, times.minute.tolist(), times.faults, strict=True):
        if cell and not fault:
            assert np.isfinite(minute)
            assert 0.0 <= minute <= LONGEST_MIN


@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_any_table_is_a_log_or_its_faults(
    inputs: Inputs, tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    """No cell ends the program; what is read keeps to the district and to time."""
    cell = {
        "unit_id": st.sampled_from(["T1", "T2", "t-3", "E1", "X9", ""]),
        "event": st.sampled_from([*EVENT_WORDS, "?", ""]),
        "time": st.one_of(
            st.sampled_from(["19:02", "19:07", "19:12:30", "23:59", "0:01", "12", ""]),
            st.text("0123456789:. ap", max_size=6),
        ),
        "gallons": st.sampled_from(["", "1800", "0", "-4", "x", "1,800 gal"]),
        "place": st.sampled_from(["", "S1", "S2", "G5", "g5", "dump", "Z"]),
    }
    rows = data.draw(st.lists(st.fixed_dictionaries(cell), min_size=1, max_size=12))
    lines = [",".join(f'"{row[name]}"' for name in HEADER.split(",")) for row in rows]
    folder = tmp_path_factory.mktemp("any")
    try:
        log = log_of(inputs, folder, lines)
    except InputError:
        return
    minutes = [event.minute for event in log.events]
    assert minutes == sorted(minutes)
    assert len(log.events) <= len(rows)
    assert set(log.unit_ids) <= {"T1", "T2", "T3"}
    assert all(event.place in ("S1", "S2") for event in log.events if event.event in FILL_EVENTS)
    assert {event.place for event in log.events if event.event in DUMP_EVENTS} == {"G5"}
