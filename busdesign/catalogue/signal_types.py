"""``signal_types``: keys that many signals share, written once; ``type: percent`` gives them to a signal.

What is written in the signal itself goes before. Types are filled in as plain data, before ``families`` spreads a
message out, so that a ``{leg}`` in a type's texts stands for the same as in the message's own.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Annotated, Any

from pydantic import Field, PlainValidator

from busdesign.catalogue.draft import SignalWritten
from busdesign.catalogue.edits import other_word, word_meant
from busdesign.catalogue.hints import Hints
from busdesign.catalogue.source import Source, Trail
from busdesign.catalogue.validation import validated
from busdesign.findings import Finding, Place, Refused, error, printable, shown

_SECTION = "signal_types"


def _no_type(written: object) -> None:
    raise Refused(f"a type cannot have a type itself, found {shown(written)}", "write out the keys that it should have")


class SignalTypeWritten(SignalWritten):
    """One entry of ``signal_types``: any keys of a signal but ``type``, none of them required."""

    bits: int | None = Field(None, description="length in bits, 1 to 64", ge=1, le=64)  # type: ignore[assignment]
    type: Annotated[str | None, PlainValidator(_no_type)] = Field(None, exclude=True)


@dataclass(frozen=True, slots=True)
class Filled:
    """A message, still as plain data, in which the types of its signals are filled in.

    ``is_whole`` is false if one of them could not be had: such a message can be looked over, but not used.
    """

    data: Any
    is_whole: bool = True
    from_types: Mapping[Trail, Trail] = field(default_factory=dict)

    def origin(self, trail: Trail) -> Trail:
        """Where that which ``trail`` leads to is written: in a type, or else where ``trail`` says."""
        for length in range(5, min(len(trail), 7) + 1):  # messages/m/signals/s/key, or one of a list of `for_each`
            found = self.from_types.get(trail[:length])
            if found:
                return (*found, *trail[length:])
        return trail


class SignalTypes:
    """The types of a catalogue: those that can be filled in, and the names of all."""

    def __init__(self, source: Source, findings: list[Finding]) -> None:
        """Read from ``source``; what is wrong with them, used or not, goes to ``findings``."""
        written = source.data.get(_SECTION)
        self._source = source
        self._types: dict[Any, dict[Any, Any]] = {}
        self._names = [name for name in written if isinstance(name, str)] if isinstance(written, dict) else []
        self._hints = Hints(self._names, _SECTION)
        for name in self._names:
            validated(SignalTypeWritten, written[name], source, (_SECTION, name), findings)
            if isinstance(written[name], dict) and "type" not in written[name]:
                self._types[name] = written[name]

    def fill(self, name: str, message: Any, findings: list[Finding]) -> Filled:
        """The ``message`` called ``name``, its types filled in; types that nobody knows go to ``findings``."""
        places = [(at, signals) for at, signals in _signals_of(name, message) if _any_has_type(signals)]
        if not places:
            return Filled(message)
        from_types: dict[Trail, Trail] = {}
        filled = {at: self._fill(at, signals, from_types) for at, signals in places}
        unknown = [at for at, signals in places for at in self._unknown(at, signals, findings)]
        return Filled(_with(message, filled), not unknown, from_types)

    def _fill(self, at: Trail, signals: dict[Any, Any], from_types: dict[Trail, Trail]) -> dict[Any, Any]:
        result = dict(signals)
        for name, signal in signals.items():
            if not isinstance(signal, dict) or "type" not in signal:
                continue
            shared = self._of(signal)
            if shared is None:
                result[name] = {"bits": 1, **signal}  # which nobody will use: the type's bits are not worth a finding
                continue
            result[name] = {**shared, **signal}
            from_types.update(
                {(*at, name, key): (_SECTION, signal["type"], key) for key in shared if key not in signal}
            )
        return result

    def _of(self, signal: dict[Any, Any]) -> dict[Any, Any] | None:
        return self._types.get(signal["type"]) if isinstance(signal["type"], str) else None

    def _unknown(self, at: Trail, signals: dict[Any, Any], findings: list[Finding]) -> Iterator[Trail]:
        """Where the signals stand whose type cannot be had."""
        for name, signal in signals.items():
            if isinstance(signal, dict) and "type" in signal and self._of(signal) is None:
                yield (*at, name)
                kind = signal["type"]
                if isinstance(kind, str) and kind and kind not in self._names:  # else it has been said, or will be
                    findings.append(self._no_such(kind, self._source.of_value((*at, name, "type"))))

    def _no_such(self, kind: str, where: Place) -> Finding:
        text = f"there is no signal type {shown(kind)}"
        if "{" in kind:
            return error("unknown-type", where, text, "the name of a type holds no word of `for_each`")
        hint = (self._hints.of(kind) if self._names else "") or "write it under `signal_types` at the top of the file"
        return error("unknown-type", where, text, hint, other_word(where, kind, word_meant(kind, self._names, hint)))


def told_once(findings: Iterable[Finding], source: Source) -> list[Finding]:
    """``findings``, of which those about a type name it, and are not repeated for each signal that has it."""
    types = {
        place: str(trail[1])
        for trail, places in source.places.items()
        if len(trail) > 1 and trail[0] == _SECTION
        for place in places
    }
    kept: dict[object, Finding] = {}
    for found in findings:
        name = types.get(found.where) if found.where else None
        if name is None:
            kept[found] = found
        else:
            kept.setdefault((found.rule, found.where), replace(found, text=printable(f"type `{name}`: {found.text}")))
    return list(kept.values())


def _signals_of(name: str, message: Any) -> Iterator[tuple[Trail, Any]]:
    """The mappings of signals in a message: its own, and those that ``for_each`` gives to single members."""
    if not isinstance(message, dict):
        return
    yield ("messages", name, "signals"), message.get("signals")
    for_each = message.get("for_each")
    listed = for_each.get("signals") if isinstance(for_each, dict) else None
    for index, signals in enumerate(listed if isinstance(listed, list) else ()):
        yield ("messages", name, "for_each", "signals", index), signals


def _any_has_type(signals: Any) -> bool:
    return isinstance(signals, dict) and any(
        "type" in signal for signal in signals.values() if isinstance(signal, dict)
    )


def _with(message: dict[Any, Any], filled: Mapping[Trail, Any]) -> dict[Any, Any]:
    """``message`` with the mappings of signals that ``filled`` holds in place of its own."""
    result = dict(message)
    for at, signals in filled.items():
        if at[2] == "signals":
            result["signals"] = signals
        else:
            listed = list(result["for_each"]["signals"])
            listed[at[4]] = signals
            result["for_each"] = {**result["for_each"], "signals": listed}
    return result
