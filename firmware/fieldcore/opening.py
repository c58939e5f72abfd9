"""The device's side of the sealed link.

`hello` makes a pending nonce; only an `open` with a valid tag of the field key makes the link
key and replaces the opening. Each request carries a rising counter; the same bytes again get the
kept reply (a retry), a lower counter is refused as stale.
"""

from fieldcore.compat import TICKS_MASK, const, same
from fieldcore.message import Refusal
from fieldcore.seal import Key

# made by blindfield.model.generate
_MAJOR = const(1)
_NO_NO_KEY = const(3)
_NO_BAD_TAG = const(4)
_NO_STALE = const(5)
_NO_NO_OPENING = const(6)
# end of what is made

TO_DEVICE = b"\x01"
TO_HOST = b"\x02"


def open_tag(key: Key, device_nonce: bytes, host_nonce: bytes, device_id: bytes) -> bytes:
    return key.tag(b"open" + _both(device_nonce, host_nonce, device_id))


def link_key(key: Key, device_nonce: bytes, host_nonce: bytes, device_id: bytes) -> Key:
    return Key(key.tag(b"link" + _both(device_nonce, host_nonce, device_id), 32))


def opened_tag(link: Key, device_id: bytes) -> bytes:
    return link.tag(b"opened" + device_id)


def seal_tag(link: Key, way: bytes, device_id: bytes, counter: int, body: bytes) -> bytes:
    """Tag over direction, device, counter and body."""
    return link.tag(way + device_id + counter.to_bytes(4, "little") + body)


def _both(device_nonce: bytes, host_nonce: bytes, device_id: bytes) -> bytes:
    return bytes([_MAJOR]) + device_nonce + host_nonce + device_id


class Opening:
    """One device's opening. `key` is the field key or None (a device without one never sends).

    `link` is the link key, None while no sealed link stands. `proofs` counts what only the holder
    of the key can have made just now: opens and requests with a valid tag, repeats not counted.
    """

    def __init__(self, device_id: bytes, key: "bytes | None") -> None:
        self._device_id = device_id
        self._key = Key(key) if key else None
        self._pending = b""
        self.link: Key | None = None
        self._counter = 0
        self._last_tag = b""
        self._last_reply = b""
        self._open_tag = b""
        self.proofs = 0

    def pending(self, device_nonce: bytes) -> None:
        """A hello was answered with this nonce; the present opening stays."""
        self._pending = device_nonce

    def open(self, host_nonce: bytes, tag: bytes) -> bytes:
        """The tag to answer with. Raises Refusal."""
        if self._key is None:
            raise Refusal(_NO_NO_KEY)
        if self.link and self._counter == 0 and same(tag, self._open_tag):
            return opened_tag(self.link, self._device_id)  # the same open, doubled on the way
        if not self._pending:
            raise Refusal(_NO_NO_OPENING)
        if not same(tag, open_tag(self._key, self._pending, host_nonce, self._device_id)):
            raise Refusal(_NO_BAD_TAG)
        self.link = link_key(self._key, self._pending, host_nonce, self._device_id)
        self._pending = b""
        self._open_tag = tag
        self._counter = 0
        self._last_tag = self._last_reply = b""
        self.proofs = (self.proofs + 1) & TICKS_MASK
        return opened_tag(self.link, self._device_id)

    def unwrap(self, counter: int, body: bytes, tag: bytes) -> "bytes | None":
        """The kept reply when this is a retry, None when it is new. Raises Refusal."""
        if self.link is None:
            raise Refusal(_NO_NO_OPENING)
        if not same(tag, seal_tag(self.link, TO_DEVICE, self._device_id, counter, body)):
            raise Refusal(_NO_BAD_TAG)
        if counter == self._counter and self._last_reply and same(tag, self._last_tag):
            return self._last_reply
        if counter <= self._counter:
            raise Refusal(_NO_STALE)
        self._counter = counter
        self._last_tag = tag
        self._last_reply = b""
        self.proofs = (self.proofs + 1) & TICKS_MASK
        return None

    def wrap(self, body: bytes) -> "tuple[int, bytes]":
        """(counter, tag) of a reply to the request last unwrapped."""
        assert self.link
        return self._counter, seal_tag(self.link, TO_HOST, self._device_id, self._counter, body)

    def keep(self, reply: bytes) -> None:
        """Keep the bytes of the reply for a retry."""
        self._last_reply = reply
