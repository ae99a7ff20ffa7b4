"""What ``bus.errors`` may say at once."""

from collections.abc import Iterator

from busdesign.catalogue.parts import Draft
from busdesign.findings import Finding, error


def error_model(draft: Draft) -> Iterator[Finding]:
    """Neither a least distance nor a rate, or both; keys of the one beside the other."""
    written = draft.bus.errors if draft.bus else None
    if written is None:
        return
    at = ("bus", "errors")
    if written.at_least_apart is None and written.rate is None:
        text = "`errors` says neither how far apart errors are nor how often they come"
        yield error("error-model", draft.source.of_key(at), text, "add `at_least_apart: 10 ms`, or `rate: 30 per s`")
    elif written.at_least_apart is not None and written.rate is not None:
        text = "errors that keep a distance do not come at random: `rate` and `at_least_apart` exclude each other"
        yield error("error-model", draft.source.of_key((*at, "rate")), text, "remove one of the two")
    else:
        others = ("late_at_most",) if written.rate is None else ("burst", "lasting")
        for key in others:
            if key in written.model_fields_set:
                mate, word = ("rate", "at_least_apart") if written.rate is None else ("at_least_apart", "rate")
                text = f"`{key}` goes with `{mate}`, not with `{word}`"
                yield error("error-model", draft.source.of_key((*at, key)), text, f"remove `{key}`")
