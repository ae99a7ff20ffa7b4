"""The catalogue as a DBC file, for tools that read the trade's common database format.

Carried: name and revision, nodes, messages with 11- and 29-bit identifiers, senders, receivers, signals with byte
order, sign, factor, offset, limits, unit, codes (`unknown` and `invalid` among them), start values and comments, float
signals, multiplexed ones at any depth (``dbc_pages``), shared codes by name, periods, kinds of sending, the bit rate. A
constant is a signal with that one value. Reserved bits are left out: what DBC does not name, nobody looks at. A remote
request is left out too, since DBC knows a message by its identifier; what it asks for says who asks, and how often.
What else words can say stands in attributes of our own (``dbc_timing``, ``dbc_attributes``). What DBC has no word
for, and what it can say only roughly, is listed in ``losses``.

The text depends on the catalogue alone: no date, nodes and messages by name, signals by their place in the payload, so
that a small change in the catalogue is a small change here. Lines end in CR LF as DBC files do; a line break inside a
comment stays the LF that was written.
"""

from dataclasses import dataclass

from busdesign.catalogue.model import Catalogue
from busdesign.errors import CatalogueError
from busdesign.export.dbc_losses import losses_of
from busdesign.export.dbc_refusals import ENCODING, refusals
from busdesign.findings import Finding


@dataclass(frozen=True, slots=True)
class Rendered:
    """A DBC file: its ``text`` with its line ends, and in ``losses`` what is missing from it or altered."""

    text: str
    losses: tuple[Finding, ...]

    @property
    def data(self) -> bytes:
        """The file's bytes, in the encoding that readers of DBC expect."""
        return self.text.encode(ENCODING)


def render(catalogue: Catalogue) -> Rendered:
    """The DBC file of ``catalogue``.

    Raises CatalogueError with every place that would make the file unreadable or make it say something else.
    """
    refused = list(refusals(catalogue))
    if refused:
        raise CatalogueError(refused)
    from busdesign.export.dbc_database import dump  # loads cantools, which a check or a help text must not wait for

    return Rendered(dump(catalogue), losses_of(catalogue))
