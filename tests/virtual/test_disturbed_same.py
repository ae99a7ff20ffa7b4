"""The kernel for a disturbed wire, left in peace, makes the very run of the fast kernel."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from busdesign.catalogue.model import Catalogue
from busdesign.catalogue.model_controllers import Queue, Transmit
from busdesign.virtual.bus import simulate_bus
from busdesign.virtual.disturbances import BitOfFrame, Conditions, Parted
from busdesign.virtual.run import Run
from tests.networks import MS, catalogues, run_of, scenario_of

IN_VAIN = Conditions(sources=(BitOfFrame("no such message", 0, 0),))
WAYS = st.fixed_dictionaries(
    {
        "phases": st.sampled_from(["declared", "random", "aligned"]),
        "jitter": st.sampled_from(["none", "random", "worst"]),
        "drift": st.sampled_from(["none", "random", "worst"]),
        "seed": st.integers(0, 2**32),
    }
)
TRANSMITS = st.sampled_from(
    [None, None, Transmit(Queue.FIFO, depth=3), Transmit(Queue.BUFFERS, buffers=2), Transmit(Queue.BUFFERS, buffers=1)]
)
COLUMNS = ("message_index", "release_ns", "ready_ns", "start_ns", "response_ns", "wire_bits", "waiting")


def assert_same(first: Run, second: Run) -> None:
    assert first.traffic.equal(second.traffic)
    for name in COLUMNS:
        assert (getattr(first, name) == getattr(second, name)).all(), name
    assert first.unfinished == second.unfinished
    assert first.released == second.released
    assert first.transmit_overruns == second.transmit_overruns


@given(catalogue=catalogues(), way=WAYS, data=st.data())
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_where_nothing_is_hit_nothing_is_different(
    catalogue: Catalogue, way: Mapping[str, Any], data: st.DataObject
) -> None:
    nodes = {name: replace(node, transmit=data.draw(TRANSMITS)) for name, node in catalogue.nodes.items()}
    catalogue = replace(catalogue, nodes=nodes)
    if data.draw(st.booleans()):
        asked, asker = catalogue.messages[0], data.draw(st.sampled_from(sorted(nodes)))
        asked = replace(asked, irregular=True, offset_ns=0, jitter_ns=0)
        request = replace(asked, name="ask", sender=asker, requests=asked.name, irregular=False, period_ns=10 * MS)
        catalogue = replace(catalogue, messages=(asked, *catalogue.messages[1:], request))
    plain = run_of(catalogue, 60 * MS, **way)
    scenario = scenario_of(catalogue, 60 * MS, **way)
    assert_same(plain, simulate_bus(scenario, {}, None, IN_VAIN))
    everybody = frozenset(catalogue.nodes)  # wires that part nobody
    assert_same(plain, simulate_bus(scenario, {}, None, Conditions(parted=(Parted((everybody,), 0),))))
