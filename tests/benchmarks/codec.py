"""Time per operation of the shared codec on both interpreters: `python tests/benchmarks/codec.py`.

Round figures of this machine; a board is some 50 to 150 times slower than MicroPython here.
"""

import platform
import subprocess
import sys
from pathlib import Path

FIRMWARE = Path(__file__).resolve().parents[2] / "firmware"
LOOPS = 5000

SCRIPT = """
import sys, time
from fieldcore import cbor, compat, frame, journal, seal

class Ram:
    page_size = 4096
    pages = 8
    def __init__(self):
        self.data = bytearray(self.page_size * self.pages)
        for page in range(self.pages):
            self.erase(page)
    def read_into(self, offset, buf):
        buf[:] = self.data[offset : offset + len(buf)]
    def write(self, offset, data):
        self.data[offset : offset + len(data)] = data
    def erase(self, page):
        for i in range(page * self.page_size, (page + 1) * self.page_size):
            self.data[i] = 255

def now_us():
    return time.ticks_us() if hasattr(time, "ticks_us") else time.perf_counter() * 1e6

def timed(name, loops, action):
    begun = now_us()
    for _ in range(loops):
        action()
    print("%s\\t%.1f" % (name, (now_us() - begun) / loops))

loops = int(sys.argv[1])
event = [33, 7, 123456, 12, 123456789, 999, 4, b"8 bytes!", True]
body = cbor.dumps(event)
data = frame.encode(7, bytes(range(60)))
reader = frame.Reader(600)
key = seal.Key(bytes(32))
store = Ram()
book = journal.Journal(store, lambda n: bytes(n))
buf = bytearray(5 * 32)

def read():
    reader.feed(data)
    reader.next()

def fetch():
    if book.read_into(fetch_after[0], buf, 5):
        fetch_after[0] += 5
    else:
        fetch_after[0] = 0

fetch_after = [0]
timed("mount, 1024 blank slots", 1, book.mount)
timed("cbor.dumps, event", loops, lambda: cbor.dumps(event))
timed("cbor.loads, event", loops, lambda: cbor.loads(body))
timed("frame.encode, 60 bytes", loops, lambda: frame.encode(7, bytes(60)))
timed("Reader, 60-byte body", loops, read)
timed("Key.tag, 64 bytes", loops, lambda: key.tag(data))
timed("crc32, 66 bytes", loops, lambda: compat.crc32(data))
timed("journal.append", 990, lambda: book.append(2, 0, 0, 1, 2, 3, b"8 bytes!"))
timed("journal.read_into, 5", 190, fetch)
timed("mount, full", 1, journal.Journal(store, lambda n: bytes(n)).mount)
"""


def figures(command: list[str], variable: str) -> dict[str, str]:
    done = subprocess.run(
        [*command, "-c", SCRIPT, str(LOOPS)],
        env={variable: f"{FIRMWARE}:.frozen" if variable == "MICROPYPATH" else str(FIRMWARE)},
        capture_output=True,
        text=True,
        check=True,
    )
    rows = (line.split("\t") for line in done.stdout.splitlines())
    return {name: value for name, value in rows}  # noqa: C416


def main() -> None:
    micropython = str(Path(sys.executable).with_name("micropython"))
    ours = figures([sys.executable], "PYTHONPATH")
    theirs = figures([micropython, "-X", "heapsize=192K"], "MICROPYPATH")
    print(f"{platform.machine()}, {platform.system()}, Python {platform.python_version()}")
    print(f"{'microseconds each':<26}{'CPython':>10}{'MicroPython':>13}")
    for name, value in ours.items():
        print(f"{name:<26}{value:>10}{theirs[name]:>13}")


if __name__ == "__main__":
    main()
