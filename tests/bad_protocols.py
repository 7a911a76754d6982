"""Declarations with one mistake each: the change of the good one, and the place to report.

The mark « stands in the replacement just before the place that must be named; its line and column are counted in the
text without it.
"""

from __future__ import annotations

from typing import NamedTuple

GOOD = """\
busim-protocol: 1
name: wall
title: a good one
literals: text
framing: {kind: marks, start: "<", end: "{0D}", longest: 40}
frame: "{address}{message}*{check}"
check: {kind: xor, start: address, to: message}
address: {first: 1, last: 99, broadcast: 0}
fields:
  address: {as: decimal, digits: 2}
  key: {as: decimal, digits: 3}
  value: {as: decimal, digits: 5}
  reason: {as: decimal, digits: 1}
  check: {as: hex, digits: 2}
operations:
  read: {request: "R{key}", reply: "r{key}={value}"}
  write: {request: "W{key}={value}", reply: "w{key}={value}"}
refusal: "E{reason}"
"""


class Bad(NamedTuple):
    """One mistake: `code` and `field` of the finding."""

    title: str
    old: str
    new: str
    code: str
    field: str


BAD = [
    Bad("a version that is not known", "busim-protocol: 1", "busim-protocol: «2", "bad-value", "busim-protocol"),
    Bad("a key misspelt", "literals: text", "literals: text\n«literal: text", "unknown-key", "literal"),
    Bad("no name", "name: wall\n", "", "missing-key", "name"),
    Bad("an encoding that is not known", "key: {as: decimal", "key: {as: «decimals", "bad-value", "fields.key.as"),
    Bad("a field that is not declared", '"R{key}"', '«"R{keys}"', "bad-template", "operations.read.request"),
    Bad("a brace alone", '"R{key}"', '«"R{key"', "bad-template", "operations.read.request"),
    Bad("a letter that is no byte", '"R{key}"', '«"Ä{key}"', "bad-template", "operations.read.request"),
    Bad("hex that is none", "literals: text", "literals: hex", "bad-template", "framing.start"),
    Bad("a number for a template", '"E{reason}"', "«12", "bad-value", "refusal"),
    Bad("a frame without an ID", '"{address}{message}', '«"{message}', "bad-frame", "frame"),
    Bad("a frame without a message", "{address}{message}", "{address}", "bad-frame", "frame"),
    Bad("a check field and no check", "check: {kind: xor, start: address, to: message}\n", "", "bad-frame", "frame"),
    Bad("a check that is not known", "kind: xor", "kind: «crc-16/modbus", "no-such-check", "check.kind"),
    Bad("a check over a field that is none", "start: address", "start: «number", "bad-check", "check.start"),
    Bad("a check too wide for its field", "kind: xor", "kind: CRC-16/MODBUS", "out-of-bounds", "fields.check"),
    Bad("a field behind the check", '*{check}"', '*{check}{message}"', "bad-frame", "frame"),
    Bad(
        "a length and no length field",
        '{kind: marks, start: "<", end: "{0D}", longest: 40}',
        "{kind: length}",
        "bad-frame",
        "frame",
    ),
    Bad(
        "fixed and no length",
        '{kind: marks, start: "<", end: "{0D}", longest: 40}',
        "«{kind: fixed}",
        "missing-key",
        "framing",
    ),
    Bad(
        "a frame that is not of the fixed length",
        '{kind: marks, start: "<", end: "{0D}", longest: 40}',
        "{kind: fixed, length: 9}",
        "bad-layout",
        "refusal",
    ),
    Bad("no end mark", ', end: "{0D}"', "", "missing-key", "framing"),
    Bad(
        "silence and no length of it",
        '{kind: marks, start: "<", end: "{0D}", longest: 40}',
        "{kind: silence}",
        "missing-key",
        "framing",
    ),
    Bad(
        "a mark with silence",
        '{kind: marks, start: "<", end: "{0D}", longest: 40}',
        '{kind: silence, quiet: 2 ms, «end: "x"}',
        "unknown-key",
        "framing.end",
    ),
    Bad("a quiet without its unit", "longest: 40}", "forget: «20}", "bad-value", "framing.forget"),
    Bad("a quiet without end", "longest: 40}", "forget: «9 h}", "bad-value", "framing.forget"),
    Bad("a mark that a field can hold", 'end: "{0D}"', 'end: "0"', "bad-layout", "operations.read.request"),
    Bad("a frame longer than the longest", "longest: 40", "longest: 12", "bad-layout", "operations.read.reply"),
    Bad("a longest that is too long", "longest: 40", "longest: «100000", "out-of-bounds", "framing.longest"),
    Bad("an escape for nothing", "longest: 40", 'escape: «{byte: "~"}', "bad-escape", "framing.escape"),
    Bad(
        "an escape that ends the frame",
        "longest: 40",
        'escape: {byte: «"<", xor: 32}',
        "bad-escape",
        "framing.escape.byte",
    ),
    Bad(
        "an escape of an escape",
        "longest: 40",
        'escape: «{byte: "~", replaced: {"40": "7E", "0D": "01", "7E": "02"}}',
        "bad-escape",
        "framing.escape",
    ),
    Bad(
        "two escapes that are one",
        "longest: 40",
        'escape: «{byte: "~", replaced: {"40": "01", "0D": "01", "7E": "02"}}',
        "bad-escape",
        "framing.escape",
    ),
    Bad("an escape of two bytes", "longest: 40", 'escape: {byte: «"~~", xor: 32}', "bad-escape", "framing.escape.byte"),
    Bad("no last ID", ", last: 99", "", "missing-key", "address.last"),
    Bad("an ID that does not fit", "last: 99", "last: «100", "out-of-bounds", "address.last"),
    Bad("the last ID before the first", "first: 1, last: 99", "first: 9, last: «5", "out-of-bounds", "address.last"),
    Bad("a broadcast that is a camera", "broadcast: 0", "broadcast: «7", "out-of-bounds", "address.broadcast"),
    Bad("groups among the cameras", "broadcast: 0", "groups: «[90, 120]", "out-of-bounds", "address.groups"),
    Bad("a size missing", "key: {as: decimal, digits: 3}", "key: «{as: decimal}", "missing-key", "fields.key"),
    Bad(
        "a size of another encoding",
        "key: {as: decimal, digits: 3}",
        "key: {as: decimal, digits: 3, «bytes: 2}",
        "unknown-key",
        "fields.key.bytes",
    ),
    Bad(
        "digits without end",
        "value: {as: decimal, digits: 5}",
        "value: {as: decimal, digits: «500}",
        "out-of-bounds",
        "fields.value.digits",
    ),
    Bad(
        "bytes without end",
        "value: {as: decimal, digits: 5}",
        "value: {as: unsigned, bytes: «1000000}",
        "out-of-bounds",
        "fields.value.bytes",
    ),
    Bad(
        "fewer digits than behind the point",
        "digits: 5}",
        "digits: 5, point: «5}",
        "out-of-bounds",
        "fields.value.point",
    ),
    Bad(
        "a field of one's own for nothing",
        "  reason:",
        "  «colour: {as: hex, digits: 2}\n  reason:",
        "no-field",
        "fields.colour",
    ),
    Bad(
        "words that are no numbers",
        "key: {as: decimal, digits: 3}",
        "key: {as: words, words: {«iris: IRS}}",
        "bad-value",
        "fields.key.words.iris",
    ),
    Bad(
        "one word for two numbers",
        "key: {as: decimal, digits: 3}",
        'key: {as: words, words: {"1": IRS, "2": «IRS}}',
        "bad-value",
        "fields.key.words['2']",
    ),
    Bad(
        "numbers that nothing can be",
        "reason: {as: decimal, digits: 1}",
        "reason: {as: decimal, digits: 1}\n  zoom: «{as: decimal, digits: 1, times: 100, plus: 50, holds: value}",
        "holds-nothing",
        "fields.zoom",
    ),
    Bad("an operation that says nothing", "  write: {", "  «wrte: {", "no-such-verb", "operations.wrte"),
    Bad(
        "a read that says nothing of what",
        'request: "R{key}"',
        'request: «"R"',
        "bad-operation",
        "operations.read.request",
    ),
    Bad("a read without a value", '"r{key}={value}"', '«"r{key}="', "bad-operation", "operations.read.reply"),
    Bad("a write without a value", '"W{key}={value}"', '«"W{key}="', "bad-operation", "operations.write.request"),
    Bad("a key twice", '{request: "R{key}"', '{key: «5, request: "R{key}"', "bad-operation", "operations.read.key"),
    Bad(
        "more values than asked",
        '"w{key}={value}"',
        '«"w{key}={value}{value}"',
        "bad-operation",
        "operations.write.reply",
    ),
    Bad("a write like a read", '"W{key}={value}"', '«"R{key}"', "bad-operation", "operations.write.request"),
    Bad("two requests that can be alike", '"R{key}"', '"W{key}=12345"', "alike", "operations.write.request"),
    Bad(
        "a refusal like a reply",
        '"E{reason}"',
        '«"w{key}={reason}{reason}{reason}{reason}{reason}"',
        "alike",
        "refusal",
    ),
    Bad(
        "a field whose end cannot be seen",
        "key: {as: decimal, digits: 3}",
        'key: {as: words, words: {"1": A, "2": "A=B"}}',
        "bad-layout",
        "operations.read.reply",
    ),
    Bad(
        "more values than anything",
        'reply: "r{key}={value}"}',
        'reply: "r{key}={value}", most: «100000}',
        "out-of-bounds",
        "operations.read.most",
    ),
    Bad(
        "a key that a camera has not",
        'refusal: "E{reason}"',
        'refusal: "E{reason}"\nkeys: {zoom-camera: {«irris: 4}}',
        "no-such-parameter",
        "keys.zoom-camera.irris",
    ),
    Bad(
        "a key of two parameters",
        'refusal: "E{reason}"',
        'refusal: "E{reason}"\nkeys: {zoom-camera: {iris: 4, gain: «4}}',
        "key-twice",
        "keys.zoom-camera.gain",
    ),
    Bad(
        "limits the wrong way round",
        "key: {as: decimal, digits: 3}",
        "key: {as: decimal, digits: 3, limits: «[9, 5]}",
        "out-of-bounds",
        "fields.key.limits",
    ),
    Bad(
        "limits beyond the digits",
        "key: {as: decimal, digits: 3}",
        "key: {as: decimal, digits: 3, limits: «[0, 1000]}",
        "out-of-bounds",
        "fields.key.limits",
    ),
    Bad(
        "one limit",
        "key: {as: decimal, digits: 3}",
        "key: {as: decimal, digits: 3, limits: «[9]}",
        "wrong-kind",
        "fields.key.limits",
    ),
    Bad(
        "limits of a check",
        "check: {as: hex, digits: 2}",
        "check: {as: hex, digits: 2, limits: «[0, 255]}",
        "no-field",
        "fields.check.limits",
    ),
    Bad(
        "limits of words",
        "key: {as: decimal, digits: 3}",
        'key: {as: words, words: {"1": A}, «limits: [1, 1]}',
        "unknown-key",
        "fields.key.limits",
    ),
    Bad(
        "an ID beyond the limits",
        "address: {as: decimal, digits: 2}",
        "address: {as: decimal, digits: 2, limits: [0, 98]}",
        "out-of-bounds",
        "address.last",
    ),
    Bad("an anchor", "name: wall", "name: «&a wall", "unreadable", ""),
    Bad("a tag", "name: wall", "name: «!!python/object wall", "unreadable", ""),
    Bad("a template without end", '"R{key}"', '«"' + "R" * 2000 + '"', "bad-value", "operations.read.request"),
]
