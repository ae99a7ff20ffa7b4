"""A bus outside this process, as far as the program can tell: python-can's registry has it, and it counts."""

import threading
import time
from collections import deque
from collections.abc import Iterator
from typing import Any

import can
import pytest
from can.interfaces import BACKENDS

NAME = "pretend"


class World:
    """What the fake adapters did, and what they are to do."""

    def __init__(self) -> None:
        self.sent: list[can.Message] = []
        self.sent_at_s: list[float] = []
        self.opened: list[dict[str, Any]] = []
        self.coming: deque[can.Message] = deque()
        self.repeats: can.Message | None = None  # comes again and again
        self.open_buses = 0
        self.flushed = 0
        self.state = can.BusState.ACTIVE
        self.fails_to_open: Exception | None = None
        self.fails_to_receive: Exception | None = None
        self.has_no_room = False
        self.on_send: Any = None
        self.lock = threading.Lock()

    def identifiers(self) -> set[int]:
        return {message.arbitration_id for message in self.sent}


WORLD = World()


class PretendBus(can.BusABC):
    """Takes neither listen-only nor anything else that would keep it silent."""

    def __init__(self, channel: Any, **settings: Any) -> None:
        if WORLD.fails_to_open:
            raise WORLD.fails_to_open
        WORLD.opened.append({"channel": channel, **settings})
        WORLD.open_buses += 1
        self.channel_info = f"pretend {channel}"
        self._is_silent = bool(settings.get("listen_only"))
        self._is_closed = False
        super().__init__(channel)

    def send(self, msg: can.Message, timeout: float | None = None) -> None:
        assert not self._is_silent
        if WORLD.has_no_room:
            raise can.CanOperationError("Transmit buffer full")
        WORLD.sent.append(msg)
        WORLD.sent_at_s.append(time.monotonic())
        if WORLD.on_send:
            WORLD.on_send(len(WORLD.sent))

    def _recv_internal(self, timeout: float | None) -> tuple[can.Message | None, bool]:
        if WORLD.fails_to_receive:
            raise WORLD.fails_to_receive
        if WORLD.repeats is not None:
            time.sleep(0.01)
            return WORLD.repeats, False
        with WORLD.lock:
            if WORLD.coming:
                return WORLD.coming.popleft(), False
        time.sleep(timeout or 0)
        return None, False

    def flush_tx_buffer(self) -> None:
        WORLD.flushed += 1

    @property
    def state(self) -> can.BusState:
        return WORLD.state

    @state.setter
    def state(self, new_state: can.BusState) -> None:
        raise NotImplementedError

    def shutdown(self) -> None:
        super().shutdown()
        if not self._is_closed:
            self._is_closed = True
            WORLD.open_buses -= 1


class SilentBus(PretendBus):
    """One that can be put into listen-only."""

    def __init__(self, channel: Any, listen_only: bool = False, **settings: Any) -> None:
        super().__init__(channel, listen_only=listen_only, **settings)


@pytest.fixture
def world(monkeypatch: pytest.MonkeyPatch, tmp_path_factory: pytest.TempPathFactory) -> Iterator[World]:
    """The interfaces ``pretend`` and ``pretend-silent``, and no settings of the user's."""
    WORLD.__init__()  # type: ignore[misc]
    monkeypatch.setitem(BACKENDS, NAME, ("tests.bench.fake_bus", "PretendBus"))
    monkeypatch.setitem(BACKENDS, "pretend-silent", ("tests.bench.fake_bus", "SilentBus"))
    monkeypatch.setitem(BACKENDS, "pretend-driver", ("tests.bench.no_such_driver", "Bus"))
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path_factory.mktemp("config")))
    monkeypatch.setattr("sys.platform", "linux")
    yield WORLD
    assert WORLD.open_buses == 0, "a bus was left open"
