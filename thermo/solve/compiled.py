"""How a loop is compiled, and the types of what it runs over."""

from collections.abc import Callable
from typing import Any, ParamSpec, TypeVar, cast

import numpy as np
from numba import njit
from numpy.typing import NDArray

QUICK = {"contract", "arcp", "nsz"}  # multiply-add in one step; nan stays nan
Args = ParamSpec("Args")
Out = TypeVar("Out")
Values = NDArray[Any]  # real or complex, single or double
Index = NDArray[np.int32]


def compiled(loop: Callable[Args, Out]) -> Callable[Args, Out]:
    """The loop compiled when first called, kept on disk for the next run where there is room."""
    try:
        made = njit(cache=True, fastmath=QUICK, nogil=True)(loop)
    except RuntimeError:  # no folder that can be written
        made = njit(fastmath=QUICK, nogil=True)(loop)
    return cast(Callable[Args, Out], made)
