"""Reading ``faults``: each entry held against its kind's keys, the catalogue and the length of the run."""

from busdesign.catalogue.source import Trail
from busdesign.findings import did_you_mean, nearest
from busdesign.scenario.draft_faults import FaultWritten
from busdesign.scenario.faults.fitting import check_fit
from busdesign.scenario.faults.kind import EXAMPLES, FaultKind
from busdesign.scenario.faults.kinds import KINDS
from busdesign.scenario.model import Fault
from busdesign.scenario.sections import Sections
from busdesign.units import format_duration


def read_faults(sections: Sections) -> tuple[Fault, ...]:
    """The faults in the order of time."""
    faults = []
    for trail, written in sections.entries("faults", FaultWritten):
        kind = KINDS[written.kind]
        if _keys_fit(trail, written, kind, sections):
            _check_names(trail, written, sections)
            _check_times(trail, written, sections)
            check_fit(trail, written, sections)
        faults.append(_fault(trail, written, sections))
    return tuple(sorted(faults, key=lambda fault: fault.at_ns))


def _keys_fit(trail: Trail, written: FaultWritten, kind: FaultKind, sections: Sections) -> bool:
    """Whether the entry has all keys that its kind needs and none that it does not take; complains if not."""
    fits, given = True, [key for key in written.model_fields_set if key not in kind.allowed]
    for key in sorted(given, key=lambda key: sections.source.of_key((*trail, key)).column):
        text = f"a fault of kind `{kind.name}` does not take `{key}`"
        near = nearest(key, [own for own in kind.keys if own not in written.model_fields_set])
        taken = ", ".join(f"`{own}`" for own in kind.keys)
        hint = f"did you mean `{near}`?" if near else f"its own keys are {taken}"
        sections.complain("unknown-key", sections.source.of_key((*trail, key)), text, hint)
        fits = False
    for key in kind.needs:
        if key not in written.model_fields_set:
            text = f"a fault of kind `{kind.name}` needs `{key}`"
            where = sections.source.of_value((*trail, "kind"))
            sections.complain("missing-key", where, text, f"add `{key}: {EXAMPLES[key]}`")
            fits = False
    return fits


def _check_names(trail: Trail, written: FaultWritten, sections: Sections) -> None:
    source = sections.source
    if written.node is not None:
        sections.is_node(written.node, source.of_value((*trail, "node")))
    for number, name in enumerate(written.between or ()):
        sections.is_node(name, source.of_value((*trail, "between", number)))
    if isinstance(written.seen_by, tuple):
        for number, name in enumerate(written.seen_by):
            sections.is_node(name, source.of_value((*trail, "seen_by", number)))
    if written.message is not None and sections.catalogue is not None:
        known = [message.name for message in sections.catalogue.messages]
        if written.message not in known:
            where, text = source.of_value((*trail, "message")), f"there is no message `{written.message}`"
            family = [m.name for m in sections.catalogue.messages if m.family == written.message]
            hint = f"it is a family: name one of {', '.join(f'`{name}`' for name in family[:8])}" if family else ""
            sections.complain("unknown-message", where, text, hint or did_you_mean(written.message, known))


def _check_times(trail: Trail, written: FaultWritten, sections: Sections) -> None:
    sections.check_in_run(written.at, (*trail, "at"))
    sections.check_in_run(written.until, (*trail, "until"), end_included=True)
    if written.until is not None and written.until <= written.at:
        text = f"the fault ends at {format_duration(written.until)}, but begins at {format_duration(written.at)}"
        where = sections.source.of_value((*trail, "until"))
        sections.complain("until-before-at", where, text, "`until` is a time of the run, not a duration")


def _fault(trail: Trail, written: FaultWritten, sections: Sections) -> Fault:
    return Fault(
        kind=written.kind,
        node=written.node or "",
        at_ns=written.at,
        until_ns=written.until,
        place=sections.source.of_value(trail),
        name=written.name or "",
        message=written.message or "",
        frame=written.frame,
        bit=written.bit or 0,
        field_name=written.field or "",
        attempts=written.attempts,
        seen_by="all" if written.seen_by is None else written.seen_by,
        rate=written.rate or 0 * written.error_rate,
        seed=written.seed,
        lasts_ns=written.lasts or 0,
        every_ns=written.every,
        time_out_ns=written.time_out,
        identifier=written.id or 0,
        extended=written.extended,
        length_bytes=written.bytes,
        by_ns=written.by or 0,
        payload_bit=written.payload_bit,
        one_in=written.one_in or 1,
        bit_rate_bit_s=written.bit_rate,
        sample_point=written.sample_point,
        clock_error=written.error or 0 * written.error_rate,
        position_m=written.position,
        between=tuple(written.between or ()),
        wire=written.wire or "",  # type: ignore[arg-type]
        ohm=written.ohm,
        error_rate=written.error_rate,
        voltage_v=written.voltage,
        restart_ns=written.restart,
    )
