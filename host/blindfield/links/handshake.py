"""What a device says of itself, and whether the two sides can talk at all."""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import Any

from blindfield.model.errors import VersionError
from blindfield.model.messages import MAJOR, MINOR
from fieldcore import cbor, wire


@dataclass(frozen=True)
class Hello:
    """The fields of `hello_is`, and the `clock_id` inside its nonce."""

    major: int
    minor: int
    device_id: bytes
    role: int
    board: str
    build: str
    settings_digest: bytes
    clock_id: int
    device_nonce: bytes


def foreign_hello(body: bytes) -> list[Any] | None:
    """[HELLO_IS, major, minor] when the body is the hello of another major, else None.

    Only these three places mean the same in every version.
    """
    if body[1:2] != bytes((wire.HELLO_IS,)):
        return None
    try:
        values = cbor.loads(body)
    except ValueError:
        return None
    if not isinstance(values, list) or len(values) < 3 or values[0] != wire.HELLO_IS:
        return None
    head = values[:3]
    foreign = all(type(value) is int for value in head) and head[1] != MAJOR
    return head if foreign else None


def hello_of(values: list[Any], name: str) -> Hello | VersionError:
    """The device's hello, or, for another major, the error to raise."""
    major, minor = values[1:3]
    if major != MAJOR:
        return wrong_version(major, minor, name)
    device_id, role, board, build, digest, nonce = values[3:]
    clock_id = struct.unpack_from("<I", nonce)[0]
    return Hello(major, minor, device_id, role, board, build, digest, clock_id, nonce)


class Hellos:
    """The hellos that come while one connects: each nonce is told once, however often it comes.

    `spare` holds those that came while another was being tried, for the caller to fill and take.
    """

    def __init__(self, name: str) -> None:
        self.spare: list[Hello] = []
        self._name = name
        self._nonces: set[bytes] = set()

    def fresh(self, values: list[Any]) -> Hello | VersionError | None:
        """The hello in a frame not met before; None when it is another frame, or an old one."""
        if values[0] != wire.HELLO_IS:
            return None
        hello = hello_of(values, self._name)
        if isinstance(hello, Hello):
            if hello.device_nonce in self._nonces:
                return None
            self._nonces.add(hello.device_nonce)
        return hello


def wrong_version(major: int, minor: int, name: str) -> VersionError:
    """Says which side is older and what to do."""
    ours, theirs = f"{MAJOR}.{MINOR}", f"{major}.{minor}"
    if major < MAJOR:
        what = f"its program is older (protocol {theirs}) than this one ({ours})."
        remedy = "Load the device's program that came with this version of Blindfield onto it."
    else:
        what = f"this program is older (protocol {ours}) than the device's ({theirs})."
        remedy = "Update Blindfield on this computer."
    return VersionError(what, device=name, remedy=remedy)
