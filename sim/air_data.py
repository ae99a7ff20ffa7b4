"""The air-data board: airspeed and height, or that it has none. The aeroplane behind it flies in straight lines.

All figures are invented, the rates too brisk for comfort so that a scenario stays short.
"""

from busdesign.virtual.node import Flag, Node, Number

LOOK = "50 ms"
LOOK_S = 0.050
KNOTS_PER_S = 5.0
FEET_PER_S = 25.0


class AirData(Node):
    """A scenario sets what is flown towards; ``airspeed`` and ``height`` follow at a steady rate."""

    first_airspeed: float = 80.0
    first_height: float = 1000.0

    airspeed = Number("kt")
    height = Number("ft")
    airspeed_wanted = Number("kt", initial=-1.0, settable=True)  # below zero: go on as now
    height_wanted = Number("ft", initial=-9999.0, settable=True)
    probe_blocked = Flag(settable=True)

    def begin(self) -> None:
        """Power comes on in the air, at the settings."""
        self.airspeed = float(self.first_airspeed)
        self.height = float(self.first_height)
        self.report()
        self.each(LOOK, self.look)

    def look(self) -> None:
        """Fly on a little, and report."""
        if self.airspeed_wanted >= 0.0:
            self.airspeed = towards(self.airspeed_wanted, self.airspeed, KNOTS_PER_S * LOOK_S)
        if self.height_wanted > -9999.0:
            self.height = towards(self.height_wanted, self.height, FEET_PER_S * LOOK_S)
        self.report()

    def report(self) -> None:
        """The true values while the probe is open; what a blocked one says is marked as worth nothing."""
        valid = 0 if self.probe_blocked else 1
        self.publish("air_data_report", airspeed=self.airspeed * valid, height=self.height, valid=valid)


def towards(goal: float, value: float, most: float) -> float:
    """``value``, moved to ``goal`` by at most ``most``."""
    return min(max(goal, value - most), value + most)
