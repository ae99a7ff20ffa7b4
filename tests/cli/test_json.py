"""``--json``: the keys that others script against, in each outcome; nothing else on stdout."""

import json
from pathlib import Path
from typing import Any

import pytest

from tests.cli.projects import Gate
from tests.cli.running import Here

NUMBER, COUNT, TEXT, FLAG = (int, float), (int,), (str,), (bool,)
PLACE = {"file": TEXT, "line": COUNT, "column": COUNT}
FINDING = {"rule": TEXT, "severity": TEXT, "where": PLACE, "text": TEXT, "fix": TEXT}

CHECK = {
    "catalogue": TEXT,
    "bus": {"bit_rate_bit_s": NUMBER, "load_nominal": NUMBER, "load_worst": NUMBER},
    "messages": [
        {
            "name": TEXT,
            "id": COUNT,
            "extended": FLAG,
            "sender": TEXT,
            "length_bytes": COUNT,
            "period_ms": NUMBER,
            "deadline_ms": NUMBER,
            "frame_bits_min": COUNT,
            "frame_bits_max": COUNT,
            "blocking_ms": NUMBER,
            "queuing_ms": NUMBER,
            "response_worst_ms": NUMBER,
            "meets_deadline": FLAG,
        }
    ],
    "functions": [{"name": TEXT}],
    "findings": [FINDING],
    "holds": FLAG,
}
SIMULATE = {
    "scenario": TEXT,
    "duration_s": NUMBER,
    "frames": COUNT,
    "load_mean": NUMBER,
    "load_busiest_100ms": NUMBER,
    "messages": [
        {
            "name": TEXT,
            "sent": COUNT,
            "lost": COUNT,
            "response_ms": {"min": NUMBER, "mean": NUMBER, "p99": NUMBER, "max": NUMBER},
        }
    ],
    "expectations": [{"name": TEXT, "holds": FLAG, "at_s": NUMBER, "text": TEXT}],
    "nodes": [{"name": TEXT, "tec": COUNT, "rec": COUNT, "state": TEXT}],
    "findings": [FINDING],
    "holds": FLAG,
}
FRAME = {
    "bits": TEXT,
    "length_bits": COUNT,
    "stuff_bits": COUNT,
    "crc": TEXT,
    "fields": [{"name": TEXT, "first_bit": COUNT, "bits": TEXT}],
    "findings": [FINDING],
    "holds": FLAG,
}
COMPILE = {"catalogue": TEXT, "files": [TEXT], "losses": [FINDING], "findings": [FINDING], "holds": FLAG}

# What may be null in an answer that is one: no bound, not sent, not decided, no place, no sender's counter.
NULLABLE = {"response_worst_ms", "queuing_ms", "blocking_ms", "id", "meets_deadline", "response_ms", "holds", "at_s"}


def differences(found: Any, shape: Any, *, facts: bool, where: str = "") -> list[str]:
    """Where ``found`` departs from ``shape``; without ``facts`` (nothing could be answered) any value may be null."""
    if found is None and where:
        inside = where.rpartition(".")[2]
        return [] if not facts or inside in NULLABLE - {"holds"} or where.endswith("].holds") else [f"{where} is null"]
    if isinstance(shape, dict):
        if not isinstance(found, dict):
            return [f"{where} is no object"]
        missing = [f"{where}.{key} is missing" for key in shape if key not in found]
        inner = [(found[key], shape[key], f"{where}.{key}") for key in shape if key in found]
        return missing + [line for part in inner for line in differences(part[0], part[1], facts=facts, where=part[2])]
    if isinstance(shape, list):
        if not isinstance(found, list):
            return [f"{where} is no list"]
        return [line for item in found for line in differences(item, shape[0], facts=facts, where=f"{where}[]")]
    is_right = isinstance(found, shape) and (isinstance(found, bool) is (shape is FLAG))
    return [] if is_right else [f"{where} is {found!r}"]


def without_values(answer: Any) -> Any:
    """The keys of an object, of the objects in it, and of nothing below lists."""
    return {key: without_values(value) for key, value in answer.items()} if isinstance(answer, dict) else None


def test_check_holds(demo: Path, here: Here) -> None:
    ran = here("check", "messages/saltmarsh.yaml", "--json")
    assert (ran.status, ran.err) == (0, "")
    assert differences(ran.answer, CHECK, facts=True) == []
    assert ran.answer["holds"] is True
    assert ran.answer["catalogue"] == "saltmarsh-undercarriage"
    assert ran.answer["bus"]["bit_rate_bit_s"] == 250_000
    assert 0 < ran.answer["bus"]["load_nominal"] < ran.answer["bus"]["load_worst"] < 1
    demand = next(message for message in ran.answer["messages"] if message["name"] == "leg_demand")
    assert (demand["id"], demand["extended"], demand["sender"]) == (0x110, False, "panel")
    assert (demand["period_ms"], demand["deadline_ms"], demand["length_bytes"]) == (50, 10, 2)
    assert demand["frame_bits_formula"] == 75  # 8 n + 44 + (34 + 8 n - 1) // 4 + 3, Davis et al. 2007, eq. 1
    assert demand["frame_bits_max"] == 69  # exactly: no data of two bytes under this identifier attain the formula
    assert ran.answer["findings"] == []


def test_check_with_a_broken_promise(gate: Gate, here: Here) -> None:
    gate.edit(gate.catalogue, "deadline: 10 ms", "deadline: 300 us\n    lost_after: 200 ms")
    ran = here("check", "messages/gate.yaml", "--json")
    assert (ran.status, ran.err) == (1, "")
    assert differences(ran.answer, CHECK, facts=True) == []
    assert ran.answer["holds"] is False
    late = {message["name"]: message["meets_deadline"] for message in ran.answer["messages"]}
    assert late == {"demand": False, "alarm": True, "report": True}
    (found,) = ran.answer["findings"]
    assert (found["rule"], found["severity"]) == ("deadline-missed", "broken")
    assert found["where"] == {"file": "messages/gate.yaml", "line": 14, "column": 15}


def test_check_without_a_bound(gate: Gate, here: Here) -> None:
    gate.edit(gate.catalogue, "250 kbit/s", "3 kbit/s")
    ran = here("check", "messages/gate.yaml", "--json")
    assert ran.status == 1
    assert differences(ran.answer, CHECK, facts=True) == []
    assert ran.answer["bus"]["load_worst"] > 1
    assert [message["name"] for message in ran.answer["messages"] if message["response_worst_ms"] is None] == ["report"]
    assert {found["rule"] for found in ran.answer["findings"]} >= {"bus-overloaded", "no-bound"}


def test_a_message_without_an_identifier_has_no_response(gate: Gate, here: Here) -> None:
    gate.edit(gate.catalogue, "    id: 0x210\n", "")
    ran = here("check", "messages/gate.yaml", "--json")
    assert ran.status == 1
    assert differences(ran.answer, CHECK, facts=True) == []
    report = next(message for message in ran.answer["messages"] if message["name"] == "report")
    assert (report["id"], report["response_worst_ms"], report["meets_deadline"]) == (None, None, None)


def test_simulate_holds(demo: Path, here: Here) -> None:
    ran = here("simulate", "sim/scenarios/retract.yaml", "--json")
    assert (ran.status, ran.err) == (0, "")
    assert differences(ran.answer, SIMULATE, facts=True) == []
    assert ran.answer["holds"] is True
    assert ran.answer["duration_s"] == 13
    assert ran.answer["frames"] == sum(message["sent"] for message in ran.answer["messages"])
    assert 0 < ran.answer["load_mean"] < ran.answer["load_busiest_100ms"] < 1
    for message in ran.answer["messages"]:
        times = message["response_ms"]
        assert times is None or 0 < times["min"] <= times["mean"] <= times["max"]
        assert times is None or times["min"] <= times["p99"] <= times["max"]
        assert (times is None) == (message["sent"] == 0)
    assert {(node["tec"], node["rec"], node["state"]) for node in ran.answer["nodes"]} == {(0, 0, "error-active")}


def test_simulate_with_a_broken_expectation(gate: Gate, here: Here) -> None:
    gate.edit(gate.scenario, "panel.lamp == red", "panel.lamp == dark and demand.speed > 99")
    ran = here("simulate", "sim/scenarios/silence.yaml", "--json")
    assert (ran.status, ran.err) == (1, "")
    assert differences(ran.answer, SIMULATE, facts=True) == []
    assert ran.answer["holds"] is False
    (expected,) = ran.answer["expectations"]
    assert expected["holds"] is False
    assert 0.3 < expected["at_s"] < 1


def test_an_expectation_that_is_never_put_to_the_test_counts_as_not_held(gate: Gate, here: Here) -> None:
    gate.edit(gate.scenario, "  - {at: 300 ms, until: 800 ms, kind: silent, node: motor}\n", "")
    gate.edit(gate.scenario, "faults:\n", "")
    ran = here("simulate", "sim/scenarios/silence.yaml", "--json")
    assert ran.status == 1
    assert differences(ran.answer, SIMULATE, facts=True) == []
    assert [expected["holds"] for expected in ran.answer["expectations"]] == [None]
    assert ran.answer["expectations"][0]["text"]


def test_a_message_that_is_never_sent_has_no_response_times(gate: Gate, here: Here) -> None:
    ran = here("simulate", "sim/scenarios/silence.yaml", "--json")
    assert ran.status == 0
    alarm = next(message for message in ran.answer["messages"] if message["name"] == "alarm")
    assert (alarm["sent"], alarm["lost"], alarm["response_ms"]) == (0, 0, None)


def test_frame(here: Here) -> None:
    ran = here("frame", "0x110", "--data", "0200", "--json")
    assert (ran.status, ran.err) == (0, "")
    assert differences(ran.answer, FRAME, facts=True) == []
    answer = ran.answer
    assert set(answer["bits"]) == {"0", "1"}
    assert len(answer["bits"]) == answer["length_bits"] == 66
    assert "".join(field["bits"] for field in answer["fields"]) == answer["bits"]
    ends = [field["first_bit"] + len(field["bits"]) for field in answer["fields"]]
    assert [field["first_bit"] for field in answer["fields"]] == [0, *ends[:-1]]
    fields = {field["name"]: field["bits"] for field in answer["fields"]}
    assert (fields["start of frame"], fields["acknowledge slot"], fields["intermission"]) == ("0", "0", "111")
    assert answer["stuff_bits"] == answer["length_bits"] - (44 + 16 + 3)  # Bosch CAN 2.0: 44 bits around the data


def test_compile(demo: Path, here: Here) -> None:
    ran = here("compile", "messages/saltmarsh.yaml", "-o", "out", "--json")
    assert (ran.status, ran.err) == (0, "")
    assert differences(ran.answer, COMPILE, facts=True) == []
    assert (ran.answer["holds"], ran.answer["findings"]) == (True, [])
    assert [Path(file).is_file() for file in ran.answer["files"]] == [True]
    assert {loss["severity"] for loss in ran.answer["losses"]} == {"advice"}


@pytest.mark.parametrize(
    ("words", "shape"),
    [
        (("check", "messages/gate.yaml"), CHECK),
        (("simulate", "sim/scenarios/silence.yaml"), SIMULATE),
        (("compile", "messages/gate.yaml", "-o", "out"), COMPILE),
    ],
)
def test_an_unusable_catalogue_keeps_the_shape(gate: Gate, here: Here, words: tuple[str, ...], shape: Any) -> None:
    usable = here(*words, "--json")
    gate.edit(gate.catalogue, "bits: 12", "bits: 120")
    gate.edit(gate.catalogue, "every: 50 ms\n    deadline: 10 ms", "every: 50\n    deadline: 10 ms")
    ran = here(*words, "--json")
    assert ran.status == 2
    assert differences(ran.answer, shape, facts=False) == []
    assert without_values(ran.answer) == without_values(usable.answer)
    assert ran.answer["holds"] is False
    assert [found["where"]["line"] for found in ran.answer["findings"]] == [13, 32]
    assert {found["severity"] for found in ran.answer["findings"]} == {"error"}
    assert "messages/gate.yaml:32:24" in ran.err


def test_an_unusable_frame_keeps_the_shape(here: Here) -> None:
    ran = here("frame", "0x1100", "--data", "xy", "--json")
    assert ran.status == 2
    assert differences(ran.answer, FRAME, facts=False) == []
    assert without_values(ran.answer) == without_values(here("frame", "0x110", "--json").answer)
    assert (ran.answer["bits"], ran.answer["fields"], ran.answer["holds"]) == (None, [], False)
    assert [found["text"] for found in ran.answer["findings"]] == ["`xy` is not hexadecimal"]


def test_a_model_that_fails_keeps_the_shape(gate: Gate, here: Here) -> None:
    gate.edit(gate.panel, "speed=10", "speed=101")
    ran = here("simulate", "sim/scenarios/silence.yaml", "--json")
    assert ran.status == 2
    assert differences(ran.answer, SIMULATE, facts=False) == []
    assert (ran.answer["frames"], ran.answer["scenario"], ran.answer["holds"]) == (0, None, False)
    assert [found["rule"] for found in ran.answer["findings"]] == ["model-failed"]


def test_an_output_that_cannot_be_written_keeps_the_shape(gate: Gate, here: Here) -> None:
    ran = here("simulate", "sim/scenarios/silence.yaml", "--traffic", "sim/panel.py/run.log", "--json")
    assert ran.status == 2
    assert differences(ran.answer, SIMULATE, facts=False) == []
    (found,) = ran.answer["findings"]
    assert found["text"].startswith("cannot make the folder `sim/panel.py`")


def test_what_a_model_prints_does_not_disturb_the_answer(gate: Gate, here: Here) -> None:
    gate.edit(gate.panel, "        self.look()\n", '        print("hello from the panel")\n        self.look()\n')
    ran = here("simulate", "sim/scenarios/silence.yaml", "--json")
    assert (ran.status, ran.answer["holds"]) == (0, True)
    assert ran.err == "hello from the panel\n"


def test_every_letter_arrives(gate: Gate, here: Here) -> None:
    gate.edit(gate.scenario, "silence is noticed", '"große Stille: \\u2603 \\" \\\\ 静"')
    ran = here("simulate", "sim/scenarios/silence.yaml", "--json")
    assert ran.answer["expectations"][0]["name"] == 'große Stille: ☃ " \\ 静'


def test_the_document_ends_with_a_line_end_and_is_the_only_one(demo: Path, here: Here) -> None:
    ran = here("check", "messages/saltmarsh.yaml", "--json")
    decoded, end = json.JSONDecoder().raw_decode(ran.out)
    assert decoded["holds"] is True
    assert ran.out[end:] == "\n"
