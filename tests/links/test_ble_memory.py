"""What a device with Bluetooth needs: bytes of program, bytes of heap."""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest

from support.compiled import compile_file, compile_firmware

PROGRAM_KIB = 45
HEAP = "128K"
STANDIN = Path(__file__).parents[1] / "support" / "ble_standin"
NOT_ON_A_BOARD = ("fieldcore/wire.py", "fieldcore/board.py")


def test_the_program_fits_and_a_run_fits_its_heap(tmp_path: Path) -> None:
    """The 64-bit interpreter's objects are about twice a board's; the stand-in for the radio's
    module takes of the same heap."""
    pytest.importorskip("bumble")
    from support.ble_field import ble_field
    from support.ble_host import ble_host, strike, until

    firmware = tmp_path / "firmware"
    sizes = compile_firmware(firmware)
    for name in ("bluetooth.py", "ble_device.py"):
        compile_file(STANDIN / name, firmware)
    taken = sum(size for place, size in sizes.items() if place not in NOT_ON_A_BOARD)
    assert 20 * 1024 < taken <= PROGRAM_KIB * 1024
    assert sizes["fielddevice/links/ble.py"] > 1000

    async def main() -> None:
        async with (
            ble_field(tmp_path / "field", 1, firmware=firmware, heap=HEAP) as air,
            ble_host(air) as host,
        ):
            await host.start("1")
            await strike(air, "1")
            await until(lambda: len(air.targets["1"].pulses) >= 2)
            for _ in range(50):
                await host.clients["1"].status()
            assert [r.kind for r in await host.journal("1")].count("strike") == 1
            await host.medium.silence_all()
            assert (await host.clients["1"].status())["latched"]

    asyncio.run(main())
