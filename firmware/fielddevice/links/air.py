"""What a device says and hears on the air beside its connection: that it is here, and silence.

Every device says the same and nothing of runs: our service, and a name with its number. Silence is
advertised as service data, so that anybody's program can send it; a device in a run listens for it
in short windows, acts on it and repeats it. A parked device rests between short windows in which it
can be found. Field types from the Bluetooth assigned numbers.
"""

from fieldcore.compat import const
from fieldcore.instant import diff_ms

SERVICE_LE = b"\x25\x3e\xb2\xec\xab\x86\xc8\xa9\xea\x4f\x45\x3d\x01\x00\xd4\x03"

# Flags: general discoverable, no BR/EDR; complete list of 128-bit services
_HERE = b"\x02\x01\x06\x11\x07" + SERVICE_LE
_NAME = b"\x1c\x09"  # complete local name, 27 bytes
_SILENCE = b"\x1a\x21" + SERVICE_LE  # service data, 128-bit: the silence frame of 9 bytes
_SILENCE_SIZE = const(27)

_HERE_US = const(100_000)
_SHOUT_US = const(30_000)
_SCAN_US = const(30_000)
_AWAKE_MS = const(30_000)  # after power-on, after a central and after a run
_WINDOW_MS = const(500)
_SHOUT_MS = const(6_000)
_SLOT_MS = const(300)  # silence is advertised in the first part of each, the device in the rest
_SLOT_SHOUT_MS = const(200)
_AGAIN_MS = const(50)
_FAR_MS = const(300_000)

_REST_SETTING = const(14)  # places in the settings (blindfield.model.settings)
_EVERY_SETTING = const(15)
_LISTEN_SETTING = const(16)

_OFF = const(0)
_AS_HERE = const(1)
_AS_SILENCE = const(2)
_UNKNOWN = const(3)


class Air:
    """Over a `bluetooth.BLE()` that its owner has made active. `name` has 27 characters."""

    def __init__(self, radio: object, name: str) -> None:
        self._radio = radio
        self._name = _NAME + name.encode()
        self._says = _OFF
        self._awake_ms = -1
        self._silence = b""
        self._silence_ms = -1
        self._listened_ms = -1
        self._heard = None

    # From the radio's interrupt

    def scanned(self, data: "bytes | memoryview") -> bool:
        """Keep an advertisement that is a silence; whether it was one."""
        if len(data) != _SILENCE_SIZE or bytes(data[:18]) != _SILENCE:
            return False
        self._heard = bytes(data[18:])
        return True

    # From the loop

    def heard(self) -> "bytes | None":
        """The silence frame that somebody advertised, once."""
        frame, self._heard = self._heard, None
        return frame

    def shout(self, frame: bytes) -> None:
        """Advertise this silence frame for some seconds, beginning at the next `mind`."""
        self._silence = _SILENCE + frame
        self._silence_ms = -1

    def stopped(self) -> None:
        """The stack ended the advertising by itself, as a central came."""
        self._says = _UNKNOWN

    def mind(self, settings: "list[int]", now_ms: int, busy: bool, connected: bool) -> int:
        """Do what is due; milliseconds until it wants to be called again."""
        if connected or busy or self._awake_ms < 0:
            self._awake_ms = now_ms
        if self._silence:
            says, wait_ms = self._slot(now_ms)
        else:
            says, wait_ms = self._window(settings[_REST_SETTING], now_ms)
        if connected and says == _AS_HERE:
            says = _OFF
        if says != self._says:
            self._say(says)
        if self._says == _UNKNOWN:
            wait_ms = _AGAIN_MS
        if busy:
            wait_ms = min(wait_ms, self._listen(settings, now_ms))
        return wait_ms

    def _slot(self, now_ms: int) -> "tuple[int, int]":
        """(what is said while a silence is repeated, for how long still)."""
        if self._silence_ms < 0:
            self._silence_ms = now_ms
            self._says = _UNKNOWN  # it may be another frame than the last
        since_ms = diff_ms(now_ms, self._silence_ms)
        if since_ms >= _SHOUT_MS:
            self._silence = b""
            return _AS_HERE, 0
        phase_ms = since_ms % _SLOT_MS
        if phase_ms < _SLOT_SHOUT_MS:
            return _AS_SILENCE, _SLOT_SHOUT_MS - phase_ms
        return _AS_HERE, _SLOT_MS - phase_ms

    def _window(self, rest_ms: int, now_ms: int) -> "tuple[int, int]":
        """(what a device without a silence to tell says, for how long still)."""
        since_ms = diff_ms(now_ms, self._awake_ms)
        if since_ms < _AWAKE_MS:
            return _AS_HERE, _AWAKE_MS - since_ms
        if not rest_ms:
            return _AS_HERE, _FAR_MS
        phase_ms = (since_ms - _AWAKE_MS) % (rest_ms + _WINDOW_MS)
        if phase_ms < rest_ms:
            return _OFF, rest_ms - phase_ms
        return _AS_HERE, rest_ms + _WINDOW_MS - phase_ms

    def _say(self, what: int) -> None:
        radio = self._radio
        try:
            radio.gap_advertise(None)
            if what == _AS_HERE:
                radio.gap_advertise(_HERE_US, adv_data=_HERE, resp_data=self._name)
            elif what == _AS_SILENCE:
                radio.gap_advertise(
                    _SHOUT_US, adv_data=self._silence, resp_data=b"", connectable=False
                )
            self._says = what
        except OSError:
            self._says = _UNKNOWN  # a central came this moment, or the stack is busy: tried again

    def _listen(self, settings: "list[int]", now_ms: int) -> int:
        """Begin a window when one is due; milliseconds until the next."""
        every_ms = settings[_EVERY_SETTING]
        if self._listened_ms >= 0:
            since_ms = diff_ms(now_ms, self._listened_ms)
            if 0 <= since_ms < every_ms:
                return every_ms - since_ms
        self._listened_ms = now_ms
        try:
            self._radio.gap_scan(settings[_LISTEN_SETTING], _SCAN_US, _SCAN_US)
        except OSError:
            pass  # this stack cannot scan now
        return every_ms
