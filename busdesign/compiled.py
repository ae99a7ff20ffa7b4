"""One decorator for hot loops: compiled by numba, kept on disk where the disk allows it.

numba refuses ``cache=True`` with a RuntimeError when neither the package's folder nor a cache folder of the user
can be written (a read-only installation, a locked-down bench computer). Then the loop is compiled anew in each process.
"""

from collections.abc import Callable
from typing import Any, TypeVar, cast

Loop = TypeVar("Loop", bound=Callable[..., Any])


def compiled(loop: Loop) -> Loop:
    """Compile ``loop`` (nogil, cached if possible). Import the module that uses this only where a long loop runs."""
    import numba

    compile_loop: Any = numba.njit
    try:
        made = compile_loop(cache=True, nogil=True)(loop)
    except RuntimeError:
        made = compile_loop(nogil=True)(loop)
    return cast(Loop, made)
