"""One leg of the Saltmarsh as a mechanism: a screw jack, its motor, one lock pin, and the wire that feeds them.

The Saltmarsh does not exist and every figure here is invented. The shape of the physics is the textbook's: a
direct-current motor (voltage = current * resistance + speed * motor constant) moves a mass against weight and friction.

Position runs from 0 (up) to 100 (down), in percent of the travel; speeds and forces are positive towards down. Forces
are given as the motor current that would balance them, so that no lever arm needs inventing. The jack holds by itself:
its friction is greater than the weight, and a motor that is off is shorted, which brakes. One pin enters a hole at
either stop. Not modelled: airloads, the winding's inductance, cold grease, and the sag that one leg causes at another's
board.
"""

from dataclasses import dataclass
from math import copysign, exp

UP, DOWN = 0.0, 100.0
AT_STOP = 0.3  # %, how near a stop the end switch closes and the pin finds its hole

SOURCE_V = 28.0
WIRE_OHM = 0.06  # from the source to this board and back
BOARD_A = 0.2  # the board itself

WINDING_OHM = 0.45
MOTOR_V_PER_SPEED = 1.25  # V for each %/s
MASS = 0.3  # A for each %/s² of acceleration
FRICTION_A = 7.0
PIN_TRAVEL_S = 0.18
PIN_A = 1.5  # the lock's actuator, while the pin moves

AMBIENT_C = 15.0
HEAT_C_PER_J = 0.02
COOLING_S = 90.0


@dataclass(slots=True)
class Leg:
    """The state of one leg, and how it changes in a step of time.

    The board sets ``duty`` (-1 retract at full voltage to +1 extend) and ``pin_out``; nothing else drives it.
    ``weight_a`` pulls towards down, most when the leg lies flat. ``pin_jammed``, ``stiff_a`` (more friction) and
    ``blocked`` are damage.
    """

    weight_a: float
    position: float = DOWN
    speed: float = 0.0  # %/s
    pin: float = 1.0  # 1 all in, 0 all out
    duty: float = 0.0
    pin_out: bool = False  # what the lock's actuator is told
    motor_a: float = 0.0
    drawn_a: float = BOARD_A  # from the supply
    supply_v: float = SOURCE_V - WIRE_OHM * BOARD_A
    temperature_c: float = AMBIENT_C
    pin_jammed: bool = False
    stiff_a: float = 0.0
    blocked: bool = False

    def step(self, step_s: float) -> None:
        """Let ``step_s`` seconds pass under what the board has set."""
        pin_a = self._move_pin(step_s)
        self._feed(pin_a + BOARD_A)
        self._move_leg(step_s)
        heat = self.motor_a * self.motor_a * WINDING_OHM * HEAT_C_PER_J
        self.temperature_c += (heat - (self.temperature_c - AMBIENT_C) / COOLING_S) * step_s

    def is_at(self, stop: float) -> bool:
        """Whether the end switch of that stop is closed."""
        return abs(self.position - stop) <= AT_STOP

    @property
    def locked(self) -> bool:
        """Whether the pin, however little of it, holds the leg."""
        return self.pin > 0.0 and (self.is_at(UP) or self.is_at(DOWN))

    def _move_pin(self, step_s: float) -> float:
        """Move the pin; the current its actuator takes. It goes in only where there is a hole."""
        aim = 0.0 if self.pin_out else 1.0
        if self.pin == aim:
            return 0.0
        has_hole = self.is_at(UP) or self.is_at(DOWN)
        if not self.pin_jammed and (self.pin_out or (has_hole and self.speed == 0.0)):
            travel = step_s / PIN_TRAVEL_S
            self.pin = max(0.0, self.pin - travel) if self.pin_out else min(1.0, self.pin + travel)
        return PIN_A

    def _feed(self, others_a: float) -> None:
        """Currents and the voltage left at the board: a chopper passes on ``duty`` of both."""
        duty, emf = self.duty, MOTOR_V_PER_SPEED * self.speed
        source = SOURCE_V - WIRE_OHM * (others_a - duty * emf / WINDING_OHM)
        self.supply_v = source / (1.0 + WIRE_OHM * duty * duty / WINDING_OHM)
        self.motor_a = (duty * self.supply_v - emf) / WINDING_OHM
        if duty * self.motor_a < 0.0:  # braking: the current stays in the bridge
            self.supply_v = SOURCE_V - WIRE_OHM * others_a
            self.motor_a = (duty * self.supply_v - emf) / WINDING_OHM
        self.drawn_a = max(0.0, duty * self.motor_a) + others_a

    def _move_leg(self, step_s: float) -> None:
        if self.locked or self.blocked:
            self.speed = 0.0
            return
        pull_a = self.weight_a * (1.0 - (self.position / DOWN) ** 2)
        drive_a = self.duty * self.supply_v / WINDING_OHM + pull_a  # at standstill
        friction_a = FRICTION_A + self.stiff_a
        if self.speed == 0.0 and abs(drive_a) <= friction_a:
            return
        way = copysign(1.0, self.speed or drive_a)
        # The equation of motion is linear within a step: speed falls off exponentially towards where it would settle.
        settled = (drive_a - way * friction_a) * WINDING_OHM / MOTOR_V_PER_SPEED
        kept = exp(-step_s * MOTOR_V_PER_SPEED / (MASS * WINDING_OHM))
        speed = settled + (self.speed - settled) * kept
        if speed * way < 0.0:  # friction stops, it does not turn round
            speed = 0.0
        self.position += 0.5 * (self.speed + speed) * step_s
        self.speed = speed
        if not UP <= self.position <= DOWN:
            self.position = min(max(self.position, UP), DOWN)
            self.speed = 0.0
