"""Bit timing of a catalogue: each node's setting, given or chosen, as ``check`` judges it."""

import os
from collections.abc import Mapping

from busdesign.answers.timing_shape import BitTimingAnswer, setting_answer, trunk_answer
from busdesign.answers.wires_check import RecommendedAnswer, pair_answer, propagation_answer, recommended_answers
from busdesign.answers.wires_findings import wires_findings
from busdesign.answers.wires_judged import judged
from busdesign.catalogue.model import Catalogue
from busdesign.catalogue.reader import read_catalogue
from busdesign.catalogue.wires import NodeSetting
from busdesign.catalogue.wires_places import place_above
from busdesign.findings import Finding, Severity, sort_findings

RULES = ("clock-tolerance", "rate-inexact", "clocks-apart", "propagation")  # those of ``check`` that are about timing


def timing_of(catalogue: Catalogue | str | os.PathLike[str]) -> BitTimingAnswer:
    """The settings of a catalogue's nodes, or of the YAML file of one. Raises CatalogueError if it is unusable.

    Nodes without a clock have none; the answer's ``assumed`` names them.
    """
    definition = catalogue if isinstance(catalogue, Catalogue) else read_catalogue(catalogue)
    found = judged(definition)
    wires = found.harness
    findings = [each for each in wires_findings(definition, found) if each.rule in RULES]
    if not found.settings:
        findings.append(_no_clock(definition))
    propagation, trunk = None, None
    recommended: tuple[RecommendedAnswer, ...] = ()
    assumed = _assumed(definition, found.settings)
    if wires is not None and wires.propagation is not None and wires.trunk is not None:
        propagation = propagation_answer(wires.propagation, wires.trunk, wires.shortest)
        trunk = trunk_answer(wires.trunk)
        recommended = recommended_answers(wires.trunk.recommended)
        assumed += wires.assumed
    return BitTimingAnswer(
        settings=tuple(
            setting_answer(
                one.assessment,
                one.limits,
                node=one.node,
                is_given=one.is_given,
                has_delay=found.delay_ns is not None,
            )
            for one in found.settings.values()
        ),
        catalogue=definition.name,
        bit_rate_bit_s=float(definition.bus.bit_rate_bit_s),
        sample_point=float(definition.bus.sample_point),
        found=len(found.settings),
        why=(),
        rejected=(),
        clocks_apart=pair_answer(found.apart),
        propagation=propagation,
        trunk=trunk,
        recommended=recommended,
        assumed=tuple(assumed),
        findings=sort_findings(findings),
        holds=not any(each.severity is Severity.BROKEN for each in findings),
    )


def _no_clock(definition: Catalogue) -> Finding:
    text = "no node has a clock, so that no setting can be chosen or judged"
    fix = "add `clock: 16 MHz` to each node, and its `tolerance`"
    return Finding("no-clock", Severity.ADVICE, place_above(("nodes",), definition.places), text, fix)


def _assumed(definition: Catalogue, settings: Mapping[str, NodeSetting]) -> list[str]:
    found = [sentence for one in settings.values() for sentence in one.assumed]
    clockless = [name for name in definition.nodes if name not in settings]
    if settings and clockless:
        found.append(f"nothing of the clocks of {', '.join(clockless)}, which the catalogue does not give")
    return found
