"""Teaches hypothesis what traffic is: tests ask for `st.from_type(Traffic)`."""

from hypothesis import strategies as st

from busdesign.traffic.frames import BUS_ERROR_CLASS, Row, Traffic
from busdesign.wire.flags import ERROR, EXTENDED, REMOTE

_CHANNELS = ("can0", "vcan1", "left,right", 'the"odd"one', "κανάλι")
_TIMES_NS = st.one_of(
    st.integers(0, 2**63 - 1),
    st.integers(0, 10**10),
    st.integers(0, 2 * 10**15).map(lambda microseconds: microseconds * 1000),
)


@st.composite
def _rows(draw: st.DrawFn) -> Row:
    end_ns, channel = draw(_TIMES_NS), draw(st.integers(0, len(_CHANNELS) - 1))
    flags = draw(st.sampled_from([0, EXTENDED, REMOTE, EXTENDED | REMOTE, ERROR]))
    identifier = draw(st.integers(0, 0x1FFF_FFFF if flags & (EXTENDED | ERROR) else 0x7FF))
    if flags & ERROR:
        identifier |= BUS_ERROR_CLASS
    if flags & REMOTE:
        return end_ns, identifier, flags, draw(st.integers(0, 15)), channel, 0
    data = draw(st.binary(max_size=8))
    return end_ns, identifier, flags, len(data), channel, int.from_bytes(data, "little")


def _traffic(rows: list[Row]) -> Traffic:
    return Traffic.of_rows(rows, _CHANNELS)


st.register_type_strategy(Traffic, st.lists(_rows(), min_size=1, max_size=12).map(_traffic))
