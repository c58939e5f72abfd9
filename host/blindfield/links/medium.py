"""A medium from its URL: `serial:PATH`, `sim:...`."""

from __future__ import annotations

from pathlib import Path

from blindfield.links.channel import Medium
from blindfield.model.errors import ConfigError
from blindfield.model.field import Field

_LATER = {"bus": "the RS-485 bus", "ble": "Bluetooth"}


def open_medium(
    url: str, folder: Path, *, place: Field | None = None, key: bytes | None = None
) -> Medium:
    """`folder` is where relative paths begin: that of the field's file. With `place` and `key`
    the devices of `sim:` are those of that field.

    `serial:` names a port, a pattern such as `serial:/dev/ttyACM*`, or a folder of ports.
    Raises ConfigError for a URL that names no medium of ours.
    """
    scheme, colon, rest = url.partition(":")
    if colon and scheme == "serial" and rest:
        from blindfield.links.serial_medium import SerialMedium

        return SerialMedium(url, rest, folder)
    if colon and scheme == "sim":
        from blindfield.links.sim.medium import medium_of_url

        return medium_of_url(url, place, key)
    if colon and scheme in _LATER:
        what = f"{url}: {_LATER[scheme]} is not built yet."
        raise ConfigError(what, remedy="Use serial: or sim:.")
    remedy = "It is serial:PORT (or a pattern, or a folder of ports) or sim:."
    raise ConfigError(f"{url!r} names no way to devices.", remedy=remedy)
