"""A setting as the classical pair of registers holds it, and what such a pair means.

    BTR0   | sjw - 1 (2 bits) | prescaler - 1 (6 bits)           |
    BTR1   | three samples (1) | phase_seg2 - 1 (3) | prop_seg + phase_seg1 - 1 (4) |

The prescaler in BTR0 counts cycles of the clock after the controller's fixed ``pre_divider``: the oldest family
halves its clock first, so that 16 MHz at the pins are an 8 MHz base; later ones do not. Other controllers keep
the same sixteen bits as one register, BTR1 in the upper byte.

Sources: the table of register values for 16 MHz and the two examples of Hartwich and Bassemir 1999; layout from
memory, confirmed by both.
"""

from dataclasses import dataclass
from fractions import Fraction

from busdesign.findings import Refused
from busdesign.wire.bit_timing import Segments, Setting, quanta_for

_SJW, _PRESCALER, _SEGMENT1, _SEGMENT2 = 4, 64, 16, 8  # the largest values: one less is kept, in 2, 6, 4 and 3 bits


@dataclass(frozen=True, slots=True)
class TwoRegisters:
    """BTR0 and BTR1. Raises ValueError unless each is 0..255."""

    btr0: int
    btr1: int

    def __post_init__(self) -> None:
        for name, value in (("BTR0", self.btr0), ("BTR1", self.btr1)):
            if not 0 <= value <= 0xFF:
                nearest = 0 if value < 0 else 0xFF
                raise Refused(f"{name} {value:#x} is not one byte", f"the nearest possible is {nearest:#04x}")

    @classmethod
    def of_word(cls, word: int) -> "TwoRegisters":
        """From the sixteen-bit form. Raises ValueError unless it is 0..65535."""
        if not 0 <= word <= 0xFFFF:
            nearest = 0 if word < 0 else 0xFFFF
            raise Refused(f"register value {word:#x} is not 16 bits", f"the nearest possible is {nearest:#06x}")
        return cls(word & 0xFF, word >> 8)

    @property
    def word(self) -> int:
        return self.btr1 << 8 | self.btr0

    @property
    def three_samples(self) -> bool:
        """Whether the bus is sampled three times, the last at the sample point, and the majority taken."""
        return bool(self.btr1 & 0x80)

    def setting(
        self,
        clock_hz: int | Fraction,
        *,
        pre_divider: int = 1,
        delay_ns: int | Fraction = 0,
        prop_seg: int | None = None,
    ) -> Setting:
        """What the registers mean at ``clock_hz``, the clock before ``pre_divider``.

        They hold prop_seg and phase_seg1 as one sum. prop_seg is the given one; otherwise the fewest quanta that
        cover ``delay_ns`` (one way) there and back, and phase_seg1 what is left of the sum.
        Raises ValueError if nothing would be left, or the setting is none.
        """
        _require_divider(pre_divider)
        prescaler = pre_divider * ((self.btr0 & 0x3F) + 1)
        segment1 = (self.btr1 & 0xF) + 1
        if prop_seg is None:
            prop_seg = quanta_for(delay_ns, clock_hz, prescaler)
        if not 1 <= prop_seg < segment1:
            unit = "quantum" if prop_seg == 1 else "quanta"
            raise Refused(
                f"prop_seg of {prop_seg} {unit} does not fit: the registers hold {segment1} for it and phase_seg1",
                f"the nearest possible is {max(segment1 - 1, 1)}" if segment1 > 1 else "phase_seg1 needs 1 of its own",
            )
        segments = Segments(prop_seg, segment1 - prop_seg, (self.btr1 >> 4 & 0x7) + 1, (self.btr0 >> 6) + 1)
        return Setting(clock_hz, prescaler, segments)


def two_registers(setting: Setting, *, pre_divider: int = 1, three_samples: bool = False) -> TwoRegisters:
    """The registers for ``setting``, whose prescaler counts cycles before ``pre_divider``.

    Raises ValueError if a part does not fit its bits, or the prescaler is no multiple of ``pre_divider``.
    """
    _require_divider(pre_divider)
    prescaler, rest = divmod(setting.prescaler, pre_divider)
    if rest:
        nearest = max(1, round(Fraction(setting.prescaler, pre_divider))) * pre_divider
        raise Refused(
            f"prescaler {setting.prescaler} is no multiple of {pre_divider}, by which the controller divides first",
            f"the nearest possible is {nearest}",
        )
    segment1 = setting.prop_seg + setting.phase_seg1
    for name, value, largest in (
        ("prescaler", setting.prescaler, _PRESCALER * pre_divider),
        ("prop_seg + phase_seg1", segment1, _SEGMENT1),
        ("phase_seg2", setting.phase_seg2, _SEGMENT2),
        ("sjw", setting.sjw, _SJW),
    ):
        if value > largest:
            raise Refused(f"{name} {value} does not fit the two registers", f"the nearest possible is {largest}")
    btr1 = three_samples << 7 | setting.phase_seg2 - 1 << 4 | segment1 - 1
    return TwoRegisters(setting.sjw - 1 << 6 | prescaler - 1, btr1)


def _require_divider(pre_divider: int) -> None:
    if pre_divider < 1:
        raise Refused(f"a clock is not divided by {pre_divider}", "the nearest possible is 1")
