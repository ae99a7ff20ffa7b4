"""Published numbers of the two wires (ISO 11898-2): levels, terminations, cable, delays; each with its source.

A status says how far a number can be trusted: ``confirmed`` (read in the document named), ``cross-checked``,
``from memory``, ``common practice, no source`` or ``own model`` (ours; no document says it).
"""

from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True, slots=True)
class Source:
    """Where a rule or a number comes from, and how far that was checked."""

    text: str
    status: str

    def __str__(self) -> str:
        return f"{self.text} ({self.status})"


LEVELS = Source("ISO 11898-2, as quoted in the TI SN55HVD233 data sheets", "confirmed")
DOMINANT_V_MIN = Fraction(3, 2)  # LEVELS: a driver's differential voltage into 60 ohm
DOMINANT_V_MAX = Fraction(3)  # LEVELS
DRIVER_LOAD_OHM = 60  # LEVELS
DOMINANT_ABOVE_V = Fraction(9, 10)  # LEVELS: receivers take more for dominant ...
RECESSIVE_BELOW_V = Fraction(1, 2)  # ... and less for recessive
RECESSIVE_BIAS_V_MIN = 2  # LEVELS: an undriven wire against its node's ground
RECESSIVE_BIAS_V_MAX = 3
COMMON_MODE_V_MIN = -2  # LEVELS; the older edition
COMMON_MODE_V_MAX = 7
WIDE_COMMON_MODE = Source("ISO 11898-2:2016, asked of receivers", "from memory")
WIDE_COMMON_MODE_V = 12  # either way

DRIVER_MODEL = Source("a voltage behind 40 ohm that gives the stated voltage at the stated load", "own model")
DRIVER_OUTPUT_OHM = 40  # DRIVER_MODEL: 3 V at 60 ohm (confirmed) and 5 V at no load (ISO 11898-2:2016, from memory)
LEAST_LOAD = Source("transceiver data sheets: driver voltage stated for loads of 50 to 65 ohm", "from memory")
LEAST_LOAD_OHM = 50  # LEAST_LOAD

LEVEL_RESERVE = Source("CiA 303-1: threshold plus a fifth of what the driver gives above it", "from memory")
RESERVED_THRESHOLD_V = 1  # its parameters are confirmed (a device manual)
RESERVED_PART = Fraction(1, 5)
INPUT_OHM_MIN = 20_000  # differential, between the wires: same manual; also the parameter of its table of lengths
TABLE_TERMINATION_OHM = 118  # same manual

TERMINATION = Source("ISO 11898-2, as quoted in a hardware manual", "confirmed")
TERMINATION_OHM = 120  # TERMINATION
TERMINATION_OHM_MIN = 108  # TERMINATION; the standard itself has 118 .. 130, later 100 .. 130 (from memory)
TERMINATION_OHM_MAX = 132

CABLE = Source("ISO 11898, as quoted in two device manuals", "confirmed")
CABLE_DELAY_NS_PER_M = 5  # CABLE
CABLE_OHM_PER_M = Fraction(70, 1000)  # CABLE: one conductor
CABLE_IMPEDANCE_OHM = 120  # CABLE: 95 .. 140

LOOP_DELAY = Source("Microchip DS70005340A (2018): transmit input to receive output", "confirmed")
LOOP_DELAY_NS_MAX = 255  # LOOP_DELAY
PROPAGATION = Source(
    "propagation segment at least 2 (transceiver delay + line delay): Hartwich and Bassemir, 6th iCC, Turin 1999",
    "confirmed in two chip manuals",
)
