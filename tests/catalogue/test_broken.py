"""Broken catalogues: for each the one finding that is said, where, in which words, and with which hint.

``§`` in the text marks the place where the caret must stand; it is taken out before reading.
"""

from dataclasses import dataclass

import pytest

from busdesign.catalogue.reader import parse_catalogue
from busdesign.errors import CatalogueError
from busdesign.findings import Finding, Severity

HEAD = """\
catalogue: tried
bus: {bit_rate: 250 kbit/s}
nodes: {panel: {}, strut: {}}
"""


@dataclass(frozen=True)
class Broken:
    """A text with a mark, and what must be said: the rule, a part of the text, a part of the hint."""

    what: str
    text: str
    rule: str
    says: str
    fix: str = ""


def messages(*lines: str, head: str = HEAD) -> str:
    return head + "messages:\n" + "".join(f"  {line}\n" for line in lines)


def message(rest: str) -> str:
    return messages(f"report: {{id: 0x10, from: panel, every: 10 ms, {rest}}}")


def signals(*written: str, rest: str = "") -> str:
    return messages(f"report: {{id: 0x10, from: panel, every: 10 ms, {rest}", f"  signals: {{{', '.join(written)}}}}}")


GOOD = signals("speed: {bits: 12}")

YAML_TRAPS = [
    Broken("empty", "§", "file-empty", "says nothing", "the right file"),
    Broken("only a comment", "§# nothing yet\n", "file-empty", "says nothing"),
    Broken("a list", "§- panel\n- strut\n", "wrong-value", "`catalogue`, `bus`, `nodes` and `messages`, found a list"),
    Broken("a word", "§hello\n", "wrong-value", "found `hello`", "`catalogue: its name`"),
    Broken("nothing", "§~\n", "wrong-value", "found nothing"),
    Broken("two documents", GOOD + "§---\n" + GOOD, "yaml-syntax", "a second YAML document", "one file"),
    Broken(
        "duplicate key",
        HEAD + "§nodes: {more: {}}\nmessages: {m: {from: panel, every: 1 s}}\n",
        "duplicate-key",
        "the key `nodes` stands here a second time (first in line 3)",
        "rename or remove",
    ),
    Broken("duplicate signal", signals("s: {bits: 1}", "§s: {bits: 2}"), "duplicate-key", "`s`", "rename"),
    Broken(
        "could be octal",
        GOOD.replace("0x10", "§010"),
        "leading-zero",
        "`010` can be read as 10 or, in octal, as 8",
        "`10`, or `0o10`",
    ),
    Broken("begins with zero", GOOD.replace("0x10", "§090"), "leading-zero", "`090` begins with a zero", "`90`"),
    Broken("digits without end", GOOD.replace("0x10", "§" + "0" * 5000), "number-too-long", "5000", "40"),
    Broken("beyond floats", signals("s: {bits: 8, factor: §1e999}"), "number-too-long", "`1e999`", "1e30"),
    Broken("tag", GOOD.replace("0x10", "§!!int 16"), "yaml-tag", "`!!int`", "leave the tag out"),
    Broken("tag of a program", GOOD.replace("tried", "§!!python/object:os.system x"), "yaml-tag", "not used here"),
    Broken("list as a key", HEAD + "§[a, b]: 1\n" + GOOD[len(HEAD) :], "yaml-key", "a key is a single word or number"),
    Broken("tabs", GOOD.replace("\n  report", "\n§\treport"), "yaml-syntax", "cannot begin", "spaces, never with tabs"),
    Broken("control character", GOOD.replace("speed", "sp§\x07eed"), "control-character", "U+0007", "text file"),
    Broken("NUL", GOOD.replace("speed", "sp§\0eed"), "control-character", "U+0000"),
    Broken("alias of nothing", GOOD.replace("0x10", "§*first"), "yaml-syntax", "refers to nothing", "`&name`"),
    Broken("alias of itself", "§&all {catalogue: x, bus: *all}\n", "yaml-alias", "never ends"),
    Broken("merge of a word", GOOD.replace("every", "§<<: 5, every"), "yaml-merge", "mappings only", "`<<: *name`"),
    Broken("40 levels", "catalogue: " + "[" * 40 + "§x" + "]" * 40, "yaml-depth", "more than 40 levels", "bracket"),
    Broken("2000 levels", "[" * 1000 + "§" + "[" * 1000, "yaml-depth", "nested too deeply", "40 levels"),
    Broken("open quote", GOOD.replace("tried", '§"tried'), "yaml-syntax", "quote opened here is never closed", "close"),
    Broken(
        "open bracket", GOOD.replace("{}}\n", "{}\n§"), "yaml-syntax", "begun in line 3 wants a `,` or a `}`", "quote"
    ),
    Broken("two colons", "catalogue: a§: b\n", "yaml-syntax", "a second `: `", "quotes round a text"),
    Broken("crooked", "bus:\n    bit_rate: 1 Mbit/s\n  §nodes: {}\n", "yaml-syntax", "line up", "line above"),
    Broken(
        "tab in a line that goes on",
        GOOD.replace("tried\n", "tried\n§\t"),
        "yaml-syntax",
        "a tab stands",
        "spaces, never with tabs",
    ),
    Broken(
        "no space after the colon",
        HEAD + "messages:\n  report:\n    §id:0x100\n    from: panel\n",
        "yaml-syntax",
        "no space follows the `:` of `id`",
        "write `id: 0x100`",
    ),
    Broken(
        "no space at the end",
        HEAD + "messages:\n  report:\n    from: panel\n    §every:50 ms  # often\n",
        "yaml-syntax",
        "no space follows the `:` of `every`",
        "write `every: 50 ms`",
    ),
    Broken(
        "no space in braces", GOOD.replace("every: 10 ms", "every: 10 ms, §to:strut"), "unknown-key", "", "`to: strut`"
    ),
    Broken("percent sign", signals("s: {bits: 8, unit: §%}"), "yaml-syntax", "cannot begin with", "quotes"),
]

SHAPES = [
    Broken(
        "no bus", "§catalogue: x\nnodes: {a: {}}\nmessages: {m: {from: a, every: 1 s}}\n", "missing-key", "`bus`", "add"
    ),
    Broken("unknown key", HEAD + "§mesages: {}\n" + GOOD[len(HEAD) :], "unknown-key", "`mesages`", "`messages`"),
    Broken("number as key", HEAD + "§7: {}\n" + GOOD[len(HEAD) :], "unknown-key", "`7`", "`catalogue`, `revision`"),
    Broken("unlike any key", signals("s: {bits: 8, §zzz: 1}"), "unknown-key", "`zzz`", "`bits`, `start`, `byte_order`"),
    Broken("misspelt for_each", message("§for_eech: {}"), "unknown-key", "`for_eech`", "did you mean `for_each`?"),
    Broken(
        "text for number", signals("s: {bits: §twelve}"), "wrong-value", "a whole number, found `twelve`", "1 to 64"
    ),
    Broken("quoted number", signals("s: {bits: §'12'}"), "wrong-value", "found `'12'`", "leave the quotes out"),
    Broken("12.0", signals("s: {bits: §12.0}"), "wrong-value", "a whole number, found `12.0`", "write `12`"),
    Broken("part of a bit", signals("s: {bits: §1.5}"), "wrong-value", "a whole number, found `1.5`", "1 to 64"),
    Broken("boolean for number", signals("s: {bits: §true}"), "wrong-value", "found `true`", "1 to 64"),
    Broken("no bits at all", signals("s: {bits: §0}"), "wrong-value", "`0` is out of range: at least 1", "1 to 64"),
    Broken("too many bits", signals("s: {bits: §65}"), "wrong-value", "`65` is out of range: at most 64", "1 to 64"),
    Broken("id below zero", GOOD.replace("0x10", "§-1"), "wrong-value", "`-1` is out of range: at least 0", "0x110"),
    Broken("yes", message("moves: §yes"), "wrong-value", "`true` or `false`, found `yes`", "write `true`"),
    Broken("off", message("moves: §off"), "wrong-value", "`true` or `false`, found `off`", "write `false`"),
    Broken("number for text", GOOD.replace("tried", "§5"), "wrong-value", "expected a text, found `5`", "quotes"),
    Broken("list for mapping", messages("report: §[panel]"), "wrong-value", "a mapping", "`for_each`, `id`"),
    Broken("mapping for list", signals("s: {bits: 8, range: §{a: 1}}"), "wrong-value", "a list", "`[0, 100]`"),
    Broken("mapping for number", signals("s: {bits: 8, factor: §{a: 1}}"), "wrong-value", "a number, found a mapping"),
    Broken("range of one", signals("s: {bits: 8, range: §[0]}"), "wrong-value", "at least 2 entries, found 1"),
    Broken("range of three", signals("s: {bits: 8, range: §[0, 1, 2]}"), "wrong-value", "at most 2 entries, found 3"),
    Broken("range of words", signals("s: {bits: 8, range: [§low, 9]}"), "wrong-value", "a number, found `low`"),
    Broken("infinite", signals("s: {bits: 8, factor: §.inf}"), "wrong-value", "a number, found `.inf`"),
    Broken("no number", signals("s: {bits: 8, offset: §.nan}"), "wrong-value", "a number, found `.nan`"),
    Broken(
        "gigantic", signals("s: {bits: 8, factor: §1e31}"), "wrong-value", "`1e+31` is out of range", "raw * factor"
    ),
    Broken("signals empty", message("§signals: "), "wrong-value", "`signals` has nothing behind it", "its fields"),
    Broken("deadline empty", message("§deadline: "), "wrong-value", "`deadline` has nothing behind it", "`10 ms`"),
    Broken(
        "null", message("§id2: null").replace("id: 0x10, ", "").replace("id2", "id"), "wrong-value", "nothing behind it"
    ),
    Broken("message empty", messages("§report:"), "wrong-value", "found nothing", "its keys are"),
    Broken("no messages", HEAD + "messages: §{}\n", "wrong-value", "at least 1 entry, found none", "such as"),
    Broken("sender is a list", GOOD.replace("from: panel", "from: §[panel]"), "wrong-value", "a text, found a list"),
    Broken("sender in braces", GOOD.replace("from: panel", "from: §{leg}"), "wrong-value", "a mapping", "`'{leg}'`"),
    Broken("receiver is 5", message("to: [strut, §5]"), "wrong-value", "expected a text, found `5`"),
    Broken("name is a number", messages("§1: {id: 1, from: panel, every: 1 s}"), "wrong-value", "`1` is not a name"),
    Broken(
        "name is null",
        HEAD.replace("panel: {}, ", "§~: {}, ") + "messages: {m: {from: strut, every: 1 s}}\n",
        "wrong-value",
        "`~` is not a name",
        "letter",
    ),
    Broken("name is empty", signals("§'': {bits: 8}"), "wrong-value", "`''` is not a name", "letter"),
    Broken("codes turned round", signals("s: {bits: 8, codes: {§yes: 1}}"), "wrong-value", "found `yes`", "`1: yes`"),
    Broken("codes with null", signals("s: {bits: 8, codes: {1: on, §~: off}}"), "wrong-value", "found `~`", "`0: off`"),
    Broken("code is true", signals("s: {bits: 8, codes: {1: §true}}"), "wrong-value", "a text, found `true`", "quotes"),
    Broken("code is nothing", signals("s: {bits: 8, codes: {1: §''}}"), "wrong-value", "a text, found `''`"),
    Broken("codes are a list", signals("s: {bits: 8, codes: §[a]}"), "wrong-value", "name of codes or a mapping"),
    Broken(
        "start with a list", signals("s: {bits: 8, initial: §[1]}"), "wrong-value", "a number or the word of a code"
    ),
    Broken("byte order", signals("s: {bits: 8, byte_order: §bigg}"), "wrong-value", "found `bigg`", "mean `big`?"),
    Broken("unprintable", signals(r's: {bits: §"\e[31m\n"}'), "wrong-value", r"found `\x1b[31m\n`"),
    Broken("long", signals(f"s: {{bits: §{'x' * 500}}}"), "wrong-value", f"found `{'x' * 57}...`"),
]

QUANTITIES = [
    Broken(
        "no unit", GOOD.replace("10 ms", "§10"), "wrong-unit", "`10` has no unit", "a duration is written like `50 ms`"
    ),
    Broken("other kind", GOOD.replace("10 ms", "§10 m"), "wrong-unit", "`m` measures a length", "`s`, `ms`, `us`"),
    Broken("other case", GOOD.replace("10 ms", "§10 MS"), "wrong-unit", "`MS` is not a unit of it", "mean `ms`?"),
    Broken("unheard of", GOOD.replace("10 ms", "§10 jiffies"), "wrong-unit", "`jiffies`", "allowed: `s`, `ms`"),
    Broken("clock-like", GOOD.replace("10 ms", "§1:30"), "wrong-unit", "`1:30` is not a duration"),
    Broken("a word", GOOD.replace("10 ms", "§often"), "wrong-value", "such as `50 ms`, found `often`"),
    Broken("a list", GOOD.replace("10 ms", "§[10 ms]"), "wrong-value", "such as `50 ms`, found a list"),
    Broken("zero", GOOD.replace("10 ms", "§0 ms"), "wrong-value", "longer than zero", "`50 ms`"),
    Broken("negative", message("offset: §-3 ms"), "wrong-value", "`-3 ms` is negative", "zero or more"),
    Broken("finer than time", message("jitter: §1.5 ns"), "wrong-value", "whole number of nanoseconds", "`2 ns`"),
    Broken("longer than time", message("deadline: §1e30 h"), "wrong-value", "too long", "1000000000 s"),
    Broken("bit rate", GOOD.replace("250 kbit/s", "§250"), "wrong-unit", "`250` has no unit", "`250 kbit/s`"),
    Broken("baud", GOOD.replace("250 kbit/s", "§250 kbps"), "wrong-unit", "`kbps`", "did you mean `kbit/s`?"),
    Broken(
        "Mega for kilo",
        GOOD.replace("250 kbit/s", "§250 Mbit/s"),
        "wrong-value",
        "`250 Mbit/s` is too fast",
        "`1 Mbit/s` is the most of classical CAN",
    ),
    Broken("Giga", GOOD.replace("250 kbit/s", "§1 Gbit/s"), "wrong-value", "too fast", "`1 Mbit/s` is the most"),
    Broken(
        "tolerance without unit",
        GOOD.replace("strut: {}", "strut: {tolerance: §50}"),
        "wrong-unit",
        "`50` has no unit",
        "write `50 ppm`",
    ),
    Broken(
        "decimal comma",
        GOOD.replace("strut: {}", "strut: {tolerance: §0,5 %, clock: 16 MHz}"),
        "decimal-comma",
        "`0,5 %` has a decimal comma",
        "write `0.5 %`: a decimal point, not a comma",
    ),
    Broken("comma in a number", signals("s: {bits: 8, factor: §0,5}"), "decimal-comma", "`0,5`", "write `0.5`"),
    Broken(
        "comma in a text",
        signals("s: {bits: 8, factor: §'0,5'}"),
        "wrong-value",
        "a number, found `0,5`",
        "write `0.5`: a decimal point",
    ),
    Broken(
        "sample point", GOOD.replace("kbit/s}", "kbit/s, sample_point: §0.875}"), "wrong-unit", "no unit", "`87.5 %`"
    ),
    Broken(
        "outside the bit", GOOD.replace("kbit/s}", "kbit/s, sample_point: §120 %}"), "wrong-value", "outside the bit"
    ),
    Broken(
        "tolerance", GOOD.replace("strut: {}", "strut: {tolerance: §50 %}"), "wrong-value", "tolerance", "below 10 %"
    ),
    Broken("clock", GOOD.replace("strut: {}", "strut: {clock: §0 MHz}"), "wrong-value", "above zero", "`16 MHz`"),
    Broken(
        "wires", GOOD.replace("kbit/s}", "kbit/s, harness: {termination: §120 m}}"), "wrong-unit", "a length", "`ohm`"
    ),
]

RULES = [
    Broken("node name", GOOD.replace("strut", "§left-strut"), "unusable-name", "the node `left-strut`", "`left_strut`"),
    Broken("message name", GOOD.replace("report", "§2nd report"), "unusable-name", "`2nd report`", "`_2nd_report`"),
    Broken("signal name", signals("§never: {bits: 1}"), "unusable-name", "a word of expectations", "`never_`"),
    Broken("unknown sender", GOOD.replace("from: panel", "from: §Pannel"), "unknown-node", "`Pannel`", "mean `panel`?"),
    Broken("unknown receiver", message("to: §wheel"), "unknown-node", "no node `wheel`", "allowed: `panel`, `strut`"),
    Broken("one of them", message("to: [strut, §strutt]"), "unknown-node", "`strutt`", "did you mean `strut`?"),
    Broken("message is a node", GOOD.replace("report", "§strut"), "name-taken", "is a node already", "`strut_message`"),
    Broken(
        "identifier twice",
        messages("a: {id: 0x7FF, from: panel, every: 1 s}", "b: {id: §0x7FF, from: panel, every: 1 s}"),
        "duplicate-identifier",
        "0x7FF belongs to `a` (line 5) already",
        "0x7FE is free",
    ),
    Broken(
        "identifier too large", GOOD.replace("0x10", "§0x800"), "identifier-out-of-range", "12 bits", "`extended: true`"
    ),
    Broken(
        "extended too large",
        message("extended: true").replace("0x10", "§0x20000000"),
        "identifier-out-of-range",
        "30 bits; 29 is the most",
        "0x1FFFFFFF is the last extended",
    ),
    Broken("nine bytes", message("bytes: §9"), "payload-too-long", "9 bytes are more than", "8 is the most"),
    Broken("billions of bytes", signals("s: {bits: 8}", rest="bytes: §9999999999,"), "payload-too-long", "9999999999"),
    Broken(
        "overlap",
        signals("a: {bits: 8}", "b: {bits: 8, start: 0}", "c: {bits: 4, start: §6}"),
        "signal-overlap",
        "`c` overlaps `b` in bits 6 to 7",
        "`start: 8` is free",
    ),
    Broken(
        "overlap in full payload",
        signals("a: {bits: 64, start: 0}", "b: {bits: 1, start: §63}"),
        "signal-overlap",
        "`b` overlaps `a` in bit 63",
        "shorten a signal",
    ),
    Broken(
        "outside",
        signals("a: {bits: 8, start: §60}"),
        "signal-outside",
        "bits 64 to 67, but bit 63 is the last of 8 bytes",
        "`start: 0`",
    ),
    Broken(
        "starts outside the payload",
        signals("a: {bits: 12, start: §64, byte_order: big}"),
        "signal-outside",
        "`a` starts at bit 64, but bit 63 is the last of 8 bytes",
        "`start: 7`",
    ),
    Broken(
        "outside in pieces",
        signals("a: {bits: 20, start: §62, byte_order: big}"),
        "signal-outside",
        "`a` reaches as far as bit 79, but bit 63 is the last of 8 bytes",
        "`start: 7`",
    ),
    Broken(
        "outside 2 bytes",
        signals("a: {bits: 17, start: §0}", rest="bytes: 2,"),
        "signal-outside",
        "reaches bit 16, but bit 15 is the last of 2 bytes",
        "`bytes: 3`",
    ),
    Broken(
        "big-endian outside",
        signals("a: {bits: 9, start: §63, byte_order: big}"),
        "signal-outside",
        "reaches bit 71",
        "`start: 7` is free",
    ),
    Broken("no room", signals("a: {bits: 60}", "§b: {bits: 5}"), "signal-outside", "4 of 64 bits are free", "shorten"),
    Broken(
        "room in pieces",
        signals("a: {bits: 2, start: 31}", "§b: {bits: 40}"),
        "signal-outside",
        "62 of 64 bits are free, but not together",
        "shorten",
    ),
    Broken("no bytes", signals("§a: {bits: 1}", rest="bytes: 0,"), "signal-outside", "0 of 0 bits", "`bytes: 1`"),
    Broken(
        "check between bytes",
        signals("a: {bits: 8, crc: crc8-j1850, start: §4}", "b: {bits: 4}"),
        "check-not-on-a-byte",
        "`a` starts at bit 4",
        "leave `start` out",
    ),
    Broken(
        "check amid a byte",
        signals("a: {bits: 8, crc: crc8-2f, start: §12, byte_order: big}"),
        "check-not-on-a-byte",
        "`a` starts at bit 12",
        "`start: 15`",
    ),
    Broken("unknown codes", signals("s: {bits: 8, codes: §lamp}"), "unknown-codes", "called `lamp`", "at the top"),
    Broken(
        "near codes",
        signals("s: {bits: 8, codes: §lmp}").replace("nodes", "codes: {lamp: {0: a}}\nnodes"),
        "unknown-codes",
        "called `lmp`",
        "did you mean `lamp`?",
    ),
    Broken(
        "code too large",
        signals("s: {bits: 2, codes: {0: a, §4: b}}"),
        "code-outside-bits",
        "2 bits 0 to 3 fit",
        "`bits: 3`",
    ),
    Broken(
        "code below zero",
        signals("s: {bits: 4, codes: {§-1: a, 8: b}}"),
        "code-outside-bits",
        "code -1 (`a`)",
        "`signed: true, bits: 5`",
    ),
    Broken(
        "named code too large",
        signals("s: {bits: 1, codes: §lamp}").replace("nodes", "codes: {lamp: {2: a}}\nnodes"),
        "code-outside-bits",
        "code 2 (`a`) is outside `s`, in whose 1 bit 0 to 1 fit",
        "`bits: 2`",
    ),
    Broken(
        "code beyond reason", signals(f"s: {{bits: 8, codes: {{§{10**30}: a}}}}"), "code-outside-bits", "", "64 bits"
    ),
    Broken(
        "two numbers one word",
        signals("s: {bits: 8, codes: {0: on, 1: §on}}"),
        "duplicate-code",
        "`on` is the word for 0 already, and for 1 too",
        "`on_1`",
    ),
    Broken(
        "two numbers one word, shared",
        GOOD.replace("nodes", "codes: {lamp: {0: on, 5: §on}}\nnodes"),
        "duplicate-code",
        "`on` is the word for 0 already, and for 5 too",
    ),
    Broken("factor 0", signals("s: {bits: 8, factor: §0}"), "factor-zero", "factor 0", "leave `factor` out"),
    Broken(
        "upside down",
        signals("s: {bits: 8, range: §[9, 3]}"),
        "range-upside-down",
        "from 9 down to 3",
        "`range: [3, 9]`",
    ),
    Broken(
        "out of reach",
        signals("s: {bits: 10, factor: 0.1, unit: mm, range: §[0, 400]}"),
        "range-out-of-reach",
        "10 bits and reaches 0 to 102.3 mm, but its range goes from 0 to 400 mm",
        "`bits: 12`",
    ),
    Broken(
        "below reach", signals("s: {bits: 8, range: §[-50, 150]}"), "range-out-of-reach", "0 to 255", "`offset: -50`"
    ),
    Broken(
        "below and above reach",
        signals("s: {bits: 8, range: §[-200, 200]}"),
        "range-out-of-reach",
        "0 to 255",
        "`signed: true, bits: 9`",
    ),
    Broken(
        "falling factor",
        signals("s: {bits: 8, factor: -1, range: §[0, 100]}"),
        "range-out-of-reach",
        "reaches -255 to 0",
        "`offset: 100`",
    ),
    Broken(
        "between steps",
        signals("s: {bits: 8, factor: 10, unit: V, range: §[11, 19]}"),
        "range-between-steps",
        "from 11 to 19 V",
        "10 V apart",
    ),
    Broken(
        "counter too wide",
        signals("s: {bits: 4, counts: 1, modulo: §17}"),
        "counter",
        "15 is the most in 4 bits",
        "`bits: 5`",
    ),
    Broken("counter standing still", signals("s: {bits: 2, counts: §4}"), "counter", "steps by 4", "`counts: 1`"),
    Broken("modulo alone", signals("s: {bits: 4, §modulo: 15}"), "counter", "belongs to a counter", "`counts: 1`"),
    Broken("scaled counter", signals("s: {bits: 4, counts: 1, §factor: 2}"), "counter", "`factor` does not go"),
    Broken("counter and check", signals("s: {bits: 8, counts: 1, §crc: crc8-2f}"), "counter", "at once", "two signals"),
    Broken("unknown check", signals("s: {bits: 8, crc: §crc8-j1580}"), "check", "`crc8-j1580`", "`crc8-j1850`?"),
    Broken(
        "half a check",
        signals("s: {bits: 8, crc: §crc8}"),
        "check",
        "no check is called `crc8`",
        "did you mean `crc8-j1850`, `crc8-j1850-zero` or `crc8-2f`?",
    ),
    Broken("narrow check", signals("s: {bits: §7, crc: crc8-2f}"), "check", "makes 8 bits, but `s` has 7", "`bits: 8`"),
    Broken(
        "two checks", signals("a: {bits: 8, crc: crc8-2f}", "b: {bits: 8, crc: §crc8-2f}"), "check", "second", "one"
    ),
    Broken(
        "signed check", signals("a: {bits: 8, crc: crc8-2f, §signed: true}"), "check", "`signed` does not go", "remove"
    ),
    Broken("data_id alone", signals("s: {bits: 8, §data_id: 5}"), "check", "belongs to a check", "crc8-j1850"),
    Broken("data_ids alone", signals("s: {bits: 8, §data_ids: [5, 6]}"), "check", "belongs to a check", "crc8-j1850"),
    Broken(
        "way of no data id",
        signals("a: {bits: 8}", "s: {bits: 8, crc: crc8-2f, §data_id_as: behind}"),
        "check",
        "`s` has none",
        "add `data_id`",
    ),
    Broken(
        "unknown way of a data id",
        signals("a: {bits: 8}", "s: {bits: 8, crc: crc8-2f, data_id: 5, data_id_as: §behnd}"),
        "wrong-value",
        "found `behnd`",
        "did you mean `behind`?",
    ),
    Broken(
        "a data id and a list",
        signals("c: {bits: 1, counts: 1}", "s: {bits: 8, crc: crc8-2f, data_id: 5, §data_ids: [5, 6]}"),
        "check",
        "a `data_id` and a list",
        "one of the two",
    ),
    Broken(
        "data ids without a counter",
        signals("a: {bits: 8}", "s: {bits: 8, crc: crc8-2f, §data_ids: [5, 6]}"),
        "check",
        "`report` has none",
        "`counter: {bits: 4, counts: 1}`",
    ),
    Broken(
        "alternating without a counter",
        signals("a: {bits: 8}", "s: {bits: 8, crc: crc8-2f, data_id: 5, §data_id_as: alternate}"),
        "check",
        "the counter chooses",
        "counts: 1",
    ),
    Broken(
        "too few data ids",
        signals("c: {bits: 4, counts: 1, modulo: 15}", "s: {bits: 8, crc: crc8-2f, data_ids: §[5, 6]}"),
        "check",
        "2 data ids, but the counter has 15 numbers",
        "one for each",
    ),
    Broken(
        "starts with no code",
        signals("s: {bits: 7, codes: {5: five}, initial: §64}"),
        "initial-out-of-range",
        "starts with 64, but `s` says only its codes",
        "allowed: `five`; or give it a `range`",
    ),
    Broken(
        "falls back to no code",
        signals("s: {bits: 7, codes: {5: five}, unknown: 127, safe: §64}"),
        "safe-out-of-range",
        "falls back to 64, but `s` says only its codes",
        "allowed: `five`, `unknown`",
    ),
    Broken(
        "page beyond a signed selector",
        signals("p: {bits: 8, signed: true}", "s: {bits: 1, when: {p: §200}}"),
        "unreachable-page",
        "go from -128 to 127",
        "`bits: 9` for `p`",
    ),
    Broken(
        "page beyond a range",
        signals("p: {bits: 4, range: [0, 3]}", "s: {bits: 1, when: {p: §20}}"),
        "unreachable-page",
        "go from 0 to 3",
        "`bits: 5` and a wider `range` for `p`",
    ),
    Broken(
        "page of no bits",
        signals("p: {bits: 4}", f"s: {{bits: 1, when: {{p: §{2**64}}}}}"),
        "unreachable-page",
        "go from 0 to 15",
        "remove it",
    ),
    Broken(
        "a hint in all its digits",
        signals("s: {bits: 24, range: §[1234567, 0]}"),
        "range-upside-down",
        "from 1234567 down to 0",
        "write `range: [0, 1234567]`",
    ),
    Broken(
        "a hint that can be read back",
        signals("s: {bits: 64, initial: §1e20}"),
        "initial-out-of-range",
        "starts with 1e+20",
        "`initial: 1.8446744073709552e+19`",
    ),
    Broken(
        "a thousand signals and one",
        signals(*(f"s{n}: {{bits: 1}}" for n in range(1001))).replace("signals: {", "signals: §{"),
        "wrong-value",
        "expected at most 1000 entries, found 1001",
    ),
    Broken(
        "starts outside",
        signals("s: {bits: 8, initial: §256}"),
        "initial-out-of-range",
        "starts with 256, outside 0 to 255",
        "`initial: 255`",
    ),
    Broken(
        "starts below",
        signals("s: {bits: 8, range: [5, 9], initial: §4}"),
        "initial-out-of-range",
        "5 to 9",
        "`initial: 5`",
    ),
    Broken(
        "starts with no code",
        signals("s: {bits: 8, codes: {0: off, 1: on}, initial: §onn}"),
        "initial-out-of-range",
        "`onn` is no code of `s`",
        "did you mean `on`?",
    ),
    Broken("starts with a word", signals("s: {bits: 8, initial: §on}"), "initial-out-of-range", "no codes", "a number"),
    Broken("no timing", messages("§report: {from: panel}"), "no-timing", "neither how often", "add `every: 50 ms`"),
    Broken("two timings", message("§irregular: {at_least_apart: 1 s}"), "no-timing", "both periodic", "keep one"),
    Broken(
        "offset of irregular",
        messages("m: {from: panel, §offset: 1 ms, irregular: {at_least_apart: 1 s}}"),
        "offset-of-irregular",
        "no offset",
        "remove `offset`",
    ),
    Broken(
        "function of nothing",
        GOOD + "functions: {f: {within: 1 s, path: [panel.key, §reprt]}}\n",
        "unknown-message",
        "no message `reprt`",
        "did you mean `report`?",
    ),
    Broken(
        "function at no node",
        GOOD + "functions: {f: {within: 1 s, path: §wheel.key}}\n",
        "unknown-node",
        "no node `wheel`",
        "allowed: `panel`, `strut`",
    ),
    Broken(
        "function without label",
        GOOD + "functions: {f: {within: 1 s, path: [§panel.]}}\n",
        "unusable-name",
        "no label",
        "`panel.switch`",
    ),
    Broken(
        "function of no steps", GOOD + "functions: {f: {within: 1 s, path: §[]}}\n", "wrong-value", "at least 1 entry"
    ),
]


def family(for_each: str, rest: str = "every: 1 s") -> str:
    return messages("report:", f"  for_each: {for_each}", f"  {rest}")


FAMILIES = [
    Broken("a word", family("§nose"), "for-each", "takes a mapping of lists, found `nose`", "like `for_each:"),
    Broken("nothing", messages("report: {every: 1 s, §for_each: }"), "for-each", "found nothing"),
    Broken("no list", family("{from: [panel], §id: 3}"), "for-each", "takes a list with one entry", "`id: [one, two]`"),
    Broken("empty list", family("{from: [panel], §id: []}"), "for-each", "found nothing", "`id: [one, two]`"),
    Broken(
        "unequal lists",
        family("{leg: [left, right], from: §[panel, panel, strut]}"),
        "for-each",
        "`from` lists 3 members, but `leg` lists 2",
        "equal lengths",
    ),
    Broken(
        "given twice",
        family("{leg: [l, r], §from: [panel, strut]}", "{every: 1 s, from: panel}").replace(
            "\n    {every: 1 s, from: panel}", "\n    every: 1 s\n    from: panel"
        ),
        "for-each",
        "to all of them in line 8",
        "keep one",
    ),
    Broken(
        "mapping as a word",
        family("{leg: [l, §{a: 1}], from: [panel, strut]}"),
        "for-each",
        "found a mapping",
        "`{leg}`",
    ),
    Broken(
        "boolean as a word", family("{leg: [l, §true], from: [panel, strut]}"), "for-each", "found `true`", "`{leg}`"
    ),
    Broken(
        "one name for two", family("{leg: [l, §l], from: [panel, strut]}"), "for-each", "`l` would be the name of two"
    ),
    Broken(
        "misspelt key",
        family("{leg: [l, r], from: [panel, strut], §ofset: [1 ms, 2 ms]}"),
        "for-each",
        "`ofset` is no key of a message, and `{ofset}` stands in none",
        "did you mean `offset`?",
    ),
    Broken(
        "misspelt word in a text",
        family("{leg: [l, r], from: [panel, strut]}", "every: 1 s\n    comment: §'seen by {lge}'"),
        "for-each",
        "`{lge}` stands for nothing",
        "did you mean `leg`?",
    ),
    Broken(
        "misspelt word that nothing else uses",
        family("{leg: [l, r], side: [a, b], from: [panel, strut]}", "every: 1 s\n    comment: §'on side {sid}'"),
        "for-each",
        "`{sid}` stands for nothing",
        "did you mean `side`?",
    ),
    Broken("number as key", family("{leg: [l, r], from: [panel, strut], §5: [1, 2]}"), "for-each", "`5` is no key"),
    Broken(
        "value of a member",
        family("{leg: [l, r], from: [panel, strut], id: [1, §x]}"),
        "wrong-value",
        "a whole number, found `x`",
        "`0x110`",
    ),
    Broken("node of a member", family("{leg: [l, r], from: [panel, §struts]}"), "unknown-node", "`struts`", "`strut`?"),
    Broken(
        "placeholder in `to`",
        family("{leg: [panel, wheel], from: [panel, strut]}", "{every: 1 s, to: §'{leg}'}").replace(
            "{every: 1 s, to: §'{leg}'}", "every: 1 s\n    to: §'{leg}'"
        ),
        "unknown-node",
        "no node `wheel`",
    ),
    Broken(
        "name of a member",
        family("{leg: [l, §r-r], from: [panel, strut]}"),
        "unusable-name",
        "`r-r` would make the message `report_r-r`",
        "`r_r`",
    ),
    Broken(
        "taken name",
        messages(
            "report: {for_each: {leg: [l, §r], from: [panel, strut]}, every: 1 s}",
            "report_r: {from: panel, every: 1 s}",
        )
        .replace("§", "")
        .replace("  report_r:", "  §report_r:"),
        "name-taken",
        "`report_r` is there already (line 5)",
        "rename",
    ),
    Broken(
        "one identifier for all",
        family("{leg: [l, r], from: [panel, strut]}", "id: §5").replace("id: §5", "every: 1 s\n    id: §5"),
        "duplicate-identifier",
        "goes to every message of the family",
        "0x6 is free",
    ),
    Broken("said once for all", family("{leg: [l, r], from: [panel, strut]}", "every: §5"), "wrong-unit", "no unit"),
    Broken(
        "no timing for all",
        messages("§report: {for_each: {leg: [l, r], from: [panel, strut]}}"),
        "no-timing",
        "`report`",
    ),
]

ALL = [*YAML_TRAPS, *SHAPES, *QUANTITIES, *RULES, *FAMILIES]


def findings_of(text: str) -> tuple[Finding, ...]:
    with pytest.raises(CatalogueError) as raised:
        parse_catalogue(text, "tried.yaml")
    return raised.value.findings


@pytest.mark.parametrize("broken", ALL, ids=lambda broken: broken.what)
def test_one_finding_at_the_guilty_word(broken: Broken) -> None:
    before, _, after = broken.text.partition("§")
    found = findings_of(before + after)
    assert [finding.rule for finding in found] == [broken.rule], [finding.text for finding in found]
    [finding] = found
    where = finding.where
    assert where is not None
    line = before.count("\n") + 1
    assert (where.file, where.line, where.column) == ("tried.yaml", line, len(before) - (before.rfind("\n") + 1) + 1)
    assert where.quoted == (before + after).split("\n")[line - 1]
    assert finding.severity is Severity.ERROR
    assert broken.says in finding.text
    assert broken.fix in finding.fix


@pytest.mark.parametrize("broken", ALL, ids=lambda broken: broken.what)
def test_words_of_a_finding(broken: Broken) -> None:
    [finding] = findings_of(broken.text.replace("§", ""))
    assert finding.fix, "a hint belongs to every finding"
    for said in (finding.text, finding.fix):
        assert said.isprintable()
        assert not said.endswith((".", " ", ";"))
        assert said.count("`") % 2 == 0
        assert len(said) < 300  # all the keys of a signal, at most
    assert finding.text != finding.fix


def test_the_good_one_reads() -> None:
    assert [message.name for message in parse_catalogue(GOOD).messages] == ["report"]
