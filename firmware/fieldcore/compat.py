"""What the two interpreters call differently: constants, checksums, digests and wrap-safe ticks."""

import binascii
import hashlib


def const(value: int) -> int:
    """Gives the value back. MicroPython's compiler knows the word and folds it into the code."""
    return value


TICKS_MASK = const(0x3FFFFFFF)
_TICKS_HALF = const(0x20000000)


def crc32(data: "bytes | bytearray | memoryview", start: int = 0) -> int:
    """CRC-32 (ISO-HDLC: reflected 0x04C11DB7) as an unsigned number; `start` continues a sum."""
    return binascii.crc32(data, start)


def sha256(data: "bytes | bytearray | memoryview") -> bytes:
    """SHA-256 digest, 32 bytes (FIPS 180-4)."""
    return hashlib.sha256(data).digest()


def same(a: "bytes | bytearray", b: "bytes | bytearray") -> bool:
    """Whether two byte strings are equal, in a time that depends on their lengths only."""
    if len(a) != len(b):
        return False
    difference = 0
    for i in range(len(a)):
        difference |= a[i] ^ b[i]
    return difference == 0


# Every intermediate below stays within 31 signed bits: a larger one would be a heap object on a
# 32-bit board, and these two run where nothing may be allocated.


def ticks_add(a: int, d: int) -> int:
    """The 30-bit tick `d` after `a` (d of either sign, taken modulo 2^30)."""
    return (a - (TICKS_MASK - (d & TICKS_MASK)) - 1) & TICKS_MASK


def ticks_diff(a: int, b: int) -> int:
    """a - b on the 30-bit circle, in [-2^29, 2^29)."""
    d = (a - b) & TICKS_MASK
    return d - TICKS_MASK - 1 if d >= _TICKS_HALF else d
