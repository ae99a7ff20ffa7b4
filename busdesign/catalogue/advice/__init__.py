"""What a consistent catalogue had better say otherwise: each rule is a function from a catalogue to findings.

``rules`` refuses what cannot be used; here is what can be used and is likely to hurt. ``ADVICE`` is the list of all.
"""

from collections.abc import Callable, Iterator

from busdesign.catalogue.advice import (
    acceptance,
    codes,
    functions,
    identifiers,
    names,
    protection,
    receivers,
    signals,
    timing,
)
from busdesign.catalogue.model import Catalogue
from busdesign.findings import Finding

Rule = Callable[[Catalogue], Iterator[Finding]]

ADVICE: tuple[Rule, ...] = (
    receivers.nobody_receives,
    receivers.own_receiver,
    receivers.receiver_twice,
    receivers.idle_node,
    receivers.no_lost_after,
    acceptance.slow_to_believe,
    acceptance.event_never_believed,
    acceptance.acceptance_of_nothing,
    acceptance.safe_never_taken,
    acceptance.moves_on_bad_frames,
    protection.moves_unprotected,
    protection.moves_unguarded,
    protection.moves_irregularly,
    protection.counter_wraps,
    protection.check_of_nothing,
    protection.data_id_missing,
    protection.data_id_twice,
    identifiers.priority_upside_down,
    identifiers.one_bit_from_a_flood,
    identifiers.leading_bits_recessive,
    identifiers.same_number_twice,
    timing.deadline_beyond_period,
    timing.jitter_beyond_period,
    timing.offset_beyond_period,
    timing.periods_beat,
    timing.released_together,
    signals.starts_elsewhere,
    signals.starts_as_if_known,
    signals.number_without_unit,
    signals.mixed_byte_orders,
    signals.one_name_two_meanings,
    codes.page_without_signals,
    codes.unused_codes,
    functions.broken_path,
    names.alike_names,
    names.keyword_name,
)


def advice_on(catalogue: Catalogue) -> Iterator[Finding]:
    """Everything that ``ADVICE`` has to say."""
    for rule in ADVICE:
        yield from rule(catalogue)
