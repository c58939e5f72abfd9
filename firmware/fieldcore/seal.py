"""HMAC-SHA-256 tags (RFC 2104, FIPS 198-1) with the padded key worked out once."""

from fieldcore.compat import const, sha256

_BLOCK = const(64)


class Key:
    """A secret. Keys of the field are 32 bytes; other lengths are taken as RFC 2104 says."""

    def __init__(self, secret: bytes) -> None:
        if len(secret) > _BLOCK:
            secret = sha256(secret)
        secret = bytes(secret) + bytes(_BLOCK - len(secret))
        self._inner = bytes([b ^ 0x36 for b in secret])
        self._outer = bytes([b ^ 0x5C for b in secret])

    def tag(self, data: "bytes | bytearray | memoryview", n: int = 8) -> bytes:
        """The first `n` (at most 32) bytes of HMAC-SHA-256 over `data`."""
        return sha256(self._outer + sha256(self._inner + data))[:n]
