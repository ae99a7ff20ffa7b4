"""The panel: the pilot's switch and landing selector, a lamp for each leg, the horn, and the automatic extension.

Common practice on a land aeroplane, no source: green = down and locked, red = moving or not where it should be, dark =
up and locked. That is ``lamps: landplane``. An amphibian cannot afford dark to mean safe for water, so the invented
Saltmarsh has ``lamps: amphibian``: each lamp answers one question, whether its leg is where the chosen landing wants
it. Green = down for land, blue = up for water, red = neither, or moving, or not heard of for ``lost_after``. Dark means
that the lamp itself is dead.

The landing selector is a pair of buttons that forget at power-off: until the pilot has chosen, nothing is armed and no
lamp reassures. All speeds are invented.
"""

from busdesign.catalogue.model import Message
from busdesign.virtual.node import Arrival, Choice, Flag, Node, Number

LOOK = "20 ms"
LEGS = ("nose", "left", "right")
WANTED = {"land": "down_locked", "water": "up_locked"}
FAULTS = ("none", "lock_stuck", "too_slow", "overcurrent", "orders_lost")

ARMS_ABOVE_KT = 70.0
HORN_BELOW_KT = 70.0
EXTENDS_BELOW_KT = 65.0


def amphibian_lamp(state: str, surface: str, order: str) -> str:
    """The colour for a leg's reported ``state`` (``silent`` if it is not heard) on the Saltmarsh."""
    if state != WANTED.get(surface):
        return "red"
    return "green" if state == "down_locked" else "blue"


def landplane_lamp(state: str, surface: str, order: str) -> str:
    """The same on a land aeroplane, where what the switch orders is where a leg should be."""
    if state == "down_locked" and order != "up":
        return "green"
    if state == "up_locked" and order in ("up", "stay"):
        return "dark"
    return "red"


LAMPS = {"amphibian": amphibian_lamp, "landplane": landplane_lamp}


class Panel(Node):
    """``lamps`` is amphibian or landplane."""

    lamps: str = "amphibian"

    switch = Choice("stay", "up", "down", settable=True)
    selector = Choice("unset", "land", "water", settable=True)
    lamp_nose = Choice("red", "green", "blue", "dark")
    lamp_left = Choice("red", "green", "blue", "dark")
    lamp_right = Choice("red", "green", "blue", "dark")
    horn = Flag()
    armed = Flag()  # the automatic extension would act
    order = Choice("stay", "up", "down", "auto_down")
    legs_heard = Number()
    caution = Choice(*FAULTS)  # the first leg's fault in the order of LEGS
    dead_lamp = Choice("none", *LEGS, settable=True)

    def begin(self) -> None:
        """Power comes on: no leg heard, no airspeed, no choice made."""
        if self.lamps not in LAMPS:
            raise ValueError(f"lamps are {' or '.join(LAMPS)}, found {self.lamps}")
        self.states = dict.fromkeys(LEGS, "silent")
        self.faults = dict.fromkeys(LEGS, "none")
        self.airspeed_kt: float | None = None
        self.is_airspeed_lost = False
        self.seen_switch = self.switch
        self.was_fast = self.is_extending = False
        self.look()
        self.each(LOOK, self.look)

    def power_lost(self) -> None:
        """A dead panel lights nothing and sounds nothing."""
        self.lamp_nose = self.lamp_left = self.lamp_right = "dark"
        self.horn = self.armed = False

    def heard(self, message: Arrival) -> None:
        """A report: lamps change at the next look."""
        if message.family == "leg_report":
            self.states[leg_of(message.sender)] = str(message["state"])
        elif message.family == "fault_report":
            self.faults[leg_of(message.sender)] = str(message["fault"])
        elif message.name == "air_data_report":
            self.airspeed_kt = float(message["airspeed"]) if message["valid"] else None
            self.is_airspeed_lost = self.airspeed_kt is None

    def missed(self, message: Message) -> None:
        """Silence: of a leg, red at once; of the air data, no airspeed."""
        if message.family == "leg_report":
            self.states[leg_of(message.sender)] = "silent"
        else:
            self.airspeed_kt, self.is_airspeed_lost = None, True
        self.look()

    def look(self) -> None:
        """Every 20 ms: read switch and selector, order, show, warn."""
        self.watch_automatic()
        self.order = "auto_down" if self.is_extending else self.switch
        self.publish("leg_demand", demand=self.order, surface=self.selector)
        shown = {leg: self.lamp(leg) for leg in LEGS}
        self.lamp_nose, self.lamp_left, self.lamp_right = shown.values()
        self.sound_horn()
        self.legs_heard = sum(state != "silent" for state in self.states.values())
        self.caution = next((fault for fault in self.faults.values() if fault != "none"), "none")
        lit = {f"lamp_{leg}": colour for leg, colour in shown.items()}
        self.publish("lamp_report", **lit, horn=int(self.horn), armed=int(self.armed))

    def watch_automatic(self) -> None:
        """Extend by itself when slow, if land was chosen by hand. Lasts until the switch is moved or land unchosen.

        A hand on the switch comes first: it ends the automatic, which arms again only once flown faster than
        ``ARMS_ABOVE_KT``. So it does not fight the pilot who retracts at low speed after taking off.
        """
        if self.switch != self.seen_switch:
            self.seen_switch, self.was_fast, self.is_extending = self.switch, False, False
        if self.airspeed_kt is not None and self.airspeed_kt > ARMS_ABOVE_KT:
            self.was_fast = True
        if not self.may_extend():
            self.is_extending = False
        self.armed = self.may_extend() and self.was_fast and self.airspeed_kt is not None and self.switch != "down"
        if self.armed and self.is_slow_enough():
            self.is_extending = True

    def may_extend(self) -> bool:
        """Only a positive choice of land arms: wheels down on water overturn the aeroplane."""
        return bool(self.selector == "land")

    def is_slow_enough(self) -> bool:
        """To extend by itself; not if the airspeed is not known."""
        return self.airspeed_kt is not None and self.airspeed_kt < EXTENDS_BELOW_KT

    def lamp(self, leg: str) -> str:
        """What the eye sees; the panel measures each lamp's current, so it reports a dead one too."""
        if self.dead_lamp == leg:
            return "dark"
        return LAMPS[self.lamps](self.states[leg], self.selector, self.switch if not self.is_extending else "down")

    def sound_horn(self) -> None:
        """Slow, and a leg is not where the landing wants it. Without airspeed it warns: it cannot rule that out.

        Height has no say, since an altimeter set wrong must not silence the horn.
        """
        wanted = "down_locked" if self.lamps == "landplane" else WANTED.get(self.selector)
        is_slow = self.is_airspeed_lost if self.airspeed_kt is None else self.airspeed_kt < HORN_BELOW_KT
        self.horn = is_slow and any(state != wanted for state in self.states.values())


def leg_of(node: str) -> str:
    """``strut_left`` → left."""
    return node.removeprefix("strut_")
