"""Columns of numbers as text for the page's script: little-endian, deflated (RFC 1950), base64.

Bytes are laid out by their place in the number, all lowest ones first: the high ones are mostly alike and pack well.
"""

import base64
import zlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from numpy.typing import NDArray

LEVEL = 6  # of zlib: higher ones took several times as long for a few per cent less


def packed_numbers(values: "NDArray[Any]") -> dict[str, object]:
    """Floats, each as it is."""
    return _packed(values.astype("<f8"), "f64")


def packed_counts(values: "NDArray[Any]", *, ascending: bool = False) -> dict[str, object]:
    """Integers from 0 up, in the fewest bytes that hold all but rare ones; ``ascending`` ones as their distances.

    ``far`` lists what needs more than 32 bits: the index of the value, and the value.
    """
    import numpy as np

    counts = values.astype(np.int64)
    if ascending:
        counts = np.diff(counts, prepend=0)
    beyond = np.flatnonzero(counts >= 2**32)
    far = [[int(index), int(counts[index])] for index in beyond]
    counts[beyond] = 0
    most = int(counts.max(initial=0))
    size = 1 if most < 2**8 else 2 if most < 2**16 else 4
    return {**_packed(counts.astype(f"<u{size}"), f"u{8 * size}"), "far": far, "ascending": ascending}


def _packed(column: "NDArray[Any]", kind: str) -> dict[str, object]:
    by_place = column.view("u1").reshape(len(column), column.itemsize).T.tobytes()
    return {
        "count": len(column),
        "kind": kind,
        "bytes": base64.b64encode(zlib.compress(by_place, LEVEL)).decode("ascii"),
    }
