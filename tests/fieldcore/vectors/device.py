"""Runs one story of a whole device per JSON line, on either interpreter."""

import gc
import json
import sys
from binascii import hexlify, unhexlify

sys.path.append(__file__[: -len("fieldcore/vectors/device.py")] + "support")

from device_bench import DeviceBench


def values_of(fields):
    """Byte strings travel as "x:" and hex."""
    return [unhexlify(f[2:]) if isinstance(f, str) and f[:2] == "x:" else f for f in fields]


def step(bench, word, *rest):
    if word == "pass":
        bench.pass_us(rest[0])
    elif word == "freeze":
        bench.freeze(rest[0])
    elif word == "reboot":
        bench.reboot()
    elif word == "load":
        bench.load(rest[0], None, revision=rest[1], lease_ms=rest[2], cues=rest[3])
    elif word == "start":
        bench.start(rest[0], rest[1], rest[2], rest[3])
    elif word == "ask":
        bench.ask(rest[0], *values_of(rest[1:]))
    elif word == "wire":
        bench.say_bytes(unhexlify(rest[0]))
    elif word == "air":
        bench.silence_by_air()
    elif word == "strike":
        bench.strike()
    elif word == "knock":
        bench.knock()
    elif word == "dig_out":
        bench.dig_out()


def hex_of(data):
    return hexlify(data).decode()


def story(case):
    gc.collect()  # a region for the journal in one piece, out of a small heap
    bench = DeviceBench(first_us=case["first_us"], ms=case["ms"], pages=2)
    bench.open()
    for line in case["story"]:
        step(bench, *line)
    board = bench.board
    records = bench.records()
    for record in records:
        record[5] = hex_of(record[5])
    return {
        "sent": [hex_of(data) for _, data in board.sent],
        "air": [hex_of(data) for data in board.advertised],
        "pulses": board.pulses,
        "aborts": board.aborts,
        "sounds": board.sounds,
        "records": records,
        "wait_us": bench.wait_us,
    }


if __name__ == "__main__":
    for line in sys.stdin:
        if line.strip():
            print(json.dumps(story(json.loads(line))))
