"""The board at one leg: believes the panel's orders, moves the leg between its locks, and says how that goes.

Its rules, in the order of their weight: the motor turns only while the lock is known to be released; without orders,
and after a fault, everything stops and the jack holds (emergency extension is by hand, outside this bus); a leg at a
stop is locked; the motor slows down before the stop. All figures are invented.
"""

from busdesign.catalogue.model import Message
from busdesign.virtual.node import Arrival, Choice, Node, Number

from .undercarriage import DOWN, MOTOR_V_PER_SPEED, SOURCE_V, UP, Leg

LOOK = "10 ms"
LOOK_S = 0.010
WEIGHT_A = {"nose": 3.5, "left": 5.0, "right": 5.0}
STOPS = {"up": UP, "down": DOWN}

FULL_SPEED = 18.0  # %/s
STOP_SPEED = 4.0  # %/s, the most that a stop is meant to take
SLOWING_PER_S = 2.0  # wanted speed for each % that is left
DUTY_PER_SPEED = 0.1  # for each %/s of error
DUTY_PER_S = 2.0  # no faster, so that the motor starts softly

LOCK_LIMIT_S = 0.6
TRAVEL_LIMIT_S = 9.0
CURRENT_LIMIT_A = 45.0
CURRENT_LIMIT_S = 0.1
SAY_AGAIN_LOOKS = 50  # a fault is repeated while it lasts
LEAST_LOOKS_APART = 12  # two fault reports, as the catalogue promises, on a clock that may be fast


class Strut(Node):
    """One of three alike; ``leg`` is nose, left or right, and ``begins`` where it stands at power-up."""

    leg: str
    begins: str = "down"

    order = Choice("stay", "up", "down")  # what it believes
    state = Choice("unknown", "up_locked", "down_locked", "moving", "fault")
    lock = Choice("unknown", "engaged", "released")  # unknown: neither of its switches is closed
    drive = Choice("off", "retract", "extend")
    position = Number("%")
    speed = Number("%/s")
    current_a = Number("A")
    supply_v = Number("V")
    fault = Choice("none", "lock_stuck", "too_slow", "overcurrent", "orders_lost")
    jam = Choice("none", "lock", "stiff", "blocked", settable=True)  # damage, for trying things out

    def begin(self) -> None:
        """Power comes on; where the leg stands is seen at the first look."""
        if self.leg not in WEIGHT_A or self.begins not in STOPS:
            raise ValueError(f"a strut is nose, left or right and begins up or down; found {self.leg}, {self.begins}")
        if self.starts == 1:  # the leg itself stands where it stood
            self.mechanism = Leg(weight_a=WEIGHT_A[self.leg], position=STOPS[self.begins])
        self.trouble = "none"  # a fault of the leg, kept until another order comes
        self.lost = False
        self.lock_late_s = self.driving_s = self.overcurrent_s = 0.0
        self.told, self.looks_since_told = "none", SAY_AGAIN_LOOKS
        self.cycles = 0
        self.published: dict[str, object] = {}
        self.see()
        self.report()
        self.each(LOOK, self.look)
        self.each("500 ms", self.report_supply)

    # Orders come through the gate of the catalogue's ``accept``: good frames only, and what two of three agree on.

    def heard(self, message: Arrival) -> None:
        """An order that is believed; of orders that are lost ``missed`` tells."""
        if not message.is_lost:
            self.believe(self.order_in(str(message["demand"]), str(message["surface"])))

    def order_in(self, demand: str, surface: str) -> str:
        """What the panel's frame orders. An automatic extension counts only if the same frame says that the pilot chose
        land: of the two guards against wheels down on water the panel's is the first, and this is the second.
        """
        if demand == "auto_down":
            return "down" if surface == "land" else "stay"
        return demand

    def power_lost(self) -> None:
        """A dead board drives nothing; the jack holds, and the pin stays where it is."""
        self.stop()
        self.mechanism.speed = 0.0

    def missed(self, message: Message) -> None:
        """The panel is not heard: stop, hold, and say so. What it last ordered is not carried on."""
        self.lost = True
        self.stop()

    def believe(self, order: str) -> None:
        """Take ``order`` over. A new one is also what lets a leg try again after a fault."""
        self.lost = False
        if order != self.order:
            self.order, self.trouble = order, "none"
            self.lock_late_s = self.driving_s = self.overcurrent_s = 0.0

    # The board's duty.

    def look(self) -> None:
        """Every 10 ms: what is, what to do about it, whether it goes as it should."""
        mechanism = self.mechanism
        mechanism.pin_jammed = self.jam == "lock"
        mechanism.stiff_a = 14.0 if self.jam == "stiff" else 0.0
        mechanism.blocked = self.jam == "blocked"
        mechanism.step(LOOK_S)
        self.see()
        self.act()
        self.watch()
        self.report()

    def see(self) -> None:
        """Read the switches and meters."""
        mechanism = self.mechanism
        self.lock = "engaged" if mechanism.pin == 1.0 else "released" if mechanism.pin == 0.0 else "unknown"
        self.position = round(mechanism.position, 2)
        self.speed = round(abs(mechanism.speed), 2)
        self.current_a = round(mechanism.drawn_a, 1)
        self.supply_v = round(mechanism.supply_v, 2)

    def act(self) -> None:
        """Unlock, move, stop, lock: each follows from what is seen now, so a change of mind is no special case."""
        mechanism = self.mechanism
        ordered = "stay" if self.lost or self.trouble != "none" else self.order
        goal = STOPS.get(ordered)
        if goal is None or mechanism.is_at(goal):
            self.stop()
            mechanism.pin_out = not (mechanism.is_at(UP) or mechanism.is_at(DOWN))
            return
        mechanism.pin_out = True
        if self.may_drive():
            self.run_motor(goal)
        else:
            self.stop()

    def may_drive(self) -> bool:
        """Never against a lock that is engaged, nor against one that may be."""
        return bool(self.lock == "released")

    def run_motor(self, goal: float) -> None:
        """Towards ``goal`` at full speed, and ever slower over the last part of the way."""
        mechanism = self.mechanism
        left = goal - mechanism.position
        wanted = min(max(abs(left) * SLOWING_PER_S, STOP_SPEED), FULL_SPEED)
        wanted = wanted if left > 0 else -wanted
        duty = wanted * MOTOR_V_PER_SPEED / SOURCE_V + DUTY_PER_SPEED * (wanted - mechanism.speed)
        most = DUTY_PER_S * LOOK_S
        duty = min(max(duty, mechanism.duty - most), mechanism.duty + most)
        mechanism.duty = min(max(duty, -1.0), 1.0)
        self.drive = "extend" if left > 0 else "retract"

    def stop(self) -> None:
        """Motor off; its shorted winding brakes."""
        self.mechanism.duty = 0.0
        self.drive = "off"

    def watch(self) -> None:
        """What takes too long or draws too much is a fault: it ends the attempt at the next look."""
        mechanism = self.mechanism
        late = self.lock != ("released" if mechanism.pin_out else "engaged")
        self.lock_late_s = self.lock_late_s + LOOK_S if late else 0.0
        self.driving_s = self.driving_s + LOOK_S if self.drive != "off" else 0.0
        over = abs(mechanism.motor_a) > CURRENT_LIMIT_A
        self.overcurrent_s = self.overcurrent_s + LOOK_S if over else 0.0
        if self.lock_late_s > LOCK_LIMIT_S:
            self.trouble = "lock_stuck"
        elif self.driving_s > TRAVEL_LIMIT_S:
            self.trouble = "too_slow"
        elif self.overcurrent_s > CURRENT_LIMIT_S:
            self.trouble = "overcurrent"

    # What it says.

    def report(self) -> None:
        """Where the leg stands, for the next periodic frame; a fault at once."""
        before, self.state = self.state, self.state_now()
        if self.state == "down_locked" and before == "moving":
            self.cycles += 1
        self.fault = "orders_lost" if self.lost and self.trouble == "none" else self.trouble
        seen = {"state": self.state, "lock": self.lock, "drive": self.drive, "position": self.position}
        seen["current"] = min(self.current_a, 60.0)
        if seen != self.published:
            self.publish("leg_report", **seen)
            self.published = seen
        self.looks_since_told += 1
        again = SAY_AGAIN_LOOKS if self.fault == self.told else LEAST_LOOKS_APART
        if self.looks_since_told >= again and (self.fault, self.told) != ("none", "none"):
            self.say("fault_report", fault=self.fault, position=self.position)
            self.told, self.looks_since_told = self.fault, 0

    def state_now(self) -> str:
        """The word for it. Orders lost are no state of the leg: locked stays locked."""
        if self.trouble != "none":
            return "fault"
        if self.lock == "engaged":
            return "up_locked" if self.mechanism.is_at(UP) else "down_locked"
        return "moving"

    def report_supply(self) -> None:
        """Figures for maintenance."""
        temperature = min(self.mechanism.temperature_c, 150.0)
        self.publish("supply_report", voltage=self.supply_v, temperature=temperature, cycles=self.cycles)
