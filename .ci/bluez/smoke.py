"""Our host, bleak's own BlueZ code, bluetoothd and the kernel, against our firmware on a virtual
radio on which the kernel has its adapter. Run by `check` inside the emulated machine.
"""

from __future__ import annotations

import asyncio
import subprocess
import tempfile
import time
from pathlib import Path

from bumble.transport.vhci import open_vhci_transport

from blindfield.links.ble_medium import BleMedium
from blindfield.links.ble_radio import BleRadio
from blindfield.links.channel import ChannelState
from support.ble_air import AirController
from support.ble_field import BleField, ble_field
from support.ble_host import BleHost, until

TARGETS = 3
BEGUN_S = time.monotonic()


def say(text: str) -> None:
    print(f"{time.monotonic() - BEGUN_S:5.1f} s  {text}", flush=True)


async def adapter_on(air: BleField) -> AirController:
    """The kernel's hci0 on the same air, powered by bluetoothd."""
    transport = await open_vhci_transport(None)
    kernel = AirController("hci0", air.air, transport.source, transport.sink)
    kernel.public_address = "00:1B:DC:07:31:88"

    def powered() -> bool:
        shown = subprocess.run(["bluetoothctl", "show"], capture_output=True, text=True, timeout=10)
        return "Powered: yes" in shown.stdout

    async with asyncio.timeout(20):
        while not await asyncio.to_thread(powered):
            await asyncio.sleep(0.2)
    return kernel


async def smoke(air: BleField) -> None:
    say("devices are up")
    await adapter_on(air)
    say("the adapter is on")
    wanted = [target.device_id for target in air.targets.values()]
    host = BleHost(air, None, BleMedium("ble:", expected=wanted, radio=BleRadio()))  # type: ignore[arg-type]
    await host.connect()
    say(f"{len(host.clients)} connected and opened")
    for _ in range(10):
        await asyncio.gather(*(client.status() for client in host.clients.values()))
    say(f"asked 10 times each, sent again: {[c.retries for c in host.clients.values()]}")
    await host.start("1")
    await until(lambda: air.targets["1"].pulses, 20)
    say("target 1 sends")

    await air.lose("2")
    await until(lambda: host.channels["2"].state is ChannelState.LOST, 20)
    air.find("2")
    await host.clients["2"].connect()
    for _ in range(5):
        await host.clients["2"].status()
    line = host.channels["2"]._wire
    assert line is not None
    say(f"target 2 was away and is back; pieces that came twice: {line.doubled}")

    await host.medium.silence_all()
    replies = await asyncio.gather(*(client.status() for client in host.clients.values()))
    assert all(reply["latched"] and not reply["may_send"] for reply in replies)
    assert host.medium.unreached == ()
    say("all silent, latched and confirmed")
    await host.medium.close()
    await until(lambda: not any(board.connections for board in air.boards.values()), 20)
    say("all let go")


async def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        async with ble_field(Path(folder), TARGETS) as air:
            await smoke(air)
    print("BlueZ: passed", flush=True)


if __name__ == "__main__":
    asyncio.run(main())
