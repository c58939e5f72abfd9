"""What a device needs of a board: `python tests/benchmarks/device_memory.py`.

The core is compiled as for a board and run under MicroPython in a heap of 96 KiB. Objects of the
64-bit interpreter are about twice a board's, so the figures are on the safe side.
"""

import platform
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from support.compiled import compile_core, import_bytes, run_device


def main() -> None:
    print(f"{platform.machine()}, MicroPython unix, -X heapsize=96K, mpy-cross -O2")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        program_bytes = compile_core(folder)
        for path in sorted((folder / "fieldcore").glob("*.mpy")):
            print(f"  {path.stem:12} {path.stat().st_size:6} bytes of .mpy")
        print(f"program           {program_bytes:6} bytes of .mpy (budget 30 KiB = 30720)")
        print(f"heap after import {import_bytes(folder):6} bytes (budget 55 KiB = 56320)")
        begun_s = time.monotonic()
        said = run_device(folder, "hour")
        wall_s = time.monotonic() - begun_s
        print(
            f"an hour of device time, 8 sheets, 3 runs, {said['records']} records: heap"
            f" {said['held']} bytes held, {said['free']} free at its end; {wall_s:.2f} s here"
        )
        said = run_device(folder, "locked")
        print(f"steps with the heap locked: {said}")


if __name__ == "__main__":
    main()
