"""Answers that are asked again: the same as those that are worked out, and never those of another case."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields

import numpy as np
import pytest

from preplan.water import timeline_batch, timeline_memory
from preplan.water.timeline_batch import GapTable, HeldTable, gaps, held_flows
from preplan.water.timeline_memory import Memory, memory_of, remembering
from preplan.water.timeline_table import CaseTable
from tests.bench.bench_timeline import district


@pytest.fixture
def solved_rows(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Count the cases that are worked out, batch by batch."""
    counts: list[int] = []
    whole = timeline_batch._solved

    def counted(table: CaseTable, solve: object, rows: np.ndarray) -> object:
        counts.append(rows.size)
        return whole(table, solve, rows)  # type: ignore[arg-type]

    monkeypatch.setattr(timeline_batch, "_solved", counted)
    return counts


Asks = Callable[[CaseTable], HeldTable | GapTable]


def assert_equal(some: HeldTable | GapTable, others: HeldTable | GapTable) -> None:
    """Hold every bit."""
    for one in fields(some):
        np.testing.assert_array_equal(getattr(some, one.name), getattr(others, one.name), err_msg=one.name)


@pytest.mark.parametrize("ask", [held_flows, gaps])
def test_what_is_asked_again_is_told_without_being_worked_out(ask: Asks, solved_rows: list[int]) -> None:
    """Batches overlap, their rows come in another order and more than once."""
    table = district(60, 7)
    rng = np.random.default_rng(7)
    picks = [rng.integers(0, 60, 40) for _ in range(6)]
    plain = [ask(table.rows(pick)) for pick in picks]
    assert sum(solved_rows) > 120
    solved_rows.clear()
    with remembering():
        told = [ask(table.rows(pick)) for pick in picks]
        memory = memory_of(type(told[0]))
        assert memory is not None
        assert len(memory) == sum(solved_rows) == np.unique(np.concatenate(picks)).size
    for some, others in zip(told, plain, strict=True):
        assert_equal(some, others)
    assert memory_of(type(told[0])) is None


def test_a_case_that_differs_in_one_number_is_another_case(solved_rows: list[int]) -> None:
    table = district(20, 7)
    with remembering():
        before = held_flows(table).uninterrupted_gpm
        for word in ("out_min", "usable_gal"):
            column = getattr(table, word)
            column[3, 0] = np.nextafter(column[3, 0], np.inf)
            held_flows(table)
        assert solved_rows[1:] == [1, 1]
        table.usable_gal[3] /= 2.0
        assert held_flows(table).uninterrupted_gpm[3] < before[3]


def test_an_answer_that_was_given_can_be_changed_without_changing_what_is_known() -> None:
    table = district(5, 7)
    with remembering():
        first = held_flows(table).uninterrupted_gpm
        kept = first.copy()
        first[:] = -1.0
        assert held_flows(table).uninterrupted_gpm.tolist() == kept.tolist()


def test_one_inside_another_shares_what_that_knows(solved_rows: list[int]) -> None:
    table = district(10, 7)
    with remembering():
        with remembering():
            gaps(table)
        gaps(table)
    assert len(solved_rows) == 1


def test_no_more_is_kept_than_there_is_room_for(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(timeline_memory, "MOST_KEPT", 100)
    memory: Memory[HeldTable] = Memory()
    table = held_flows(district(15, 7))
    keys = [b"%d" % number for number in range(90)]
    memory.keep(keys[:60], table.rows(slice(0, 60)))
    assert memory.find(keys).tolist() == [*range(60), *[-1] * 30]
    memory.keep(keys[60:], table.rows(slice(60, 90)))
    assert len(memory) == 90
    assert_equal(memory.take(memory.find(keys), HeldTable), table)
    more = [b"x%d" % number for number in range(90)]
    memory.keep(more, table)
    assert len(memory) == 90
    assert (memory.find(keys) == -1).all()
    assert_equal(memory.take(memory.find(more), HeldTable), table)
