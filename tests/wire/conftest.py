"""Teaches hypothesis what a classical frame is: tests ask for `st.from_type(Frame)`."""

from hypothesis import strategies as st

from busdesign.wire.frame import Frame

# Random payloads seldom hold long runs; these bytes bring stuff bits.
_BYTES = st.one_of(st.integers(0, 255), st.sampled_from([0x00, 0xFF, 0x0F, 0xF0, 0x3C, 0xC3, 0x1F, 0x07, 0xF8]))


@st.composite
def _frames(draw: st.DrawFn) -> Frame:
    extended, remote = draw(st.booleans()), draw(st.booleans())
    identifier = draw(st.integers(0, 0x1FFFFFFF if extended else 0x7FF))
    if remote:
        return Frame(identifier, extended=extended, remote=True, dlc=draw(st.integers(0, 15)))
    data = bytes(draw(st.lists(_BYTES, max_size=8)))
    dlc = draw(st.integers(8, 15)) if len(data) == 8 else None
    return Frame(identifier, data, extended, dlc=dlc)


st.register_type_strategy(Frame, _frames())
