# MicroPython's `bluetooth` module for the unix interpreter: a GATT server's calls go as lines of
# JSON to ble_broker.py (see there). Events wait until `pump`, which the board's loop calls when
# `waiting` says so: a stack of a real board tells them between two bytecodes.
import json
import os
import select
import socket
from binascii import hexlify, unhexlify


class UUID:
    def __init__(self, value):
        self.text = f"{value:04X}" if isinstance(value, int) else value


class BLE:
    def __init__(self):
        host, port = os.getenv("BLE_AIR").split(":")
        self.socket = socket.socket()
        self.socket.connect(socket.getaddrinfo(host, int(port))[0][-1])
        self.socket.setsockopt(6, 1, 1)  # TCP_NODELAY
        self._poll = select.poll()
        self._poll.register(self.socket, select.POLLIN)
        self._events = []
        self._irq = None
        self._say({"name": os.getenv("BLE_NAME")})

    def waiting(self):
        return bool(self._events) or bool(self._poll.poll(0))

    def pump(self):
        while self.waiting():
            event = self._events.pop(0) if self._events else json.loads(self.socket.readline())
            if self._irq:
                self._irq(event["event"], _in(event["data"]))
            self._say({"seen": event["n"]})

    def irq(self, handler):
        self._irq = handler

    def active(self, on):
        return self._call("active", on)

    def config(self, **values):
        for name, value in values.items():
            self._call("config", name, value)

    def gap_advertise(self, interval_us, adv_data=b"", resp_data=b"", connectable=True):
        self._call("gap_advertise", interval_us, adv_data, resp_data, connectable)

    def gap_scan(self, duration_ms, interval_us, window_us, active=False):
        self._call("gap_scan", duration_ms)

    def gap_disconnect(self, connection):
        return self._call("gap_disconnect", connection)

    def gatts_register_services(self, services):
        return self._call("gatts_register_services", services)

    def gatts_set_buffer(self, handle, room, append=False):
        self._call("gatts_set_buffer", handle, room, append)

    def gatts_read(self, handle):
        return self._call("gatts_read", handle)

    def gatts_write(self, handle, data):
        self._call("gatts_write", handle, data)

    def gatts_notify(self, connection, handle, data):
        self._call("gatts_notify", connection, handle, data)

    def _say(self, message):
        self.socket.write(json.dumps(message) + "\n")

    def _call(self, name, *given):
        self._say({"call": name, "with": _out(given)})
        while True:
            said = json.loads(self.socket.readline())
            if "event" not in said:
                break
            self._events.append(said)
        if "error" in said:
            raise OSError(said["error"])
        return _in(said["give"])


def _out(value):
    if isinstance(value, UUID):
        return {"uuid": value.text}
    if isinstance(value, (bytes, bytearray, memoryview)):
        return {"hex": hexlify(value).decode()}
    if isinstance(value, (tuple, list)):
        return [_out(one) for one in value]
    return value


def _in(value):
    if isinstance(value, dict):
        return unhexlify(value["hex"])
    if isinstance(value, list):
        return tuple([_in(one) for one in value])
    return value
