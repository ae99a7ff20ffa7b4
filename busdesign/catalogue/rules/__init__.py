"""Checks of a draft catalogue, one topic a file: each rule is a function that takes a draft and yields findings.

``RULES`` is the list of all of them. A rule looks at what could be read and stays silent about the rest.
"""

from collections.abc import Callable, Iterator

from busdesign.catalogue.parts import Draft
from busdesign.catalogue.rules import (
    bit_timing,
    controllers,
    errors,
    filled_in,
    identifiers,
    kinds,
    layout,
    multiplexing,
    names,
    remote,
    timing,
    values,
    wires,
)
from busdesign.findings import Finding

Rule = Callable[[Draft], Iterator[Finding]]

RULES: tuple[Rule, ...] = (
    names.unusable_name,
    names.name_taken,
    names.unknown_node,
    names.unknown_step,
    identifiers.identifier_out_of_range,
    identifiers.duplicate_identifier,
    layout.payload_too_long,
    layout.does_not_fit,
    layout.check_not_on_a_byte,
    values.unknown_codes,
    values.code_outside_bits,
    values.duplicate_code,
    values.range_out_of_reach,
    values.too_coarse,
    values.initial_out_of_range,
    filled_in.counter,
    filled_in.check,
    multiplexing.unknown_selector,
    multiplexing.unreachable_page,
    kinds.float_signal,
    kinds.constant_or_reserved,
    kinds.no_value,
    remote.request,
    timing.no_timing,
    timing.offset_of_irregular,
    bit_timing.controller,
    bit_timing.bit_rate_out_of_reach,
    bit_timing.timing,
    errors.error_model,
    controllers.transmit,
    controllers.length_code,
    wires.harness_said_twice,
    wires.impossible_harness,
    wires.impossible_supply,
    wires.impossible_common_mode,
)
