"""Functions in machine code that is kept from run to run, and records that they take.

The only file that imports the compiler; whoever needs it imports it when something runs in time.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar, cast, get_type_hints

import numba
import numpy as np
from numpy.typing import NDArray

F = TypeVar("F", bound=Callable[..., object])
T = TypeVar("T")


def compiled(function: F) -> F:
    """The function in machine code, made at its first call.

    The code is kept beside the file of the function, else in the user's own cache folder, and made anew when that file
    changes. Where neither can be written it is made in every process.
    """
    options = {"error_model": "numpy", "no_cfunc_wrapper": True}
    try:
        made: F = numba.njit(cache=True, **options)(function)
    except RuntimeError:  # no folder to keep it in
        made = numba.njit(**options)(function)
    return made


def compiled_part(function: F) -> F:
    """A function that only compiled ones call: machine code within theirs, without a way in from outside."""
    made: F = numba.njit(error_model="numpy", no_cfunc_wrapper=True, no_cpython_wrapper=True)(function)
    return made


def blank_records(kind: type[T], count: int) -> NDArray[np.void]:
    """Records with the fields of a class, all zero, as compiled functions take them."""
    return np.zeros(count, np.dtype(list(get_type_hints(kind).items()))).view(np.recarray)


def blank_record(kind: type[T]) -> T:
    """One such record."""
    return cast(T, blank_records(kind, 1)[0])
