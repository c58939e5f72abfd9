"""What goes wrong with Bluetooth, as sentences: what happened, and what to do on this system."""

from __future__ import annotations

import sys

from bleak.exc import (
    BleakBluetoothNotAvailableError,
    BleakBluetoothNotAvailableReason,
    BleakDBusError,
    BleakDeviceNotFoundError,
    BleakError,
)

from blindfield.model.errors import LinkAbsent, LinkDenied, LinkError, LinkLost

Reason = BleakBluetoothNotAvailableReason

FAULTS = (BleakError, OSError, EOFError, TimeoutError)
"""What bleak and the system below it raise."""

_DENIED = (Reason.DENIED_BY_USER, Reason.DENIED_BY_SYSTEM, Reason.DENIED_BY_UNKNOWN)
_NO_SERVICE = ("ServiceUnknown", "NameHasNoOwner", "NoReply", "ChildExited")
_FORBIDDEN = ("AccessDenied", "NotPermitted", "NotAuthorized")

_ADD = {
    "linux": "Plug in a Bluetooth 4.0 adapter (`bluetoothctl list` shows what there is).",
    "darwin": "This needs a Mac with Bluetooth 4.0, or the devices' own cables (serial:).",
    "win32": "Plug in a Bluetooth 4.0 adapter, and see that Windows' Device Manager shows it.",
}
_SWITCH_ON = {
    "linux": "Switch it on: `bluetoothctl power on` (`rfkill unblock bluetooth` if that fails).",
    "darwin": "Switch it on in System Settings, Bluetooth.",
    "win32": "Switch it on in Settings, Bluetooth & devices.",
}
_ALLOW = {
    "linux": "Let your user reach BlueZ over D-Bus (on some systems: join the group bluetooth).",
    "darwin": "Allow your terminal in System Settings, Privacy & Security, Bluetooth.",
    "win32": "Allow desktop apps in Settings, Privacy & security, Radios.",
}
_START = {
    "linux": "Install BlueZ and start it: `sudo systemctl enable --now bluetooth`.",
    "darwin": "Switch Bluetooth off and on in System Settings.",
    "win32": "Start the Bluetooth Support Service.",
}


def fault_of(error: BaseException, name: str | None, platform: str = sys.platform) -> LinkError:
    """The error to raise for one of `FAULTS`; `name`: the device, if one was meant."""
    if isinstance(error, BleakBluetoothNotAvailableError):
        return _unavailable(error.reason, platform)
    if isinstance(error, BleakDBusError):
        return _from_bus(error.dbus_error.rpartition(".")[2], name, platform)
    if isinstance(error, PermissionError):
        return _say(LinkDenied, "Bluetooth may not be used by you.", _ALLOW, platform)
    if isinstance(error, FileNotFoundError | ConnectionRefusedError):
        return _say(LinkAbsent, "This computer's Bluetooth service does not run.", _START, platform)
    if isinstance(error, BleakDeviceNotFoundError | TimeoutError):
        return not_heard(name)
    return LinkLost("The radio link broke.", device=name, remedy="It is tried again by itself.")


def not_heard(name: str | None) -> LinkError:
    """Nothing came from the device on the air."""
    return LinkAbsent(
        "It is not heard on the air: out of range, off, or held by another computer or phone.",
        device=name,
        remedy="Move nearer, close other programs that hold it, or use its cable. A stranger that "
        "holds it is dropped after 10 s.",
    )


def not_ours(name: str) -> LinkError:
    """It advertises our service and does not have it."""
    remedy = "Switch it off if it is yours; it is passed over."
    return LinkAbsent("It is no device of this program.", device=name, remedy=remedy)


def _unavailable(reason: BleakBluetoothNotAvailableReason, platform: str) -> LinkError:
    if reason in _DENIED:
        return _say(LinkDenied, "Bluetooth may not be used by this program.", _ALLOW, platform)
    if reason is Reason.POWERED_OFF:
        return _say(LinkAbsent, "Bluetooth is switched off.", _SWITCH_ON, platform)
    if reason is Reason.NO_BLE_CENTRAL_ROLE:
        what = "This computer's Bluetooth adapter cannot call devices."
        return _say(LinkAbsent, what, _ADD, platform)
    if reason is Reason.NO_BLUETOOTH:
        return _say(LinkAbsent, "This computer has no Bluetooth adapter.", _ADD, platform)
    return _say(LinkAbsent, "Bluetooth does not work on this computer now.", _START, platform)


def _from_bus(kind: str, name: str | None, platform: str) -> LinkError:
    if kind in _NO_SERVICE:
        return _say(LinkAbsent, "This computer's Bluetooth service does not run.", _START, platform)
    if kind in _FORBIDDEN:
        return _say(LinkDenied, "Bluetooth may not be used by you.", _ALLOW, platform)
    if kind == "NotReady":
        return _say(LinkAbsent, "Bluetooth is switched off.", _SWITCH_ON, platform)
    return LinkLost("The radio link broke.", device=name, remedy="It is tried again by itself.")


def _say(kind: type[LinkError], what: str, remedies: dict[str, str], platform: str) -> LinkError:
    return kind(what, remedy=remedies.get(platform, remedies["linux"]))
