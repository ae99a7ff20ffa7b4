"""Interfaces to a bus, by the names that python-can has for them, and how one is opened."""

import errno
import inspect
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from busdesign.errors import InterfaceError
from busdesign.findings import Finding, Severity, did_you_mean, printable, shown

if TYPE_CHECKING:
    import can

IN_PROCESS = "virtual"
SIMULATED = "simulated"  # kept for recorded neighbours around simulated nodes

# What keeps an adapter from acknowledging and transmitting, as the constructors of python-can 4.6 take it.
_SILENT: Mapping[str, Mapping[str, Any]] = {
    "slcan": {"listen_only": True},
    "vector": {"listen_only": True},
    "nixnet": {"listen_only": True},
    "cantact": {"monitor": True},
    "kvaser": {"driver_mode": False},  # its DRIVER_MODE_SILENT
    "seeedstudio": {"operation_mode": "silent"},
}


@dataclass(frozen=True, slots=True, order=True)
class Interface:
    """One channel of one of python-can's interfaces, such as ``socketcan:can0``."""

    name: str
    channel: str

    def __str__(self) -> str:
        return f"{self.name}:{self.channel}"


def interface_error(rule: str, text: str, fix: str = "") -> InterfaceError:
    """A finding about an interface, to be raised."""
    return InterfaceError([Finding(rule, Severity.ERROR, None, printable(text), printable(fix))])


def read_interface(written: str) -> Interface:
    """``INTERFACE:CHANNEL`` as typed. Raises InterfaceError if python-can has no interface of that name."""
    from can.interfaces import BACKENDS

    name, colon, channel = written.partition(":")
    if name == SIMULATED:
        text = "recorded frames cannot go onto the simulated bus yet"
        raise interface_error("interface-unknown", text, f"`{IN_PROCESS}:NAME` is a bus inside this process")
    if name not in BACKENDS:
        text = f"python-can has no interface {shown(name)}"
        raise interface_error("interface-unknown", text, did_you_mean(name, sorted(BACKENDS)))
    if not colon or not channel.strip() or not channel.isprintable():
        text = f"{shown(written)} names no channel"
        raise interface_error("interface-unknown", text, f"write `INTERFACE:CHANNEL`, such as `{name}:can0`")
    return Interface(name, channel)


def is_in_process(interface: Interface) -> bool:
    """Whether nothing outside this process can hear it: python-can's own ``virtual``, and no plugin of that name."""
    from can.interfaces.virtual import VirtualBus

    return interface.name == IN_PROCESS and _bus_class(interface) is VirtualBus


def takes_silence(interface: Interface) -> Mapping[str, Any] | None:
    """What to hand to its constructor so that it neither acknowledges nor transmits; None if nothing is known to."""
    if is_in_process(interface):
        return {}
    if interface.name == "pcan":
        from can import BusState

        return {"state": BusState.PASSIVE}
    if interface.name in _SILENT:
        return _SILENT[interface.name]
    known = inspect.signature(_bus_class(interface).__init__).parameters
    return {"listen_only": True} if "listen_only" in known else None


def open_interface(interface: Interface, bit_rate_bit_s: int | None = None, **more: Any) -> "can.BusABC":
    """The bus behind ``interface``; ``more`` goes to its constructor. Configuration files have no say in it.

    Raises InterfaceError: driver not installed, no such channel, channel busy.
    """
    import can

    settings: dict[str, Any] = {} if bit_rate_bit_s is None or is_in_process(interface) else {"bitrate": bit_rate_bit_s}
    try:
        return can.Bus(interface=interface.name, channel=interface.channel, ignore_config=True, **settings, **more)
    except can.CanInterfaceNotImplementedError as reason:
        raise _no_driver(interface, reason) from reason
    except Exception as reason:  # of whatever kind an adapter's library has
        raise _unavailable(interface, reason) from reason


def _bus_class(interface: Interface) -> Any:
    from importlib import import_module

    from can.interfaces import BACKENDS

    module, name = BACKENDS[interface.name]
    try:
        return getattr(import_module(module), name)
    except Exception as reason:
        raise _no_driver(interface, reason) from reason


def _no_driver(interface: Interface, reason: Exception) -> InterfaceError:
    text = f"the driver of `{interface.name}` cannot be loaded: {reason}"
    fix = f"install what python-can asks for, such as `pip install 'python-can[{interface.name}]'`, or the maker's"
    return interface_error("interface-driver", text, f"{fix} driver")


def _unavailable(interface: Interface, reason: Exception) -> InterfaceError:
    said = str(reason) or type(reason).__name__
    number = getattr(reason, "errno", None)
    fix = "is it plugged in, named rightly, and does this user have the right to use it?"
    if number == errno.EBUSY or "busy" in said.lower() or "in use" in said.lower():
        fix = "another program holds it: end that one first"
    elif number == errno.ENODEV:
        fix = (
            f"`ip link show` lists the channels; `ip link set {interface.channel} up type can bitrate RATE` starts one"
        )
    elif number == errno.ENETDOWN:
        fix = f"the channel is down: `ip link set {interface.channel} up type can bitrate RATE`"
    return interface_error("interface-unavailable", f"`{interface}` cannot be opened: {said}", fix)
