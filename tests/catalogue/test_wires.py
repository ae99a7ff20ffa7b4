"""``bus`` and ``nodes`` with wires and settings: what is read, what is assumed, what cannot be and where it stands."""

from fractions import Fraction
from math import isclose

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busdesign.catalogue.model import Catalogue
from busdesign.catalogue.model_wires import Cable, Stub
from busdesign.catalogue.reader import parse_catalogue
from busdesign.catalogue.wires import harness_of, setting_of, units_of
from busdesign.catalogue.wires_places import place_of
from busdesign.errors import CatalogueError
from busdesign.findings import Finding
from busdesign.wire.bit_rates import makes, nearest_common_rate_bit_s
from busdesign.wire.bit_timing import GENERIC_LIMITS, SMALL, Segments
from busdesign.wire.bit_timing_solver import settings_for
from busdesign.wire.harness import Tap, Termination, Transceiver, harness_problems
from busdesign.wire.supply import Wire
from tests.catalogue.random_catalogues import catalogues
from tests.wire.harnesses import figures

HEAD = "catalogue: tried\nbus:\n  bit_rate: 250 kbit/s\n"
TAIL = "messages: {m: {id: 1, from: panel, to: strut, every: 50 ms, lost_after: 200 ms}}\n"
NODES = "nodes: {panel: {}, strut: {}}\n"
LONG = """\
  supply: {voltage: 12 V}
  harness:
    trunk: 9 m
    cable: {delay: 5.5 ns/m, resistance: 70 mohm/m, impedance: 110 ohm}
    stubs:
      - {at: 1 m, length: 20 cm, node: panel}
      - {at: 9 m, node: strut}
    terminations:
      - {at: 0 m, ohm: 120 ohm, tolerance: 1 %}
      - {at: 9 m}
nodes:
  panel:
    clock: 16 MHz
    controller: {prescaler: [1, 64], prop_seg: [1, 8], phase_seg1: [1, 8], phase_seg2: [2, 8], sjw: 4}
    transceiver: {loop_delay: 0.2 us, isolator: 20 ns, input: 30 kohm, dominant: [1.6 V, 2.8 V],
      common_mode: [-12 V, 12 V]}
  strut:
    clock: 8 MHz
    tolerance: 0.3 %
    controller: small
    timing: {prescaler: 2, prop_seg: 11, phase_seg1: 2, phase_seg2: 2, sjw: 1}
    supply: {length: 6 m, cross_section: 0.5 mm2, joints: 20 mohm, ground: {length: 1 m}, peak: 3 A, at_least: 9 V}
"""


def read(bus: str = "", nodes: str = NODES) -> Catalogue:
    return parse_catalogue(HEAD + bus + nodes + TAIL, "tried.yaml")


def findings(text: str) -> tuple[Finding, ...]:
    with pytest.raises(CatalogueError) as refused:
        parse_catalogue(text, "tried.yaml")
    return refused.value.findings


def test_the_long_form_is_read() -> None:
    catalogue = read(LONG, "")
    bus, panel, strut = catalogue.bus, catalogue.nodes["panel"], catalogue.nodes["strut"]
    assert bus.harness.cable == Cable(Fraction(11, 2), Fraction(7, 100), None, None, Fraction(110))
    assert bus.harness.stubs == (Stub(Fraction(1), Fraction(1, 5), "panel"), Stub(Fraction(9), Fraction(0), "strut"))
    assert bus.supply_v == 12
    assert panel.controller is not None
    assert (panel.controller.name, panel.controller.time_segment1, panel.controller.quanta) == ("own", (2, 16), (8, 25))
    assert panel.transceiver == Transceiver(200, 20, 30_000, Fraction(8, 5), Fraction(14, 5))
    assert panel.common_mode_v == (Fraction(-12), Fraction(12))
    assert strut.controller is SMALL
    assert strut.timing is not None
    assert (strut.timing.prescaler, strut.timing.segments) == (2, Segments(11, 2, 2, 1))


def test_the_long_form_becomes_a_harness_without_assumptions_of_places() -> None:
    found = harness_of(read(LONG, ""))
    assert found is not None
    harness, assumed = found
    fast = Transceiver(200, 20, 30_000, Fraction(8, 5), Fraction(14, 5))
    assert harness.taps == (Tap("panel", 1, Fraction(1, 5), fast), Tap("strut", 9))
    assert harness.terminations == (Termination(0, 120, Fraction(1, 100)), Termination(9))
    assert harness.cable.delay_ns_per_m == Fraction(11, 2)
    assert assumed == ("transceivers by the published limits (loop delay 255 ns, input 20000 ohm): strut",)


def test_the_short_form_becomes_a_harness_by_stated_assumptions() -> None:
    nodes = "nodes: {panel: {}, strut: {transceiver: {isolator: 30 ns}}, nose: {}, horn: {}}\n"
    found = harness_of(read("  harness: {trunk: 9 m, longest_stub: 0.25 m, termination: 110 ohm}\n", nodes))
    assert found is not None
    harness, assumed = found
    # The two with the longest delays, which are the strut with its isolator and the first of the others.
    assert [(tap.node, tap.at_m, tap.stub_m) for tap in harness.taps] == [
        ("strut", 0, Fraction(1, 4)),
        ("nose", 3, Fraction(1, 4)),
        ("horn", 6, Fraction(1, 4)),
        ("panel", 9, Fraction(1, 4)),
    ]
    assert harness.terminations == (Termination(0, 110), Termination(9, 110))
    assert assumed == (
        "strut and panel at the ends of the trunk, the other nodes evenly between, each on a stub of 0.25 m",
        "a termination of 110 ohm at each end of the trunk",
        "a cable of 5 ns/m",
        "a cable of 70 mohm/m in each conductor",
        "transceivers by the published limits (loop delay 255 ns, input 20000 ohm): nose, horn, panel",
    )


@pytest.mark.parametrize("bus", ["", "  harness: {}\n", "  harness: {termination: 120 ohm}\n"])
def test_without_a_trunk_there_is_no_harness(bus: str) -> None:
    assert harness_of(read(bus)) is None


def test_a_long_form_without_terminations_has_none() -> None:
    stubs = "[{at: 0 m, node: panel}, {at: 9 m, node: strut}]"
    found = harness_of(read(f"  harness: {{trunk: 9 m, stubs: {stubs}}}\n"))
    assert found is not None
    assert found[0].terminations == ()


def test_copper_by_its_cross_section() -> None:
    found = harness_of(read("  harness: {trunk: 9 m, cable: {cross_section: 0.25 mm2, temperature: 70 degC}}\n"))
    assert found is not None
    # IEC 60028: 1/58 ohm mm2/m at 20 degrees, 0.393 % more for each degree.
    assert found[0].cable.ohm_per_m == Fraction(1, 58) * 4 * (1 + Fraction(393, 100_000) * 50)


def test_the_supply_of_each_unit() -> None:
    (unit,) = units_of(read(LONG, ""))
    power = Wire(Fraction(6), Fraction(1, 2), 20, Fraction(1, 50))
    assert (unit.name, unit.power, unit.ground) == (
        "strut",
        power,
        Wire(Fraction(1), Fraction(1, 2), 20, Fraction(1, 50)),
    )
    assert (unit.supply_v, unit.minimum_v, unit.peak_a, unit.idle_a) == (12, 9, 3, 0)


def test_a_given_setting_is_kept_and_another_one_is_chosen() -> None:
    catalogue = read(LONG, "")
    given_one = setting_of(catalogue.nodes["strut"], catalogue.bus, 300)
    chosen = setting_of(catalogue.nodes["panel"], catalogue.bus, 300)
    assert given_one is not None
    assert chosen is not None
    assert (given_one.is_given, given_one.setting.segments.sjw) == (True, 1)
    assert (given_one.assessment.clock_tolerance, given_one.assessment.delay_ns) == (Fraction(3, 1000), 300)
    assert not chosen.is_given
    assert chosen.limits.allow(chosen.setting)
    assert figures(chosen.setting.bit_rate_bit_s, chosen.setting.sample_point) == figures(250_000, Fraction(7, 8))


@pytest.mark.parametrize("name", GENERIC_LIMITS)
@pytest.mark.parametrize("clock", ["8 MHz", "16 MHz", "80 MHz", "7 MHz"])
def test_a_chosen_setting_has_room_and_no_less_margin_than_the_solvers_best(name: str, clock: str) -> None:
    catalogue = read("", f"nodes: {{panel: {{clock: {clock}, controller: {name}}}, strut: {{}}}}\n")
    found = setting_of(catalogue.nodes["panel"], catalogue.bus, 500)
    assert found is not None
    best = settings_for(found.setting.clock_hz, 250_000, found.limits, sample_point=Fraction(7, 8), delay_ns=500)[0]
    assert found.assessment.margin == best.margin
    assert found.assessment.delay_slack_ns >= best.delay_slack_ns >= 0
    assert found.limits.allow(found.setting)


def test_a_delay_that_no_setting_carries_leaves_the_one_that_carries_most() -> None:
    catalogue = read("", "nodes: {panel: {clock: 16 MHz}, strut: {}}\n")
    found = setting_of(catalogue.nodes["panel"], catalogue.bus, 5000)
    assert found is not None
    assert found.assessment.delay_slack_ns < 0
    assert found.assessment.margin >= 0
    others = settings_for(16_000_000, 250_000, found.limits, sample_point=Fraction(7, 8))
    assert found.setting.longest_delay_ns >= max(one.setting.longest_delay_ns for one in others)


def test_a_node_without_a_clock_has_no_setting() -> None:
    catalogue = read()
    assert setting_of(catalogue.nodes["panel"], catalogue.bus) is None


# In each text the place of the finding is marked by §.
SHORT = "  harness: {trunk: 9 m, longest_stub: 0.25 m, termination: 120 ohm}\n"
SETTING = "{prescaler: 4, prop_seg: 11, phase_seg1: 2, phase_seg2: 2, sjw: 2}"
GIVEN = f"nodes: {{panel: {{clock: 16 MHz, timing: {SETTING}}}, strut: {{}}}}\n"
EARLY = GIVEN.replace("11, phase_seg1: 2, phase_seg2: 2", "7, phase_seg1: 4, phase_seg2: 4")
POINT = "  sample_point: 87.5 %\n"
IMPOSSIBLE: dict[str, tuple[str, str, str, str]] = {
    "no trunk": (SHORT.replace("9 m", "§0 m") + NODES, "harness", "`trunk`: 0 m", "nearest possible value is 0.01 m"),
    "a negative trunk": (SHORT.replace("9 m", "§-9 m") + NODES, "harness", "`trunk`: -9 m", "is 0.01 m"),
    "a trunk round the world": (SHORT.replace("9 m", "§1e6 km") + NODES, "harness", "`trunk`: 1e+09 m", "is 10000 m"),
    "a trunk in volts": (SHORT.replace("9 m", "§9 V") + NODES, "wrong-unit", "measures a voltage", "`m`"),
    "a stub longer than the trunk": (
        SHORT.replace("0.25 m", "§10 m") + NODES, "harness", "`longest_stub`: a stub of 10 m is longer", "is 9 m",
    ),
    "a negative stub": (SHORT.replace("0.25 m", "§-1 m") + NODES, "harness", "`longest_stub`: -1 m", "is 0 m"),
    "a short circuit": (SHORT.replace("120 ohm", "§0 ohm") + NODES, "harness", "`termination`: 0 ohm", "is 1 ohm"),
    "a node beyond the end": (
        LONG.replace("{at: 9 m, node", "{at: §9.5 m, node"), "harness", "`strut`: 9.5 m is beyond the end", "is 9 m",
    ),
    "a long stub": (LONG.replace("20 cm", "§10 m"), "harness", "`panel`: a stub of 10 m", "is 9 m"),
    "a node twice": (LONG.replace("node: strut", "node: §panel"), "harness", "`panel`: named 2 times", ""),
    "a node alone": (
        LONG.replace("stubs:\n      ", "stubs:\n      §").replace("      - {at: 9 m, node: strut}\n", ""),
        "harness", "`stubs`: 1 on the trunk", "is 2 nodes",
    ),
    "a node that is none": (LONG.replace("node: strut", "node: §sturt"), "unknown-node", "no node `sturt`", "`strut`"),
    "a termination beyond the end": (LONG.replace("- {at: 9 m}", "- {at: §19 m}"), "harness", "`at`: 19 m", "is 9 m"),
    "a tolerance of half and more": (LONG.replace("1 %}", "§60 %}"), "harness", "`tolerance`: 0.6", "is 0.5"),
    "faster than light": (LONG.replace("5.5 ns/m", "§3 ns/m"), "harness", "`delay`: 3 ns/m", "is 3.33564 ns/m"),
    "negative copper": (LONG.replace("70 mohm/m", "§-70 mohm/m"), "harness", "`resistance`: -0.07 ohm/m", "is 0 ohm/m"),
    "no copper": (
        LONG.replace("resistance: 70 mohm/m", "cross_section: §0 mm2"), "harness", "`cross_section`: 0 mm2", "0.01 mm2",
    ),
    "two resistances": (
        LONG.replace("impedance", "§cross_section: 1 mm2, impedance"),
        "harness", "`resistance` and `cross_section`", "keep",
    ),
    "a temperature of nothing": (
        LONG.replace("impedance", "§temperature: 70 degC, impedance"),
        "harness", "`temperature` is that of the copper", "add",
    ),
    "stubs in two ways": (
        LONG.replace("    stubs:", "    longest_stub: 1 m\n    §stubs:"), "harness", "`longest_stub`", "keep",
    ),
    "terminations in two ways": (
        LONG.replace("    terminations:", "    termination: 120 ohm\n    §terminations:"),
        "harness", "`termination`", "keep",
    ),
    "a loop faster than nothing": (LONG.replace("0.2 us", "§-1 ns"), "harness", "`loop_delay` of `panel`", "is 0 ns"),
    "an input of 0 ohm": (LONG.replace("30 kohm", "§0 ohm"), "harness", "`input` of `panel`", "is 1 ohm"),
    "a driver upside down": (LONG.replace("2.8 V", "§1 V"), "harness", "`dominant` of `panel`", "is 1.6 V"),
    "a range of hearing upside down": (
        LONG.replace("[-12 V, 12 V]", "§[12 V, -12 V]"), "harness", "2 to 3 V", "such as `[-2 V, 7 V]`",
    ),
    "a transceiver of a node on no wires": (
        "nodes: {panel: {transceiver: {isolator: §-1 ns}}, strut: {}}\n", "harness", "`isolator` of `panel`", "is 0 ns",
    ),
    "a wire of no length": (
        LONG.replace("length: 6 m", "length: §-6 m"), "supply", "`length` of `strut`: -6 m", "is 0 m",
    ),
    "a ground of no length": (
        LONG.replace("length: 1 m", "length: §-1 m"), "supply", "`length` of `strut`: -1 m", "is 0 m",
    ),
    "no power": (LONG.replace("voltage: 12 V", "voltage: §0 V"), "supply", "`voltage`: 0 V", "is 1 V"),
    "more than there is": (
        LONG.replace("at_least: 9 V", "at_least: §13 V"), "supply", "`at_least` of `strut`", "is 12 V",
    ),
    "no source": (
        LONG.replace("  supply: {voltage: 12 V}\n", "").replace("    supply", "    §supply"),
        "supply", "`strut`", "voltage",
    ),
    "limits upside down": (
        LONG.replace("{prescaler: [1, 64]", "§{prescaler: [64, 1]"), "controller", "64 to 1", "goes up",
    ),
    "limits without segments": (
        LONG.replace("{prescaler: [1, 64], prop_seg: [1, 8],", "§{prescaler: [1, 64],"),
        "controller", "nothing says", "`time_segment1: [2, 16]`",
    ),
    "a controller that is none": (
        LONG.replace("controller: small", "controller: §smal"), "wrong-value", "`smal`", "`small`",
    ),
    "a controller that is a number": (
        LONG.replace("controller: small", "controller: §7"), "wrong-value", "a word such as", "",
    ),
    "a setting without a clock": (
        GIVEN.replace("clock: 16 MHz, timing: {", "timing: §{"), "timing", "a clock", "`clock: 16 MHz`",
    ),
    "a jump beyond its segment": (GIVEN.replace("sjw: 2", "sjw: §3"), "timing", "exceeds phase_seg2", "is 2"),
    "a setting of another rate": (
        GIVEN.replace("{prescaler: 4", "§{prescaler: 2"), "timing", "makes 500 kbit/s", "prescaler: 4",
    ),
    "a setting of another sample point": (
        POINT + EARLY.replace("timing: {", "timing: §{"),
        "timing", "samples at 75 % of the bit", "prescaler: 4",
    ),
    "a setting beyond its controller": (
        GIVEN.replace("timing", "controller: small, timing").replace("phase_seg1: 2", "phase_seg1: §20"),
        "timing", "20 of `phase_seg1` does not fit", "prescaler",
    ),
    "a quantum of nothing": (GIVEN.replace("prescaler: 4", "prescaler: §0"), "wrong-value", "at least 1", ""),
    "a clock that cannot make the rate": (
        "nodes: {panel: {clock: 16 MHz}, strut: {clock: §1 MHz}}\n",
        "bit-rate-out-of-reach", "`strut` cannot take part",
        "all nodes with a clock make exactly is 125 kbit/s",
    ),
    "a mixed bus of odd clocks": (
        "nodes: {panel: {clock: 8 MHz}, strut: {clock: §7.3728 MHz}}\n",
        "bit-rate-out-of-reach", "7.3728 MHz", "12.8 kbit/s",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", IMPOSSIBLE)
def test_what_cannot_be_is_an_error_where_it_stands_with_the_nearest_possible(name: str) -> None:
    marked, rule, text, fix = IMPOSSIBLE[name]
    whole = HEAD + marked + TAIL
    before = whole[: whole.index("§")]
    (found,) = findings(whole.replace("§", ""))
    assert found.where is not None
    assert (found.rule, found.where.line) == (rule, before.count("\n") + 1)
    assert found.where.column == len(before) - before.rfind("\n")
    assert text in found.text
    assert fix in found.fix


def test_everything_wrong_is_told_at_once() -> None:
    bad = LONG.replace("20 cm", "10 m").replace("5.5 ns/m", "3 ns/m").replace("voltage: 12 V", "voltage: 0 V")
    bad = bad.replace("clock: 8 MHz", "clock: 1 MHz").replace("    timing", "    # timing")
    assert [found.rule for found in findings(HEAD + bad + TAIL)] == [
        "supply",
        "harness",
        "harness",
        "bit-rate-out-of-reach",
    ]


def test_a_sample_point_that_nobody_declared_binds_no_setting() -> None:
    assert read("", EARLY).nodes["panel"].timing is not None


def test_the_hints_setting_would_do() -> None:
    (found,) = findings(HEAD + LONG.replace("prescaler: 2, prop", "prescaler: 1, prop") + TAIL)
    proposed = found.fix.partition("`")[2].partition("`")[0]
    mended = LONG.replace("{prescaler: 2, prop_seg: 11, phase_seg1: 2, phase_seg2: 2, sjw: 1}", proposed)
    assert proposed != ""
    assert mended != LONG
    assert read(mended, "").nodes["strut"].timing is not None


@given(st.integers(1, 40), st.integers(1, 40), st.integers(10_000, 10**6))
@settings(deadline=None, max_examples=15)
def test_a_common_rate_is_made_by_all_and_none_is_nearer(one: int, other: int, wanted: int) -> None:
    boards = [(one * 10**6, SMALL), (other * 10**6, SMALL)]
    found = nearest_common_rate_bit_s(boards, wanted, 10**6)
    made = [
        {Fraction(clock, prescaler * quanta) for prescaler in range(1, 65) for quanta in range(8, 26)}
        for clock, _ in boards
    ]
    common = [rate for rate in made[0] & made[1] if rate <= 10**6]
    if not common:
        assert found is None
        return
    assert found in common
    assert all(makes(found, *board) for board in boards)
    assert min(abs(rate - wanted) for rate in common) == abs(found - wanted)


@given(catalogues())
@settings(max_examples=20, deadline=None)
def test_every_harness_that_a_file_describes_can_be(catalogue: Catalogue) -> None:
    found = harness_of(catalogue)
    assert (found is None) == (catalogue.bus.harness.trunk_m is None)
    if found is not None:
        assert harness_problems(found[0]) == []
        assert {tap.node for tap in found[0].taps} == set(catalogue.nodes)


@pytest.mark.parametrize(
    ("part", "quoted"),
    [
        ("trunk_m", "9 m"),
        ("cable.delay_ns_per_m", "5.5 ns/m"),
        ("cable.ohm_per_m", "70 mohm/m"),
        ("cable.impedance_ohm", "110 ohm"),
        ("taps.panel.at_m", "1 m, length: 20 cm"),
        ("taps.panel.stub_m", "20 cm"),
        ("taps.panel.loop_delay_ns", "0.2 us"),
        ("taps.panel.driven_v_max", "2.8 V"),
        ("taps.strut", "strut}"),
        ("taps.strut.loop_delay_ns", "clock: 8 MHz"),
        ("terminations.0.tolerance", "1 %"),
        ("terminations.1.ohm", "{at: 9 m}"),
        ("units.strut.power.length_m", "6 m"),
        ("units.strut.ground.length_m", "1 m}"),
        ("units.strut.ground.joints_ohm", "20 mohm"),
        ("units.strut.minimum_v", "9 V}"),
        ("units.strut.supply_v", "12 V"),
    ],
)
def test_every_part_leads_to_where_it_is_written_or_to_what_it_belongs_to(part: str, quoted: str) -> None:
    catalogue = read(LONG, "")
    place = place_of(part, catalogue.bus.harness, dict(catalogue.places))
    assert place is not None
    assert place.quoted[place.column - 1 :].startswith(quoted)


def test_figures_are_exact() -> None:
    found = setting_of(read(LONG, "").nodes["strut"], read(LONG, "").bus)
    assert found is not None
    assert isclose(float(found.assessment.oscillator_tolerance), 1 / 320)  # sjw / (20 bits of 16 quanta)
