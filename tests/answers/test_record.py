"""Record: what is kept, the same audit as the file's, what is said of silence, a lone board."""

import os
import signal
import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import can
import pytest

from busdesign.answers.audit import audit
from busdesign.answers.record import RecordAnswer, record
from busdesign.answers.replay import Manners, replay
from busdesign.bench.listening import LONE_FRAMES, LoneBoard, Stop
from busdesign.bench.recording import Counts
from busdesign.errors import InterfaceError, OutputError
from busdesign.traffic.files import read_traffic
from tests.answers.test_replay import folder as folder
from tests.bench.fake_bus import World
from tests.bench.fake_bus import world as world

S = 10**9


def fill(world: World, count: int = 400, jump_at: int | None = None) -> None:
    """What the three boards of the test's catalogue say, 20 ms a round, on the adapter's clock."""
    source = read_traffic("run.log").traffic
    for turn in range(count):
        row = turn % len(source)
        at_s = 1000 + (turn // 3) * 0.02 + (turn % 3) * 0.001 + (0.5 if jump_at and turn >= jump_at else 0)
        message = can.Message(
            arbitration_id=int(source.identifier[row]), is_extended_id=False, data=source.data(row), timestamp=at_s
        )
        world.coming.append(message)


def test_what_comes_is_kept_and_audited_as_the_file_would_be(folder: Path, world: World) -> None:
    fill(world, jump_at=200)
    counted: list[int] = []

    def told(counts: Counts) -> None:
        counted.append(counts.frames)

    found = record("pretend:can0", "got.log", catalogue="bench.yaml", for_ns=2 * S, told=told)
    assert (found.frames, found.identifiers, found.unknown, found.ended) == (400, 3, 0, "time")
    assert counted[-1] == 400
    again = audit("got.log", "bench.yaml")
    assert found.audit is not None
    assert found.audit.findings == again.findings
    assert "gone-silent" in {one.rule for one in again.findings}
    assert [message.period_ms for message in found.audit.messages] == [message.period_ms for message in again.messages]
    assert (found.holds, again.holds) == (False, False)
    assert world.sent == []


def test_without_a_catalogue_it_is_only_kept(folder: Path, world: World) -> None:
    fill(world, 30)
    found = record("pretend:can0", "got.pcapng", for_ns=S // 2)
    assert (found.holds, found.audit, found.unknown, found.frames) == (True, None, None, 30)
    assert len(read_traffic("got.pcapng").traffic) == 30


def test_what_is_said_of_silence(folder: Path, world: World) -> None:
    def kept(interface: str, file: str) -> RecordAnswer:
        return record(interface, file, for_ns=S // 20, bit_rate_bit_s=125_000)

    proved, unproved = kept("pretend-silent:can0", "a.log"), kept("pretend:can0", "b.log")
    assert (proved.silent, unproved.silent) == (True, None)
    assert "it may acknowledge" in unproved.about_silence
    assert world.opened[0]["listen_only"] is True
    assert [opened["receive_own_messages"] for opened in world.opened] == [False, False]
    assert {opened["bitrate"] for opened in world.opened} == {125_000}
    assert kept("virtual:test", "c.log").silent is True
    assert world.sent == []


def test_ctrl_c_is_an_end_like_another(folder: Path, world: World) -> None:
    fill(world)
    threading.Timer(0.5, lambda: os.kill(os.getpid(), signal.SIGINT)).start()
    found = record("pretend:can0", "got.log", catalogue="bench.yaml")
    assert (found.ended, found.frames) == ("interrupted", 400)
    assert found.audit is not None
    assert len(read_traffic("got.log").traffic) == 400
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler


def test_an_adapter_that_breaks_leaves_what_came(folder: Path, world: World) -> None:
    fill(world, 60)

    def unplug() -> None:
        world.fails_to_receive = OSError("No such device")

    threading.Timer(0.5, unplug).start()
    found = record("pretend:can0", "got.log", catalogue="bench.yaml", for_ns=20 * S)
    assert (found.ended, found.holds, found.frames) == ("failed", False, 60)
    assert found.findings[0].rule == "interface-lost"
    assert len(read_traffic("got.log").traffic) == 60


@pytest.mark.parametrize("catalogue", [None, "bench.yaml"])
def test_nothing_comes(folder: Path, world: World, catalogue: str | None) -> None:
    found = record("pretend:can0", "got.csv", catalogue=catalogue, for_ns=S // 10)
    assert (found.holds, [one.rule for one in found.findings]) == (False, ["nothing-heard"])
    assert len(read_traffic("got.csv").traffic) == 0


def test_a_foreign_bus(folder: Path, world: World) -> None:
    world.coming.extend(can.Message(arbitration_id=0x700 + n % 9, is_extended_id=False) for n in range(30))
    found = record("pretend:can0", "got.log", catalogue="bench.yaml", for_ns=S // 2)
    assert (found.holds, found.unknown) == (False, 30)
    assert [one.rule for one in found.findings] == ["capture-foreign"]


def test_error_and_fd_frames(folder: Path, world: World) -> None:
    fill(world, 9)
    world.coming.append(can.Message(arbitration_id=0x88, is_error_frame=True, timestamp=1001))
    world.coming.append(can.Message(arbitration_id=0x88, is_fd=True, timestamp=1001))
    found = record("pretend:can0", "got.log", for_ns=S // 2)
    assert (found.frames, found.error_frames, found.fd_frames) == (9, 1, 1)


def test_it_never_writes_over_a_file(folder: Path, world: World) -> None:
    with pytest.raises(OutputError, match="already"):
        record("pretend:can0", "run.log", for_ns=S)


@pytest.mark.parametrize("interface", ["nothing:can0", "pretend", "pretend:", "simulated", "pretend-driver:x"])
def test_an_interface_that_is_none(folder: Path, world: World, interface: str) -> None:
    with pytest.raises(InterfaceError):
        record(interface, "got.log", for_ns=S)
    assert not Path("got.log").exists()


def repeated(count: int, apart_ns: int) -> Iterator[tuple[int, int, int, int, int, int]]:
    return ((turn * apart_ns, 0x210, 0, 1, 0, 7) for turn in range(count))


@pytest.mark.parametrize(
    ("count", "apart_ns", "is_seen"),
    [
        (LONE_FRAMES, 65 * 4000, True),
        (LONE_FRAMES - 1, 65 * 4000, False),
        (500, (65 + 15) * 4000, True),
        (500, 1_000_000, False),
        (500, 20_000_000, False),
    ],
)
def test_a_lone_board(count: int, apart_ns: int, is_seen: bool) -> None:
    board = LoneBoard(250_000)
    for row in repeated(count, apart_ns):
        board.take(row)
    assert board.is_seen is is_seen


def test_a_burst_of_different_frames_is_no_lone_board() -> None:
    board = LoneBoard(250_000)
    for turn, row in enumerate(repeated(500, 65 * 4000)):
        board.take((*row[:5], turn % 2))
    assert not board.is_seen


def test_a_lone_board_is_explained(folder: Path, world: World) -> None:
    for turn in range(200):
        at_s = 1000 + turn * 80 * 4e-6
        world.coming.append(can.Message(arbitration_id=0x210, is_extended_id=False, data=b"\x07", timestamp=at_s))
    found = record("pretend:can0", "got.log", catalogue="bench.yaml", for_ns=S // 2)
    lone = next(one for one in found.findings if one.rule == "lone-board")
    assert "0x210 came 200 times back to back" in lone.text
    assert not found.holds


def test_a_replay_is_recorded_in_the_same_process(folder: Path, world: World) -> None:
    stop = Stop()
    found: list[RecordAnswer] = []
    listener = threading.Thread(target=lambda: found.append(record("virtual:both", "got.log", stop=stop)))
    listener.start()
    time.sleep(0.2)
    assert replay("run.log", "virtual:both", manners=replace(Manners(), stop=Stop())).holds
    time.sleep(0.1)
    stop.because("time")
    listener.join()
    assert found[0].frames == 30
