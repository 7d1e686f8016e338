"""Work at once: results in order, faults as they would come one by one, BLAS held and let go."""

from threading import Barrier
from time import perf_counter, sleep

import numpy as np
import pytest
from threadpoolctl import threadpool_info

from thermo.solve import at_once, is_busy, one_blas_thread
from thermo.solve.at_once import AT_ONCE


def blas_threads():
    return [found["num_threads"] for found in threadpool_info() if found["user_api"] == "blas"]


def test_results_come_in_the_order_of_the_items_and_are_told_one_by_one():
    told = []
    assert at_once(lambda x: x**2, range(20), told.append) == [x**2 for x in range(20)]
    assert told == list(range(1, 21))
    assert at_once(lambda x: x, []) == []


def test_as_many_as_allowed_run_at_the_same_time():
    """Each waits until all are there: one by one they would never end."""
    meet = Barrier(AT_ONCE, timeout=20)
    at_once(lambda _: meet.wait(), range(AT_ONCE))
    assert not meet.broken


def test_the_first_fault_in_order_is_raised_and_what_has_not_begun_never_does():
    begun = []

    def work(i):
        begun.append(i)
        if i in (1, 2):
            raise ValueError(f"item {i}")
        sleep(0.01)  # the fault is seen before all of these are done
        return i

    with pytest.raises(ValueError, match="item 1"):
        at_once(work, range(1000))
    assert len(begun) < 1000


def test_blas_is_held_to_one_thread_and_then_let_go():
    np.ones((4, 4)) @ np.ones((4, 4))
    before = blas_threads()
    assert before

    @one_blas_thread()
    def inside():
        return blas_threads()

    assert set(inside()) == {1}
    assert blas_threads() == before


def test_an_interrupt_does_not_wait_for_what_is_under_way():
    """Two seconds of work, interrupted when the first is told; the thread then ends by itself."""

    def stop(_):
        raise KeyboardInterrupt

    start = perf_counter()
    with pytest.raises(KeyboardInterrupt):
        at_once(sleep, [0.01, 2.0, 2.0], stop)
    assert perf_counter() - start < 1.5
    assert is_busy()
    while is_busy():
        sleep(0.05)
