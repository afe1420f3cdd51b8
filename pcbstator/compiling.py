"""Functions in machine code that is kept from run to run.

The only file that imports the compiler; whoever needs it imports it when something runs in time.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import numba

F = TypeVar("F", bound=Callable[..., object])


def compiled(function: F) -> F:
    """The function in machine code, made at its first call.

    The code is kept beside the file of the function, else in the user's own cache folder, and made anew when that file
    changes. Where neither can be written it is made in every process.
    """
    compiler: Any = numba.njit
    options = {"error_model": "numpy", "no_cfunc_wrapper": True}
    try:
        made: F = compiler(cache=True, **options)(function)
    except RuntimeError:  # no folder to keep it in
        made = compiler(**options)(function)
    return made


def compiled_part(function: F) -> F:
    """A function that only compiled ones call: machine code within theirs, without a way in from outside."""
    compiler: Any = numba.njit
    made: F = compiler(error_model="numpy", no_cfunc_wrapper=True, no_cpython_wrapper=True, forceinline=True)(function)
    return made
