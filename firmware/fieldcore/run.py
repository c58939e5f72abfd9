"""What one device does of one run: cues, pulses, and every limit on sending.

Sending is possible only while now < min(sheet end, cap, last sealed frame + lease); the first two
are run times (from the last renewal on), the third an instant that each sealed frame moves on.
Cue times are run times in ms; the run's start instant and the pulse train are kept to the
microsecond.
"""

from fieldcore import instant
from fieldcore.compat import const
from fieldcore.keying import Keying
from fieldcore.sheet import Sheet

TYPE_CHECKING = const(0)
if TYPE_CHECKING:
    from collections.abc import Callable

    from fieldcore.board import Board
    from fieldcore.instant import Clock

# made by blindfield.model.generate
_MAX_CUES = const(8)
_RUN_CAP_MS = const(1200000)
_END_SHEET = const(1)
_END_CAP = const(2)
_END_LEASE = const(3)
_CUE_AT = const(1)
_CUE_ON_MY_STRIKE = const(2)
_CUE_ON_MY_DUG_OUT = const(3)
_CUE_ON_WORD = const(4)
# end of what is made

_FAR_US = const(300_000_000)
_FAR_MS = const(300_000)
_NEVER = const(-1)
_LATE_MAX_US = const(50_000)  # a pulse later than this is left out: off its place it misleads


class Run:
    """One run at a time. `on_cue(cue, sends)` and `on_end(reason)` tell the device."""

    def __init__(
        self,
        board: "Board",
        on_cue: "Callable[[int, bool], None]",
        on_end: "Callable[[int], None]",
    ) -> None:
        self._board = board
        self._on_cue = on_cue
        self._on_end = on_end
        self.keying = Keying()
        self.running = False
        self.sends = False
        self.sheet = Sheet([b"", b"", 0, 0, 0, 0, 0, 0, []])  # nothing to do
        self.struck_ms = self.dug_out_ms = _NEVER
        self._start_ms = self._start_us = 0
        self._origin_ms = 0
        self._renewed_ms = 0
        self._sealed_ms = 0
        self._count = 0
        self._trigger = bytearray(_MAX_CUES)
        self._word = bytearray(_MAX_CUES)
        self._to_send = bytearray(_MAX_CUES)
        self._done = bytearray(_MAX_CUES)
        self._due_ms = [_NEVER] * _MAX_CUES

    def begin(self, sheet: Sheet, ms: int, us: int, origin_ms: int) -> None:
        """Start `sheet` at instant (ms, us), which is run time `origin_ms`."""
        self.struck_ms = self.dug_out_ms = _NEVER
        self._start_ms, self._start_us = ms, us
        self._origin_ms = origin_ms
        self._renewed_ms = 0
        self._sealed_ms = ms
        self.sends = False
        self.running = True
        self._take(sheet)
        self._begin_keying()

    def revise(self, sheet: Sheet, now_ms: int, renew: bool) -> None:
        """Swap in the next revision; `renew`: a person asked, the 20 min begin anew.

        From then on `end_ms` counts from the renewal; cue times stay times of the run.
        """
        if renew:
            self._renewed_ms = self.elapsed_ms(now_ms)
        old = self.sheet
        self.sends = False  # what the new sheet has due sends again before the next pulse
        self._take(sheet)
        if sheet.train() != old.train():
            self._begin_keying()
            self.keying.skip_to(now_ms)

    def _take(self, sheet: Sheet) -> None:
        self.sheet = sheet
        self._count = len(sheet.cues)
        for place in range(self._count):
            trigger, time_ms, word, sends = sheet.cues[place]
            self._trigger[place] = trigger
            self._word[place] = word
            self._to_send[place] = 1 if sends else 0
            self._done[place] = 0
            own = trigger in (_CUE_AT, _CUE_ON_WORD)
            self._due_ms[place] = time_ms if own else _NEVER
        if self.struck_ms >= 0:
            self._set_due(_CUE_ON_MY_STRIKE, self.struck_ms)
        if self.dug_out_ms >= 0:
            self._set_due(_CUE_ON_MY_DUG_OUT, self.dug_out_ms)

    def _begin_keying(self) -> None:
        period_us, on_us, phase_us = self.sheet.train()
        self.keying.begin(self._start_ms, self._start_us, period_us, on_us, phase_us)

    def _set_due(self, trigger: int, from_ms: int) -> None:
        for place in range(self._count):
            if self._trigger[place] == trigger:
                self._due_ms[place] = from_ms + self.sheet.cues[place][1]

    def elapsed_ms(self, now_ms: int) -> int:
        """Run time in ms at `now_ms`."""
        return instant.diff_ms(now_ms, self._start_ms) + self._origin_ms

    def heard(self, now_ms: int) -> None:
        """A sealed frame arrived: the lease begins anew, unless it ran out while nobody looked."""
        if self.live_left_ms(now_ms):
            self._sealed_ms = now_ms

    def struck(self, now_ms: int) -> None:
        """This device was struck; only the first counts for cues."""
        if self.struck_ms < 0:
            self.struck_ms = self.elapsed_ms(now_ms)
            self._set_due(_CUE_ON_MY_STRIKE, self.struck_ms)

    def dug_out(self, now_ms: int) -> None:
        """This device was dug out; only the first time counts for cues."""
        if self.dug_out_ms < 0:
            self.dug_out_ms = self.elapsed_ms(now_ms)
            self._set_due(_CUE_ON_MY_DUG_OUT, self.dug_out_ms)

    def word(self, word: int, now_ms: int) -> None:
        """The word came: its cues are due now. A second time changes nothing."""
        for place in range(self._count):
            waits = self._trigger[place] == _CUE_ON_WORD and not self._done[place]
            if waits and self._word[place] == word:
                self._due_ms[place] = self.elapsed_ms(now_ms)

    def live_left_ms(self, now_ms: int) -> int:
        """How long from now a carrier may still come; 0 when not running."""
        if not self.running:
            return 0
        elapsed = self.elapsed_ms(now_ms)
        left: int = self._end_ms() - elapsed
        lease: int = self.sheet.lease_ms - instant.diff_ms(now_ms, self._sealed_ms)
        return max(0, min(left, lease))

    def _end_ms(self) -> int:
        most_ms: int = min(self.sheet.end_ms, _RUN_CAP_MS)
        return self._renewed_ms + most_ms

    def advance(self, clock: "Clock") -> int:
        """Do all that is due; microseconds until it wants to be called again."""
        left_ms = self.live_left_ms(clock.ms)
        if left_ms <= 0:
            self.end(self._why_ended(clock.ms))
            return _FAR_US
        wait_ms = min(left_ms, self._run_cues(self.elapsed_ms(clock.ms)), _FAR_MS)
        return min(wait_ms * 1000, self._run_pulses(clock, left_ms))

    def _why_ended(self, now_ms: int) -> int:
        if self.elapsed_ms(now_ms) < self._end_ms():
            return _END_LEASE
        return _END_CAP if self.sheet.end_ms >= _RUN_CAP_MS else _END_SHEET

    def _run_cues(self, elapsed_ms: int) -> int:
        """Carry out due cues in order of their times; ms until the next one."""
        while True:
            first = _NEVER
            for place in range(self._count):
                if self._done[place] or self._due_ms[place] < 0:
                    continue
                if first < 0 or self._due_ms[place] < self._due_ms[first]:
                    first = place
            if first < 0:
                return _FAR_MS
            if self._due_ms[first] > elapsed_ms:
                return self._due_ms[first] - elapsed_ms
            self._done[first] = 1
            self._set_sends(self._to_send[first] == 1)
            self._on_cue(first, self.sends)

    def _set_sends(self, sends: bool) -> None:
        if self.sends and not sends:
            self._board.abort()
        self.sends = sends

    def _run_pulses(self, clock: "Clock", left_ms: int) -> int:
        keying = self.keying
        due_us = keying.due_us(clock)
        while due_us <= 0:
            if self.sends and due_us > -_LATE_MAX_US and keying.ends_within(left_ms, clock.us):
                self._board.pulse(keying.periods)
            keying.step()
            due_us = keying.due_us(clock)
        return due_us

    def end(self, reason: int) -> None:
        """Silent, and no longer running."""
        self._board.abort()
        if self.running:
            self.running = False
            self.sends = False
            self._on_end(reason)
