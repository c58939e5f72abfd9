"""Runs one journal story per JSON line, with power cuts, on either interpreter."""

import json
import sys
from binascii import crc32, hexlify

from fieldcore.journal import Journal


class Cut(Exception):
    pass


class Flash:
    page_size = 256
    pages = 4

    def __init__(self):
        self.data = bytearray(b"\xff" * (self.page_size * self.pages))
        self.budget = -1

    def read_into(self, offset, buf):
        buf[:] = self.data[offset : offset + len(buf)]

    def spend(self):
        if self.budget == 0:
            raise Cut()
        self.budget -= 1

    def write(self, offset, data):
        for i in range(len(data)):
            self.spend()
            self.data[offset + i] = data[i]

    def erase(self, page):
        half = self.page_size // 2
        for start in (page * self.page_size, page * self.page_size + half):
            self.spend()
            self.data[start : start + half] = b"\xff" * half


def entropy(n):
    return bytes([(7 * i + n) & 0xFF for i in range(n)])


def state(journal):
    return [
        journal.journal_id, journal.clock_id, journal.silence_count, bool(journal.latched),
        journal.last_seq, journal.acked_seq, journal.free(),
    ]  # fmt: skip


def step(journal, op, args):
    if op == "append":
        kind, number = args
        payload = bytes((number & 0xFF, number >> 8, number & 1, 0, 0, 0, 0, 0))
        return journal.append(kind, 1, 2, number * 1000, number, 77, payload)
    if op == "ack":
        return journal.ack(journal.journal_id, max(0, journal.last_seq - args[0]))
    if op == "tidy":
        return journal.tidy()
    if op == "read":
        buf = bytearray(32 * args[1])
        count = journal.read_into(args[0], buf, args[1])
        return [count, hexlify(buf).decode()]
    raise NotImplementedError(op)


def story(steps):
    flash = Flash()
    journal = None
    told = []
    for op, *args in steps:
        try:
            if op == "boot":
                flash.budget = args[0]
                journal = Journal(flash, entropy)
                journal.mount()
            elif journal:
                told.append(step(journal, op, args))
        except Cut:
            told.append("cut")
            journal = None
        if journal:
            told.append(state(journal))
    told.append(crc32(flash.data))
    return told


for line in sys.stdin:
    print(json.dumps(story(json.loads(line))))
