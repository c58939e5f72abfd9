"""Answers codec cases, one JSON line each, on either interpreter."""

import json
import sys
from binascii import hexlify, unhexlify

from fieldcore import cbor, compat, frame, seal


def plain(value):
    """JSON has no byte strings: write them as ["hex", ...]; numbers stay exact."""
    if isinstance(value, bytes):
        return ["hex", hexlify(value).decode()]
    if isinstance(value, list):
        return ["list", [plain(item) for item in value]]
    return value


def decode(data):
    value = cbor.loads(data)
    return [plain(value), hexlify(cbor.dumps(value)).decode()]


def read(pieces):
    reader = frame.Reader(600)
    found = []
    for piece in pieces:
        reader.feed(unhexlify(piece))
        item = reader.next()
        while item:
            found.append([item[0], hexlify(item[1]).decode()])
            item = reader.next()
    return [found, reader.bad]


def answer(op, *args):
    if op == "cbor":
        return decode(unhexlify(args[0]))
    if op == "encode":
        return hexlify(frame.encode(args[0], unhexlify(args[1]))).decode()
    if op == "cobs":
        return hexlify(frame.cobs_decode(unhexlify(args[0]))).decode()
    if op == "read":
        return read(args[0])
    if op == "tag":
        return hexlify(seal.Key(unhexlify(args[0])).tag(unhexlify(args[1]), args[2])).decode()
    if op == "ticks":
        return [compat.ticks_add(*args), compat.ticks_diff(*args)]
    raise NotImplementedError(op)


for line in sys.stdin:
    try:
        result = answer(*json.loads(line))
    except ValueError:
        result = "refused"
    print(json.dumps(result))
