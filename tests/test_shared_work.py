"""Pieces of work that several processes share: the same answers whoever solves them, and none is lost."""

from __future__ import annotations

import os
import signal
import time
from dataclasses import fields

import numpy as np
import pytest

from preplan.water import timeline_batch
from preplan.water.shared_work import shared, solved
from preplan.water.timeline_batch import GapTable, HeldTable, gaps, held_flows
from tests.bench.bench_timeline import district


def _where(number: int) -> tuple[int, int]:
    """Square a number, slowly, and tell who did."""
    time.sleep(0.05)
    return number * number, os.getpid()


def _only_here(work: tuple[int, int]) -> int:
    """Die in any process but one."""
    number, here = work
    if os.getpid() != here:
        os.kill(os.getpid(), signal.SIGTERM)
    time.sleep(0.01)
    return number


def _refuse(number: int) -> int:
    if number == 3:
        raise ValueError("3 is refused")
    return number


def same(one: int) -> int:
    return one


@pytest.mark.parametrize("processes", [1, 2, 3])
def test_answers_come_in_order_whoever_gives_them(processes: int) -> None:
    with shared(processes):
        answers = solved(_where, range(100), same)
        again = solved(_where, range(2), same)
    assert [square for square, _ in answers] == [n * n for n in range(100)]
    assert [square for square, _ in again] == [0, 1]
    assert len({pid for _, pid in answers}) == processes
    assert {pid for _, pid in solved(_where, range(3), same)} == {os.getpid()}
    assert solved(_where, [], same) == []


def test_what_a_lost_helper_had_is_solved_here() -> None:
    here = os.getpid()
    with shared(2):
        assert solved(_only_here, range(30), lambda number: (number, here)) == list(range(30))
        assert solved(_only_here, range(30), lambda number: (number, here)) == list(range(30))


@pytest.mark.parametrize("processes", [1, 2])
def test_a_failure_comes_through(processes: int) -> None:
    with shared(processes), pytest.raises(ValueError, match="3 is refused"):
        solved(_refuse, range(6), same)


def test_timelines_are_the_same_to_the_last_bit() -> None:
    """A drawn district of 12,000 cases, in one process and in two."""
    table = district(2000, 3)
    alone = held_flows(table), gaps(table)
    with shared(2):
        together = held_flows(table), gaps(table)
    for table_of, one, other in zip((HeldTable, GapTable), alone, together, strict=True):
        for field in fields(table_of):
            assert np.array_equal(getattr(one, field.name), getattr(other, field.name), equal_nan=True), field.name


@pytest.mark.parametrize(("rows", "pieces"), [(1, 1), (4095, 1), (4096, 2), (8192, 2), (8193, 2), (20_000, 4)])
def test_pieces_are_even_in_number_and_size(rows: int, pieces: int) -> None:
    parts = timeline_batch._pieces(np.arange(rows))
    assert len(parts) == pieces
    assert max(len(part) for part in parts) - min(len(part) for part in parts) <= 1
    assert np.concatenate(parts).tolist() == list(range(rows))
