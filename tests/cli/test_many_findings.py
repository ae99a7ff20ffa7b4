"""A catalogue with hundreds of mistakes: the first of each kind are spelt out, the others named by their lines."""

from pathlib import Path

from tests.cli.running import Here

HEAD = "catalogue: many\nbus: {bit_rate: 250 kbit/s}\nnodes: {panel: {}, strut: {}}\nmessages:\n"


def test_the_first_of_a_rule_are_spelt_out_and_the_rest_named(tmp_path: Path, here: Here) -> None:
    lines = [
        f"  m{number}: {{id: {number}, from: panle, to: strut, every: 10 ms, bytes: 1}}" for number in range(1, 41)
    ]
    lines.append("  alone: {id: 0x300, from: panel, to: struts, every: 10 mss, bytes: 1}")
    file = tmp_path / "many.yaml"
    file.write_text(HEAD + "\n".join(lines) + "\n", encoding="utf-8")
    ran = here("check", str(file))
    assert ran.status == 2
    assert ran.err.count("error: there is no node `panle` (unknown-node)") == 8
    assert "... and 32 more of the same rule (unknown-node), in lines 13, 14, 15, 16, 17, 18, 19, 20, 21" in ran.err
    assert "(wrong-unit)" in ran.err  # what comes once is always there
    assert "\n41 errors" in ran.err
    assert here("check", str(file), "--json").out.count('"unknown-node"') == 40


def test_a_dozen_are_all_told(tmp_path: Path, here: Here) -> None:
    lines = [f"  m{number}: {{id: {number}, from: panle, every: 10 ms, bytes: 1}}" for number in range(12)]
    file = tmp_path / "dozen.yaml"
    file.write_text(HEAD + "\n".join(lines) + "\n", encoding="utf-8")
    assert here("check", str(file)).err.count("(unknown-node)") == 12
