"""A medium from its URL: `serial:PATH`, `bus:PATH`, `ble:`, `sim:...`."""

from __future__ import annotations

from pathlib import Path

from blindfield.links.channel import Medium
from blindfield.model.errors import ConfigError
from blindfield.model.field import Field


def open_medium(
    url: str, folder: Path, *, place: Field | None = None, key: bytes | None = None
) -> Medium:
    """`folder` is where relative paths begin: that of the field's file. With `place` and `key`
    the devices of `sim:` are those of that field; `bus:` calls devices as `place` does.

    `serial:` names a port, a pattern such as `serial:/dev/ttyACM*`, or a folder of ports; `bus:`
    names the port of an RS-485 adapter; `ble:` needs no more, `ble:max=3` says how many
    connections this computer is to hold at once.
    Raises ConfigError for a URL that names no medium of ours.
    """
    scheme, colon, rest = url.partition(":")
    if colon and scheme == "serial" and rest:
        from blindfield.links.serial_medium import SerialMedium

        return SerialMedium(url, rest, folder)
    if colon and scheme == "bus" and rest:
        from blindfield.links.bus_medium import BusMedium
        from blindfield.links.bus_port import SerialBusPort
        from blindfield.links.serial_medium import absolute

        return BusMedium(url, SerialBusPort(absolute(rest, folder)), place)
    if colon and scheme == "sim":
        from blindfield.links.sim.medium import medium_of_url

        return medium_of_url(url, place, key)
    if colon and scheme == "ble":
        from blindfield.links import ble_medium

        targets = [target.device_id for target in place.targets] if place else []
        posts = [post.device_id for post in place.posts] if place else []
        return ble_medium.medium_of_url(url, targets + posts)
    remedy = "It is serial:PORT (or a pattern, or a folder of ports), bus:PORT, ble: or sim:."
    raise ConfigError(f"{url!r} names no way to devices.", remedy=remedy)
