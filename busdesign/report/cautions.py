"""What a reader must know before anything here is taken to an aircraft, and what the figures leave out."""

from busdesign.analysis import response
from busdesign.catalogue.model import Catalogue
from busdesign.report.markup import prose, text
from busdesign.virtual import kernel

CAUTIONS = (
    "This is a design aid. It is not certified, and nothing on this page is evidence of airworthiness.",
    "A bound holds for the bus as the catalogue describes it. A board, a wire or a program that differs voids it.",
    "A simulated run shows what happened in that run. It does not show that nothing worse can happen.",
    "Keep people and tools clear of landing gear that can move. Messages on this bus can move metal.",
    "Have the aircraft on jacks before anything that is connected to the bus is allowed to move a leg.",
    "Emergency extension must be independent of this bus, of its boards and of their supply.",
    "Local codes, the responsible authority and licensed practice decide what may be built, changed and flown.",
)


def cautions_section(catalogue: Catalogue) -> str:
    """The cautions in full, with what the catalogue says of its own figures."""
    said = catalogue.comment
    about = f"<p>The catalogue says of itself: <q>{prose(said)}</q></p>" if said else ""
    items = "\n".join(f"<li>{text(caution)}</li>" for caution in CAUTIONS)
    return f'<section id="cautions"><h2>Cautions</h2>\n<ul class="cautions">\n{items}\n</ul>\n{about}</section>'


def scope_section() -> str:
    """What is modelled and what is not, in the words of the modules that make the figures."""
    parts = []
    for what, source in (("the bounds", response), ("the simulated runs", kernel)):
        parts.append(f"<dt>Modelled in {what}</dt><dd>{prose(source.MODELLED)}</dd>")
        parts.append(f"<dt>Not modelled in {what}</dt><dd>{prose(source.NOT_MODELLED)}</dd>")
    inner = "\n".join(parts)
    return f'<section id="scope"><h2>What is modelled, and what is not</h2>\n<dl>\n{inner}\n</dl></section>'
