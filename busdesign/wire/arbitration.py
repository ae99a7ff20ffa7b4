"""Who wins the bus: one number for each arbitration field.

Source: Bosch CAN Specification 2.0 (1991), part A, "Basic concepts" (arbitration); part B for base and extended
frames on one bus (titles of sections from memory).
"""

from busdesign.wire.frame import require_identifier

_EXTENSION_BITS = 18  # the extended identifier's lower part


def arbitration_key(identifier: int, *, extended: bool = False, remote: bool = False) -> int:
    """The 32 bits that decide arbitration, first sent highest: the smaller key wins the bus.

        base       identifier 11 | RTR | IDE 0 | (decided by now, 0) 19
        extended   base identifier 11 | SRR 1 | IDE 1 | extended identifier 18 | RTR

    So of equal leading 11 bits a base data frame beats a base remote frame, and both beat an extended frame. Two
    frames have equal keys only if identifier, ``extended`` and ``remote`` are equal; they would collide further on.
    An FD frame sends a dominant bit in place of RTR, and has the key of a data frame.

    Raises ValueError if the identifier does not fit 11 bits, or 29 where ``extended``.
    """
    require_identifier(identifier, extended=extended)
    if not extended:
        return identifier << 21 | remote << 20
    leading, trailing = identifier >> _EXTENSION_BITS, identifier & (1 << _EXTENSION_BITS) - 1
    return leading << 21 | 0b11 << 19 | trailing << 1 | remote
