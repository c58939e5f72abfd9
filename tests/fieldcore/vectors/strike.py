"""Plays signals to the strike, knock and tilt detectors, on either interpreter."""

import gc
import json
import sys
from array import array
from binascii import a2b_base64

from fieldcore.compat import TICKS_MASK
from fieldcore.knock import KnockDetector
from fieldcore.sensor import Block, defaults
from fieldcore.strike import StrikeDetector
from fieldcore.tilt import TiltDetector


def fill(block, values, first, count):
    for i in range(4 * count):
        block.frames[i] = values[4 * first + i]
    block.count = count


def answer(channels, period_us, first_us, per_block, text):
    values = array("h", a2b_base64(text))
    strike = StrikeDetector(defaults(channels), channels)
    knock = KnockDetector()
    tilt = TiltDetector()
    block = Block(per_block)
    block.period_us = period_us
    found = []
    frames = len(values) // 4
    for first in range(0, frames, per_block):
        fill(block, values, first, min(per_block, frames - first))
        block.first_us = (first_us + first * period_us) & TICKS_MASK
        for k in range(strike.feed(block)):
            one = strike.findings[k]
            found.append([first, one.kind, one.at_us, one.strength, one.flags])
        for k in range(strike.sharp_count):
            found.append([first, strike.sharp_at_us[k]])
        if strike.moving:
            found.append([first, "moving"])
        knock.take(strike, block)
        if knock.advance(block.first_us):
            found.append([first, "knock"])
        if tilt.feed(block):
            found.append([first, "dug out"])
    return found


for line in sys.stdin:
    print(json.dumps(answer(*json.loads(line))))
    gc.collect()
