"""Replay: what goes out, changed how, and every way around the gate before a bus outside this process."""

import os
import signal
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import can
import pytest
from can.interfaces import BACKENDS

from busdesign.answers.replay import Manners, ReplayAnswer, replay
from busdesign.bench.gate import Permission, admit_in_process, open_to_send
from busdesign.bench.gate_interface import Interface
from busdesign.bench.replay_choice import Asked
from busdesign.catalogue.codec import MessageCodec
from busdesign.catalogue.reader import read_catalogue
from busdesign.errors import CaptureError, InterfaceError, OutputError
from busdesign.findings import Refused
from busdesign.traffic.files import read_traffic, write_traffic
from busdesign.traffic.frames import Traffic
from busdesign.wire.flags import ERROR, EXTENDED, REMOTE
from tests.bench.fake_bus import World
from tests.bench.fake_bus import world as world

MS = 1_000_000
CATALOGUE = """\
catalogue: bench
bus: {bit_rate: 250 kbit/s, load_limit: 60 %}
nodes: {panel: {}, left: {}, right: {}}
codes:
  order: {0: stay, 1: up, 2: down}
messages:
  demand:
    id: 0x110
    from: panel
    to: [left, right]
    every: 20 ms
    lost_after: 100 ms
    moves: true
    accept: {good_frames: 2 of 3, when_lost: safe}
    signals:
      order:   {bits: 2, codes: order, safe: stay}
      counter: {bits: 4, counts: 1}
      check:   {bits: 8, crc: crc8-j1850}
  report:
    for_each: {leg: [left, right], id: [0x210, 0x211], from: [left, right]}
    to: panel
    every: 20 ms
    lost_after: 100 ms
    signals: {position: {bits: 8}}
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Ten rounds of the three messages, 20 ms apart, in the working folder."""
    monkeypatch.chdir(tmp_path)
    Path("bench.yaml").write_text(CATALOGUE)
    codec = MessageCodec(read_catalogue("bench.yaml").message("demand"))
    rows = []
    for turn in range(10):
        at_ns = 5 * MS + turn * 20 * MS
        rows.append((at_ns, 0x110, 0, 2, 0, int.from_bytes(codec.encode({"order": "up"}, turn + 3), "little")))
        rows.append((at_ns + MS, 0x210, 0, 1, 0, turn))
        rows.append((at_ns + 2 * MS, 0x211, 0, 1, 0, turn))
    write_traffic(Traffic.of_rows(rows), "run.log")
    return tmp_path


def onto_virtual(record: str = "got.log", pace: str = "10x", **asked: Any) -> tuple[ReplayAnswer, Traffic]:
    Path(record).unlink(missing_ok=True)
    found = replay("run.log", "virtual:test", Asked(**asked), Manners(record=record), catalogue="bench.yaml", pace=pace)
    return found, read_traffic(record).traffic


def rule_of(call: Callable[[], object]) -> str:
    with pytest.raises(InterfaceError) as refused:
        call()
    return refused.value.findings[0].rule


# What goes out


def test_all_of_it_in_order_and_at_its_pace(folder: Path) -> None:
    found, seen = onto_virtual(pace="recorded")
    recorded = read_traffic("run.log").traffic
    assert (found.holds, found.frames_sent, found.recorded_frames) == (True, 30, 30)
    for name in ("identifier", "flags", "length", "payload"):
        assert getattr(seen, name).tolist() == getattr(recorded, name).tolist()
    assert found.duration_s == pytest.approx(0.182, abs=0.05)
    assert found.lateness is not None
    assert found.lateness.frames == 30
    assert 0 <= found.lateness.median_us <= found.lateness.p99_us <= found.lateness.worst_us


@pytest.mark.parametrize(
    ("pace", "least_s", "most_s"), [("2x", 0.091, 0.15), ("0.5x", 0.364, 0.6), ("flat-out", 0, 0.05)]
)
def test_the_pace(folder: Path, pace: str, least_s: float, most_s: float) -> None:
    found, _ = onto_virtual(pace=pace)
    assert found.holds
    assert least_s <= found.duration_s <= most_s
    assert (found.lateness is None) == (pace == "flat-out")


def test_step_by_step_until_somebody_has_enough(folder: Path) -> None:
    shown: list[str] = []

    def step(text: str) -> bool:
        shown.append(text)
        return len(shown) <= 4

    found = replay("run.log", "virtual:test", Asked(), Manners(step=step), pace="step")
    assert (found.frames_sent, found.ended, found.holds) == (4, "interrupted", False)
    assert shown[1] == "210#00"
    assert rule_of(lambda: replay("run.log", "virtual:test", pace="step")) == "transmit-unconfirmed"


@pytest.mark.parametrize("pace", ["fast", "0x", "-1x", "x", "2", "2 x", "1e9x", "99999x", ""])
def test_no_pace(folder: Path, pace: str) -> None:
    with pytest.raises(Refused):
        replay("run.log", "virtual:test", pace=pace)


@pytest.mark.parametrize(
    ("asked", "identifiers"),
    [
        ({"without": ["left"]}, {0x110, 0x211}),
        ({"without": ["report"]}, {0x110}),
        ({"only": ["demand"]}, {0x110}),
        ({"only": ["left", "0x211"]}, {0x210, 0x211}),
        ({"only": ["left", "right"], "without": ["report_right"]}, {0x210}),
        ({"rename": ["demand=0x111"]}, {0x111, 0x210, 0x211}),
        ({"rename": ["0x210=0x18FF0010"]}, {0x110, 0x18FF0010, 0x211}),
        ({"rename": ["0x210=0x211", "0x211=0x210"]}, {0x110, 0x211, 0x210}),
    ],
)
def test_the_choice(folder: Path, asked: dict[str, Any], identifiers: set[int]) -> None:
    found, seen = onto_virtual(**asked)
    assert found.holds
    assert set(seen.identifier.tolist()) == identifiers
    wide = seen.flags[seen.identifier > 0x7FF]
    assert set(wide.tolist()) <= {EXTENDED}


@pytest.mark.parametrize(
    ("asked", "rule"),
    [
        ({"without": ["lefd"]}, "replay-name"),
        ({"only": ["0xZZ"]}, "replay-name"),
        ({"only": ["0x3FFFFFFF"]}, "replay-name"),
        ({"rename": ["demand"]}, "replay-name"),
        ({"rename": ["report=0x300"]}, "replay-name"),
        ({"rename": ["demand=0x210"]}, "replay-name"),
        ({"rename": ["0x110=0x300", "0x210=0x300"]}, "replay-name"),
        ({"values": ["demand.order=sideways"]}, "replay-value"),
        ({"values": ["demand.ordr=up"]}, "replay-value"),
        ({"values": ["demand.counter=3"]}, "replay-value"),
        ({"values": ["demand.check=3"]}, "replay-value"),
        ({"values": ["demand=3"]}, "replay-value"),
        ({"values": ["demnd.order=up"]}, "replay-name"),
        ({"values": ["report_left.position=256"]}, "replay-value"),
        ({"final": ["demand.order=sideways"]}, "replay-value"),
        ({"final": ["demand.order=stay", "report_left.position=1"]}, "replay-value"),
        ({"only": ["0x111"]}, "replay-empty"),
        ({"between_ns": (10**9, 2 * 10**9)}, "replay-empty"),
    ],
)
def test_a_choice_that_cannot_be(folder: Path, asked: dict[str, Any], rule: str) -> None:
    def call() -> object:
        return replay("run.log", "virtual:test", Asked(**asked), Manners(record="got.log"), catalogue="bench.yaml")

    assert rule_of(call) == rule
    assert not Path("got.log").exists()


def test_a_value_with_counter_and_check_mended(folder: Path) -> None:
    found, seen = onto_virtual(values=["demand.order=down"], times=3)
    codec = MessageCodec(read_catalogue("bench.yaml").message("demand"))
    demands = [seen.data(row) for row in range(len(seen)) if seen.identifier[row] == 0x110]
    assert len(demands) == 30
    assert all(codec.check_holds(data) for data in demands)
    assert {codec.decode(data)["order"] for data in demands} == {"down"}
    assert [codec.decode(data)["counter"] for data in demands] == [(3 + turn) % 16 for turn in range(30)]
    assert found.notices == ()


def test_several_times_as_recorded_says_that_counters_jump(folder: Path) -> None:
    found, seen = onto_virtual(times=2)
    assert (found.frames_planned, len(seen)) == (60, 60)
    assert ["demand" in notice for notice in found.notices] == [True]
    found, _ = onto_virtual(times=2, mend=True)
    assert found.notices == ()


def test_between_two_moments(folder: Path) -> None:
    found, seen = onto_virtual(pace="recorded", between_ns=(45 * MS, 105 * MS))
    assert seen.payload[seen.identifier == 0x210].tolist() == [2, 3, 4]
    assert found.duration_s == pytest.approx(0.042, abs=0.03)


def test_frames_of_another_length_are_not_overridden_in_silence(folder: Path) -> None:
    write_traffic(Traffic.of_rows([(0, 0x110, 0, 1, 0, 3)]), "run.csv")
    asked = Asked(values=["demand.order=up"])
    assert rule_of(lambda: replay("run.csv", "virtual:x", asked, catalogue="bench.yaml")) == "replay-value"


def test_error_frames_are_left_out_and_remote_ones_go(folder: Path) -> None:
    write_traffic(Traffic.of_rows([(0, 0x80, ERROR, 0, 0, 0), (9, 0x110, REMOTE, 2, 0, 0)]), "run.log")
    found, seen = onto_virtual()
    assert (seen.flags.tolist(), seen.length.tolist()) == ([REMOTE], [2])
    assert "1 error frame left out" in found.notices[0]


def test_several_channels_are_not_mixed(folder: Path) -> None:
    write_traffic(Traffic.of_rows([(0, 1, 0, 0, 0, 0), (9, 2, 0, 0, 1, 0)], ("a", "b")), "two.log")
    with pytest.raises(CaptureError, match="several channels"):
        replay("two.log", "virtual:test")
    assert replay("two.log", "virtual:test", channel="b").frames_sent == 1


def test_a_final_demand_goes_on_from_the_last_one(folder: Path) -> None:
    found, seen = onto_virtual(final=["demand.order=stay"])
    codec = MessageCodec(read_catalogue("bench.yaml").message("demand"))
    last = [codec.decode(seen.data(row)) for row in range(len(seen)) if seen.identifier[row] == 0x110]
    assert (found.final_frames, found.frames_sent) == (3, 30)
    assert [(values["order"], values["counter"]) for values in last[-4:]] == [
        ("up", 12),
        ("stay", 13),
        ("stay", 14),
        ("stay", 15),
    ]
    assert all(codec.check_holds(seen.data(len(seen) - 1 - back)) for back in range(3))


# The gate


def yes(text: str, wanted: str) -> str:
    return wanted + "\n"


def onto_real(
    asked: Asked | None = None, onto: str = "pretend:can0", *, catalogue: str | None = "bench.yaml", **manners: Any
) -> ReplayAnswer:
    settings = {"transmit": True, "confirm": yes, **manners}
    return replay("run.log", onto, asked, Manners(**settings), catalogue=catalogue)


def test_a_confirmed_replay_is_sent(folder: Path, world: World) -> None:
    asked: list[tuple[str, str]] = []

    def confirm(text: str, wanted: str) -> str:
        assert world.opened == [], "nothing is opened before the answer"
        asked.append((text, wanted))
        return wanted

    found = onto_real(Asked(final=["demand.order=stay"]), confirm=confirm)
    assert (found.holds, found.permission, found.frames_sent, found.final_frames) == (True, "confirmed", 30, 3)
    assert len(world.sent) == 33
    ((text, wanted),) = asked
    assert wanted == "pretend:can0"
    for part in (
        "pretend:can0 at 250 kbit/s: 30 frames",
        "demand: 10 frames, heard by left, right",
        "demand: lost after 100 ms; left, right take order = stay (`when_lost: safe`)",
        "report_left: lost after 100 ms; panel: the catalogue does not say what they do",
        "`demand` with order = stay is sent 3 times",
        "(limit 60.0 %)",
        "design aid",
        "not certified",
        "evidence of airworthiness",
        "clear of landing gear",
        "on jacks",
        "Emergency extension must be independent",
        "Local codes, the responsible authority and licensed practice decide",
    ):
        assert part in text, part


def test_what_is_renamed_moves_what_its_new_name_moves(folder: Path, world: World) -> None:
    asked: list[str] = []

    def confirm(text: str, wanted: str) -> str:
        asked.append(text)
        return wanted

    onto_real(Asked(only=["left", "right"], rename=["report_left=0x110", "report_right=0x7F0"]), confirm=confirm)
    assert "these MOVE METAL (`moves: true` in the catalogue):\n  demand: 10 frames, heard by left, right" in asked[0]
    assert "nothing is known of 10 frames beside" in asked[0]
    onto_real(Asked(only=["left"]), confirm=confirm)
    assert "marks none of them as moving metal" in asked[1]
    onto_real(Asked(only=["left"], final=["demand.order=stay"]), confirm=confirm)
    assert "demand: 0 frames, heard by left, right" in asked[2]


@pytest.mark.parametrize("answer", ["", "\n", "y", "yes", "pretend:can1", "PRETEND:CAN0", "pretend", "can0", None])
def test_another_answer_sends_nothing(folder: Path, world: World, answer: str | None) -> None:
    assert rule_of(lambda: onto_real(confirm=lambda text, wanted: answer)) == "transmit-unconfirmed"
    assert (world.sent, world.opened) == ([], [])


def test_without_the_word_nobody_is_even_asked(folder: Path, world: World) -> None:
    def confirm(text: str, wanted: str) -> str:
        raise AssertionError

    assert rule_of(lambda: onto_real(transmit=False, confirm=confirm)) == "transmit-unasked"
    assert world.opened == []


def test_nobody_to_ask(folder: Path, world: World) -> None:
    assert rule_of(lambda: onto_real(confirm=None)) == "transmit-unconfirmed"
    assert world.opened == []


def test_no_catalogue(folder: Path, world: World) -> None:
    assert rule_of(lambda: onto_real(catalogue=None)) == "transmit-catalogue"


def test_ctrl_c_at_the_prompt(folder: Path, world: World) -> None:
    def confirm(text: str, wanted: str) -> str:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        onto_real(confirm=confirm)
    assert (world.sent, world.opened) == ([], [])


def test_a_plugin_that_calls_itself_virtual_is_a_real_bus(
    folder: Path, world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(BACKENDS, "virtual", ("tests.bench.fake_bus", "PretendBus"))
    assert rule_of(lambda: replay("run.log", "virtual:x", catalogue="bench.yaml")) == "transmit-unasked"
    assert rule_of(lambda: admit_in_process(Interface("virtual", "x"))) == "transmit-unasked"
    assert world.opened == []


def test_a_bus_that_turns_into_another_after_it_was_admitted(
    folder: Path, world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    permission = admit_in_process(Interface("virtual", "x"))
    monkeypatch.setitem(BACKENDS, "virtual", ("tests.bench.fake_bus", "PretendBus"))
    assert rule_of(lambda: open_to_send(permission, None, echo=False)) == "transmit-unasked"
    assert world.sent == []


@pytest.mark.parametrize("onto", ["Virtual:x", " virtual:x", "virtual :x", "virtual", "virtual:", "nothing:x", "", ":"])
def test_what_only_looks_like_the_bus_inside(folder: Path, world: World, onto: str) -> None:
    assert rule_of(lambda: replay("run.log", onto)) == "interface-unknown"


def test_the_environment_and_files_of_python_can_have_no_say(
    folder: Path, world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("CAN_INTERFACE", "pretend")
    monkeypatch.setenv("CAN_CHANNEL", "can0")
    monkeypatch.setenv("CAN_CONFIG", '{"interface": "pretend", "channel": "can0"}')
    monkeypatch.setenv("HOME", str(folder))
    for name in ("can.conf", ".canrc", "can.ini"):
        Path(name).write_text("[default]\ninterface = pretend\nchannel = can0\n")
    assert replay("run.log", "virtual:x", pace="flat-out").holds
    assert world.opened == []


def test_a_permission_cannot_be_made_by_hand_nor_used_elsewhere(world: World) -> None:
    with pytest.raises(ValueError, match="admit"):
        Permission(object(), Interface("pretend", "can0"), "confirmed")
    assert rule_of(lambda: admit_in_process(Interface("pretend", "can0"))) == "transmit-unasked"


def settings(text: str) -> None:
    file = Path(os.environ["XDG_CONFIG_HOME"], "busdesign", "settings.yaml")
    file.parent.mkdir(exist_ok=True)
    file.write_text(text)


def test_a_bench_safe_interface_needs_the_word_but_no_answer(folder: Path, world: World) -> None:
    settings("bench_safe: ['pretend:can0']\n")
    told: list[str] = []
    found = onto_real(confirm=None, tell=told.append)
    assert (found.holds, found.permission) == (True, "bench-safe")
    assert "demand: 10 frames" in told[0]
    assert rule_of(lambda: onto_real(transmit=False)) == "transmit-unasked"
    assert rule_of(lambda: onto_real(onto="pretend:can1", confirm=None)) == "transmit-unconfirmed"
    assert rule_of(lambda: onto_real(onto="pretend-silent:can0", confirm=None)) == "transmit-unconfirmed"


@pytest.mark.parametrize(
    "text",
    [
        "bench_safe: ['pretend:*']",
        "bench_safe: ['*']",
        "bench_safe: ['pretend:can?']",
        "bench_safe: ['pretend']",
        "bench_safe: pretend:can0",
        "bench_safe: [pretend]",
        "bench_save: ['pretend:can0']",
        "bench_safe: true",
        "bench_safe: ['pretend:can0', 3]",
        "- pretend:can0",
        "bench_safe: [",
        "{}\n\x00",
    ],
)
def test_settings_that_are_wrong_open_nothing(folder: Path, world: World, text: str) -> None:
    settings(text)
    with pytest.raises(InterfaceError) as refused:
        onto_real(confirm=None)
    assert refused.value.findings[0].where is not None
    assert world.opened == []


def test_a_project_cannot_bring_settings_along(folder: Path, world: World) -> None:
    for name in ("settings.yaml", "busdesign/settings.yaml", ".config/busdesign/settings.yaml"):
        Path(name).parent.mkdir(parents=True, exist_ok=True)
        Path(name).write_text("bench_safe: ['pretend:can0']\n")
    assert rule_of(lambda: onto_real(confirm=None)) == "transmit-unconfirmed"


# Before and while it sends


def frame(identifier: int, **more: Any) -> can.Message:
    settings: dict[str, Any] = {"is_extended_id": False, "data": b"\x01", "timestamp": 1.0, **more}
    return can.Message(arbitration_id=identifier, **settings)


def test_it_listens_first_for_at_least_the_longest_period(folder: Path, world: World) -> None:
    began_s = time.monotonic()
    onto_real()
    assert world.sent_at_s[0] - began_s >= 0.5
    edited = CATALOGUE.replace(
        "every: 20 ms\n    lost_after: 100 ms\n    signals: {position", "every: 700 ms\n    signals: {position"
    )
    Path("bench.yaml").write_text(edited)
    world.sent_at_s.clear()
    began_s = time.monotonic()
    onto_real()
    assert world.sent_at_s[0] - began_s >= 0.77


@pytest.mark.parametrize("onto", ["pretend:can0", "pretend-silent:can0"])
def test_a_foreign_sender_of_one_of_them_keeps_all_back(folder: Path, world: World, onto: str) -> None:
    world.coming.append(frame(0x210))
    with pytest.raises(InterfaceError, match="already sends 0x210") as refused:
        onto_real(onto=onto)
    assert "--without left" in refused.value.findings[0].fix
    assert world.sent == []
    world.coming.append(frame(0x210))
    assert onto_real(Asked(without=["left"]), onto=onto).holds
    assert 0x210 not in world.identifiers()


def test_the_same_number_of_the_other_width_is_no_such_sender(folder: Path, world: World) -> None:
    world.coming.append(frame(0x210, is_extended_id=True))
    assert onto_real().holds


def test_the_final_demands_identifier_counts_too(folder: Path, world: World) -> None:
    world.coming.append(frame(0x110))
    asked = Asked(only=["report"], final=["demand.order=stay"])
    assert rule_of(lambda: onto_real(asked)) == "foreign-sender"


def test_a_renamed_identifier_is_the_one_that_counts(folder: Path, world: World) -> None:
    world.coming.append(frame(0x111))
    assert rule_of(lambda: onto_real(Asked(rename=["demand=0x111"]))) == "foreign-sender"


def test_listening_is_silent_where_it_can_be(folder: Path, world: World) -> None:
    onto_real(onto="pretend-silent:can0")
    assert [opened["listen_only"] for opened in world.opened] == [True, False]
    assert {opened["bitrate"] for opened in world.opened} == {250_000}


def test_a_foreign_sender_that_wakes_up_later_stops_it(folder: Path, world: World) -> None:
    world.on_send = lambda count: world.coming.append(frame(0x211)) if count == 6 else None
    found = onto_real(Asked(final=["demand.order=stay"]))
    assert (found.ended, found.holds, found.findings[0].rule) == ("foreign-sender", False, "foreign-sender")
    assert len(world.sent) < 15
    assert (world.flushed, found.flushed, found.final_frames) == (1, True, 0)


def test_bus_off_by_state_or_error_frame_stops_it(folder: Path, world: World) -> None:
    def off(count: int) -> None:
        if count == 6:
            world.state = can.BusState.ERROR

    world.on_send = off
    found = onto_real(Asked(final=["demand.order=stay"]))
    assert (found.ended, found.findings[0].rule, found.final_frames) == ("bus-off", "bus-off", 0)
    assert len(world.sent) < 15
    world.sent.clear()
    world.state = can.BusState.ACTIVE
    world.on_send = lambda count: world.coming.append(frame(0x40, is_error_frame=True)) if count == 6 else None
    assert onto_real().ended == "bus-off"
    assert len(world.sent) < 15


def test_ctrl_c_stops_it_within_a_tenth_of_a_second(folder: Path, world: World) -> None:
    pressed_s: list[float] = []

    def press(count: int) -> None:
        if count == 6:
            pressed_s.append(time.monotonic())
            os.kill(os.getpid(), signal.SIGINT)

    world.on_send = press
    found = onto_real(Asked(times=100, final=["demand.order=stay"]))
    assert (found.ended, found.holds, world.flushed) == ("interrupted", False, 1)
    recorded = world.sent[: found.frames_sent]
    assert world.sent_at_s[len(recorded) - 1] - pressed_s[0] < 0.1
    codec = MessageCodec(read_catalogue("bench.yaml").message("demand"))
    last = world.sent[found.frames_sent :]
    assert [codec.decode(bytes(message.data))["order"] for message in last] == ["stay"] * 3
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler


def test_ctrl_c_while_it_listens_sends_nothing(folder: Path, world: World) -> None:
    threading.Timer(0.2, lambda: os.kill(os.getpid(), signal.SIGINT)).start()
    found = onto_real(Asked(final=["demand.order=stay"]))
    assert (found.ended, found.frames_sent, found.final_frames, world.sent) == ("interrupted", 0, 0, [])


def test_an_adapter_that_takes_nothing_ends_it(folder: Path, world: World) -> None:
    world.has_no_room = True
    found = onto_real()
    assert (found.ended, found.frames_sent) == ("failed", 0)
    assert found.held_up > 10
    assert found.findings[0].rule == "interface-lost"


def test_an_adapter_that_breaks_ends_it(folder: Path, world: World) -> None:
    def unplug(count: int) -> None:
        if count == 6:
            world.fails_to_receive = OSError("No such device")

    world.on_send = unplug
    found = onto_real()
    assert (found.ended, found.findings[0].rule) == ("failed", "interface-lost")
    assert len(world.sent) < 20


def test_a_file_that_cannot_be_written_on_stops_it_in_order(
    folder: Path, world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OutputError("cannot record: no space left")

    monkeypatch.setattr("busdesign.traffic.recorder.Recorder.add", full)
    world.on_send = lambda count: world.coming.append(frame(0x400)) if count == 3 else None
    found = onto_real(Asked(final=["demand.order=stay"]), record="seen.log")
    assert (found.ended, found.final_frames, found.findings[0].rule) == ("file-failed", 3, "cannot-write")
    assert "no space left" in found.findings[0].text


def test_the_load_limit(folder: Path, world: World) -> None:
    def call(pace: str) -> ReplayAnswer:
        manners = Manners(transmit=True, confirm=yes)
        return replay("run.log", "pretend:can0", Asked(times=50), manners, catalogue="bench.yaml", pace=pace)

    assert rule_of(lambda: call("100x")) == "load-limit"
    assert world.opened == []
    assert call("10x").holds


def test_the_load_of_others_counts_too(folder: Path, world: World) -> None:
    world.coming.extend(frame(0x400, data=bytes(8)) for _ in range(600))
    assert rule_of(onto_real) == "load-limit"
    assert world.sent == []


def test_flat_out_keeps_to_the_limit(folder: Path, world: World) -> None:
    found = replay(
        "run.log",
        "pretend:can0",
        Asked(times=20),
        Manners(transmit=True, confirm=yes),
        catalogue="bench.yaml",
        pace="flat-out",
    )
    assert (found.holds, found.frames_sent) == (True, 600)
    bits = sum(47 + 8 * message.dlc for message in world.sent)  # without stuff bits, so at least
    assert bits / found.duration_s < 250_000 * 0.6


@pytest.mark.parametrize(
    ("error", "rule", "hint"),
    [
        (OSError(19, "No such device"), "interface-unavailable", "ip link"),
        (OSError(16, "Device or resource busy"), "interface-unavailable", "another program"),
        (OSError(100, "Network is down"), "interface-unavailable", "is down"),
        (can.CanInitializationError("already in use"), "interface-unavailable", "another program"),
        (can.CanInterfaceNotImplementedError("no library"), "interface-driver", "install"),
        (ValueError("channel"), "interface-unavailable", "plugged in"),
    ],
)
def test_an_interface_that_cannot_be_opened(folder: Path, world: World, error: Exception, rule: str, hint: str) -> None:
    world.fails_to_open = error
    with pytest.raises(InterfaceError) as refused:
        onto_real()
    assert (refused.value.findings[0].rule, hint in refused.value.findings[0].fix) == (rule, True)


def test_a_driver_that_is_not_installed(folder: Path, world: World) -> None:
    assert rule_of(lambda: onto_real(onto="pretend-driver:0")) == "interface-driver"


def test_the_simulated_bus_is_not_there_yet(folder: Path) -> None:
    with pytest.raises(InterfaceError, match="simulated bus yet"):
        replay("run.log", "simulated")


def test_what_the_bus_carries_meanwhile_is_kept(folder: Path, world: World) -> None:
    world.on_send = lambda count: world.coming.append(frame(0x400)) if count == 3 else None
    onto_real(record="seen.log")
    assert read_traffic("seen.log").traffic.identifier.tolist() == [0x400]
    assert world.opened[-1]["receive_own_messages"] is True
