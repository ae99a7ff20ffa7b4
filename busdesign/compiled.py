"""One decorator for hot loops: compiled by numba, kept on disk where the disk allows it.

numba refuses ``cache=True`` with a RuntimeError when neither the package's folder nor a cache folder of the user
can be written (a read-only installation, a locked-down bench computer). Then the loop is compiled anew in each process.
"""

from collections.abc import Callable
from typing import Any, TypeVar, cast

Loop = TypeVar("Loop", bound=Callable[..., Any])


def compiled(loop: Loop) -> Loop:
    """Compile ``loop`` (nogil, cached if possible). Import the module that uses this only where a long loop runs."""
    return _compiled(loop)


def compiled_in_place(loop: Loop) -> Loop:
    """As ``compiled``, for a few steps within a hot loop: they become part of it, without a call."""
    return _compiled(loop, forceinline=True)


def compiled_within(loop: Loop) -> Loop:
    """As ``compiled``, for what only compiled loops call, and what makes no arrays of its own.

    It has no way in from Python, and counts no references to the arrays that it is handed: a third of the compiling
    and a quarter of the running of a loop that calls small functions.
    """
    return _compiled(loop, no_cpython_wrapper=True, no_cfunc_wrapper=True, _nrt=False)


def compiled_in_lanes(loop: Loop) -> Loop:
    """As ``compiled``, but sums of floats may be taken in any order, and nothing tests for a division by zero.

    Only for floats that hold whole numbers below 2 to the 53rd, whose sums are exact in any order.
    """
    return _compiled(loop, fastmath={"reassoc"}, error_model="numpy")


def _compiled(loop: Loop, **options: Any) -> Loop:
    import numba

    compile_loop: Any = numba.njit
    try:
        made = compile_loop(cache=True, nogil=True, **options)(loop)
    except RuntimeError:
        made = compile_loop(nogil=True, **options)(loop)
    return cast(Loop, made)
