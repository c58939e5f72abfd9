"""The rules that are not broken, under random sequences of all that can happen to a device.

A model beside the device knows only what the host and the ground did, never the device's state: it
works out anew until when a carrier may come, and every pulse is held against that.
"""

from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from fieldcore import frame, message, wire
from support.device_bench import DeviceBench

CAP_US = 1_200_000_000
WRAP = 1 << 30
PULSE_SLACK_US = 2  # a pulse is a whole number of carrier periods


class Watched(DeviceBench):
    """A device and the model of what it may do. Times are the bench's."""

    def __init__(self, first_us: int, ms: int) -> None:
        self.begin_us = self.zero_us = self.sealed_us = self.end_us = self.lease_us = 0
        self.set = False  # a start is set, or its run is not yet known to be over
        self.latched = False
        self.count = 0
        self.sheets: dict[int, tuple[int, int, int]] = {}  # revision, end_ms, lease_ms
        self.slot = -1
        self.checked = 0
        self.strikes = self.silences = self.rearms = 0
        super().__init__(first_us=first_us, ms=ms)

    def tick_us(self) -> int:
        """Now, in whole milliseconds of the device's clock: its limits are as coarse as that."""
        us: int = self.device.clock.us
        return self.now_us - us

    def live_until_us(self) -> int:
        """No carrier at or after this time; 0 when none may come."""
        if not self.set:
            return 0
        sealed_us = max(self.begin_us, self.sealed_us)
        return min(self.end_us, sealed_us + self.lease_us)

    def until(self, at_us: int) -> None:
        super().until(at_us)
        self.check()

    def check(self) -> None:
        """Each new pulse lies within the present limit; a run past its limit is over."""
        limit_us = self.live_until_us()
        for begin_us, _, end_us in self.board.pulses[self.checked :]:
            assert not self.latched
            assert self.begin_us <= begin_us
            assert end_us <= limit_us + PULSE_SLACK_US
        # the last one may still be cut short, but not lengthened
        self.checked = len(self.board.pulses)
        if self.set and self.now_us >= limit_us:
            self.over()

    def over(self) -> None:
        """Nothing may come any more: what is under way ends now."""
        self.set = False
        self.sheets.pop(self.slot, None)  # spent
        self.slot = -1
        assert all(pulse[2] <= self.now_us for pulse in self.board.pulses[-1:])

    def ask(self, message_id: int, *fields: Any) -> list[Any]:
        said: list[Any] = super().ask(message_id, *fields)
        if self.set and self.begin_us <= self.now_us < self.live_until_us():
            self.sealed_us = self.tick_us()
        self.check()
        return said

    # What may happen

    def do_load(self, slot: int, revision: int, end_ms: int, lease_ms: int) -> None:
        said = self.load(slot, revision=revision, end_ms=end_ms, lease_ms=lease_ms)
        if said[0] == wire.COMMITTED:
            assert not self.latched
            assert slot != self.slot
            self.sheets[slot] = (revision, end_ms, lease_ms)
        elif not (self.set and slot == self.slot):
            assert self.latched
            self.sheets.pop(slot, None)

    def do_start(self, slot: int, ahead_ms: int, elapsed_ms: int, stale: bool) -> None:
        said = self.start(slot, ahead_ms, 0, elapsed_ms, (self.count - stale) & 0xFFFF)
        may = not self.latched and not stale and not self.set and slot in self.sheets
        if said != [wire.DONE]:
            assert not may or elapsed_ms >= self.sheets[slot][1]
            return
        if self.set and not self.latched and not stale and slot == self.slot:
            assert self.start_us == self.begin_us  # the very same start, asked for again
            return
        assert may
        _, end_ms, lease_ms = self.sheets[slot]
        self.set, self.slot, self.begin_us = True, slot, self.start_us
        self.sealed_us = self.begin_us
        self.zero_us = self.begin_us - elapsed_ms * 1000
        self.end_us = self.zero_us + min(end_ms * 1000, CAP_US)
        self.lease_us = lease_ms * 1000

    def do_revise(self, slot: int, renew: bool, stale: bool) -> None:
        said = self.ask(wire.REVISE, slot, renew, (self.count - stale) & 0xFFFF)
        if said != [wire.DONE] or slot == self.slot:
            return
        assert self.set
        assert not self.latched
        assert not stale
        revision, end_ms, lease_ms = self.sheets[slot]
        assert revision > self.sheets.pop(self.slot)[0]
        self.slot = slot
        self.lease_us = lease_ms * 1000
        if renew:
            self.zero_us = self.tick_us()
        self.end_us = self.zero_us + min(end_ms * 1000, CAP_US)

    def do_end(self, message_id: int, slot: int) -> None:
        before = self.sheets.get(slot)
        self.ask(message_id, slot)
        if self.set and slot == self.slot:
            forgotten = message_id == wire.CANCEL and self.now_us < self.begin_us
            self.over()
            if forgotten and before:
                self.sheets[slot] = before

    def do_silence(self, way: str) -> None:
        if way == "knock":
            self.knock_and_wait()
        elif way == "air":
            self.silence_by_air()
        else:
            self.silence()
        self.silenced()

    def knock_and_wait(self) -> None:
        before = self.kinds().count(wire.EVENT_KNOCK)
        self.feel(35)
        for _ in range(5):
            self.feel(8, size=2000)
        for _ in range(30):
            if self.kinds().count(wire.EVENT_KNOCK) > before:
                break
            self.feel(1)
        assert self.kinds().count(wire.EVENT_KNOCK) == before + 1

    def silenced(self) -> None:
        self.silences += not self.latched
        self.latched = True
        self.count = (self.count + 1) & 0xFFFF
        if self.set:
            self.over()

    def do_rearm(self, stale: bool) -> None:
        busy, was = self.set, self.latched
        said = self.ask(wire.REARM, (self.count - stale) & 0xFFFF)
        assert (said == [wire.DONE]) is (not stale and not busy)
        if said == [wire.DONE]:
            self.rearms += was
            self.latched = False

    def do_reboot(self) -> None:
        before = self.records()
        self.reboot()
        after = self.records()
        assert after[:-1] == before
        assert after[-1][0] == wire.EVENT_BOOT
        self.sheets.clear()
        if self.set:
            self.over()
        if self.latched:  # silences while latched are counted, but not written
            assert self.silence_count() <= self.count
        else:
            assert self.silence_count() == self.count
        assert self.device.journal.latched is self.latched
        self.count = self.silence_count()

    def do_strike(self) -> None:
        self.strike()
        self.strikes += 1

    def do_forge(self, data: bytes) -> None:
        bad = self.device.refusals
        tag = bytes(8)
        for message_id in (wire.START, wire.REARM, wire.REVISE, wire.STATUS):
            body = bytes((0x81, 0x18, message_id)) + data
            self.say(message.pack(wire.REQUEST, 0xFFFF0000, body, tag))
        self.say_bytes(data + b"\0" + frame.encode(1, message.pack(wire.OPEN, bytes(12), tag)))
        assert self.device.refusals >= bad + 5

    def do_hang(self, us: int) -> None:
        """Not called for so long; then the limit is what it was."""
        self.freeze(us)
        self.check()


SLOT = st.integers(0, 2)
STALE = st.sampled_from([False, False, False, True])
SILENCE = frame.encode(255, message.pack(wire.SILENCE)).rstrip(b"\0")
STEP = st.one_of(
    st.tuples(
        st.just("load"),
        SLOT,
        st.integers(1, 4),
        st.sampled_from([10_000, 90_001, 1_200_000]),
        st.sampled_from([5_000, 30_000, 1_200_000]),
    ),
    st.tuples(st.just("start"), SLOT, st.sampled_from([1, 3_000]), st.sampled_from([0, 7]), STALE),
    st.tuples(st.just("pass_us"), st.integers(1, 8_000_000)),
    st.tuples(st.just("pass_us"), st.sampled_from([29_999_999, 400_000_000, 1_300_000_000])),
    st.tuples(st.just("revise"), SLOT, st.booleans(), STALE),
    st.tuples(st.just("end"), st.sampled_from([wire.END, wire.CANCEL]), SLOT),
    st.tuples(st.just("silence"), st.sampled_from(["frame", "air", "knock"])),
    st.tuples(st.just("rearm"), STALE),
    st.just(("strike",)),
    st.just(("reboot",)),
    st.tuples(st.just("hang"), st.sampled_from([60_000, 5_500_000, 40_000_000])),
    # Anyone may silence, unsealed: a whole silence frame is no forgery.
    st.tuples(st.just("forge"), st.binary(max_size=12).filter(lambda data: SILENCE not in data)),
    st.just(("status",)),
)
# Most sequences begin with a run, or little would ever send.
BEGIN = st.tuples(st.just("load"), st.just(0), st.just(1), st.just(1_200_000), st.just(30_000))
START = st.sampled_from(
    [("start", 0, *rest) for rest in ((1, 0, False), (3_000, 0, False), (1, 0, True))]
)
STORY = st.tuples(BEGIN, START, st.lists(STEP, max_size=25)).map(lambda s: [s[0], s[1], *s[2]])


def tell(story: list[tuple[Any, ...]], first_us: int, ms: int) -> Watched:
    bench = Watched(first_us, ms)
    for word, *values in story:
        action = getattr(bench, f"do_{word}", None) or getattr(bench, word)
        action(*values)
        bench.check()
    return bench


@settings(max_examples=400)
@given(STORY, st.sampled_from([0, WRAP - 20_000_000]), st.sampled_from([-1, WRAP - 20_000]))
def test_no_pulse_outlives_its_limit_or_a_silence_and_no_record_is_lost(
    story: list[tuple[Any, ...]], first_us: int, ms: int
) -> None:
    bench = tell(story, first_us, ms)
    records = bench.records()
    assert [record[2] for record in records] == list(range(1, len(records) + 1))
    kinds = [record[0] for record in records]
    assert kinds.count(wire.EVENT_STRIKE) >= bench.strikes
    assert kinds.count(wire.EVENT_SILENCED) == bench.silences
    assert kinds.count(wire.EVENT_REARMED) == bench.rearms
    assert kinds.count(wire.EVENT_GAP) == 0


def test_the_stories_do_make_it_send() -> None:
    """The model would be content with a device that never sends."""
    bench = tell(
        [
            ("load", 0, 1, 1_200_000, 30_000),
            ("start", 0, 1, 0, False),
            ("pass_us", 10_000_000),
            ("load", 1, 2, 1_200_000, 1_200_000),
            ("revise", 1, False, False),
            ("pass_us", 1_300_000_000),
        ],
        0,
        -1,
    )
    assert len(bench.board.pulses) == 1200
    assert bench.kinds().count(wire.EVENT_STARTED) == 1
