"""Independent solves at once, each on one thread.

The matrices of a layered stack are many and small.  A BLAS that shares every one of them out among
threads takes longer than on one thread, so it is held to one, and whole solves run at once.
"""

import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from typing import TypeVar

from threadpoolctl import threadpool_limits

In = TypeVar("In")
Out = TypeVar("Out")
NAME = "solve"
AT_ONCE = 2  # more hardly gain: Python's lock and the memory's bandwidth are shared


@contextmanager
def one_blas_thread() -> Iterator[None]:
    """Hold BLAS to one thread, all over the process; as a decorator too, `@one_blas_thread()`."""
    with threadpool_limits(1, user_api="blas"):
        yield


@contextmanager
def _threads(count: int) -> Iterator[ThreadPoolExecutor]:
    """Threads that a fault waits for and an interrupt does not; neither begins anything new.

    The interpreter itself waits for them when it ends: see `is_busy`.
    """
    pool = ThreadPoolExecutor(count, thread_name_prefix=NAME)
    try:
        yield pool
    except BaseException as error:
        pool.shutdown(wait=isinstance(error, Exception), cancel_futures=True)
        raise
    pool.shutdown()


def is_busy() -> bool:
    """Whether a solve that was interrupted still runs on a thread of its own."""
    return any(thread.name.startswith(NAME) for thread in threading.enumerate())


def at_once(
    work: Callable[[In], Out], items: Sequence[In], tell: Callable[[int], None] = lambda _: None
) -> list[Out]:
    """work(item) of every item in their order, some at once; tell(done) after each in that order.

    work : must not change anything that another call reads
    Raises what `work` raises first in that order.
    """
    found = []
    with _threads(AT_ONCE) as pool:
        for done, out in enumerate(
            pool.map(work, items) if len(items) > 1 else map(work, items), 1
        ):
            found.append(out)
            tell(done)
    return found
