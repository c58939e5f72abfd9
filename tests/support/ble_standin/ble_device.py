"""Runs under MicroPython: the firmware on a board whose one link is the virtual radio."""

import gc
import json
import os
import select
import sys
import time

from bluetooth import BLE

from fieldcore.device import Device
from fielddevice.app import serve
from fielddevice.links.ble import BleLink


class Absent:
    """For what a board with a radio does not load: the bus."""

    BusLink = UnixPair = None


for name in ("fielddevice.links.bus", "fielddevice.boards.unix_pair"):
    sys.modules[name] = Absent

from fielddevice.boards.unix import Bench, FileStore, Ticks, UnixBoard  # noqa: E402


class SmallBench(Bench):
    """Takes in little at a time: a heap as small as a board's is what is tried."""

    def read(self):
        data = self.socket.recv(512)
        if not data:
            sys.exit(0)
        self._pending += data


class RadioBoard(UnixBoard):
    """The rig's board, with Bluetooth for a cable."""

    def __init__(self, about, bench):
        self.device_id = bytes(int(about["device_id"][at : at + 2], 16) for at in range(0, 16, 2))
        self.role = about["role"]
        self.build = about["build"]
        self.channels = about["channels"]
        self.hints = True
        self.store = FileStore(about["store"])
        self._about = about
        self._ticks = Ticks(about["phase_us"], about["ppb"])
        self._bench = bench
        self._pair = None
        self._order = None
        self._carrier_until_us = 0
        self._radio = BLE()
        self.link = BleLink(self._radio, self, about["unproven_ms"])
        self._poll = select.poll()
        self._poll.register(self._radio.socket, select.POLLIN)
        self._poll.register(bench.socket, select.POLLIN)

    def wait(self, wait_us):
        self._order = self._bench.next()
        near = self._order is not None or self._radio.waiting() or wait_us < 2000
        ready = self._poll.poll(0 if near else min(wait_us // 1000 - 1, 60_000))
        if not ready and near and self._order is None and wait_us < 2000:
            time.sleep_us(wait_us)
        for stream, _ in ready:
            if stream is self._bench.socket:
                self._bench.read()
        if self._order is None:
            self._order = self._bench.next()
        self._radio.pump()
        self._obey()

    def received(self):
        return self.link.read()

    def heard(self):
        return self.link.heard()

    def send(self, link, data):
        self.link.write(data)

    def advertise(self, data):
        self.link.shout(data)


def main():
    gc.collect()
    try:
        with open(os.getenv("BLINDFIELD_DEVICE")) as file:
            about = json.load(file)
        where, token = os.getenv("BLINDFIELD_BENCH"), os.getenv("BLINDFIELD_BENCH_TOKEN")
        board = RadioBoard(about, SmallBench(where, about["name"], token))
        device = Device(board, (0,))
        board.link.begin()
        serve(board, device)
    except Exception as error:
        sys.print_exception(error, sys.stderr)
        sys.exit(1)
