"""Feels probe strikes in blocks of samples: sharp hits on a plate and slow pushes into a pack.

Unproven until calibrated in the ground: no recorded strike exists to test against.

How it decides. Work is done at 800 to 1250 Hz (faster samples are averaged in pairs). While every
channel stays within a band round its slowly following baseline, a frame costs four comparisons.
The first frame outside starts an episode:

* Sharp: the second difference of acceleration (what is above about 100 Hz, scaled by the spacing so
  that a blow gives much the same figure at any rate) passes a limit; it is `sharp_ratio` times
  larger than the slow motion of the second before (steps and shovels swing before they knock) and
  at least `sharp_percent` of the acceleration itself (snow eats what is sharp); and, where there is
  a plate, the plate moves.
  Ring-down is passed over by a dead time and a limit that decays from the last hit.
* Push: the plate's travel rises within a second and stays; somebody standing right above presses
  the plate in the same way. Without a plate: the body, calm for a second before, is tilted and
  stays tilted. That is weak: such a board misses most slow pushes.

An episode ends when two readings of every channel 256 ms apart agree; they become the baselines.

Sensors that sleep: the board must hold at least 32 samples from before the motion that woke it and
hand them over first, must go on for 1 s after the last motion, and the detector settles on the
first samples after a gap, so a hit a few samples into that block is felt.
"""

from array import array

from fieldcore.compat import const, ticks_diff
from fieldcore.quiet import Quiet
from fieldcore.sensor import PLATE, Block, check

SHARP = const(1)  # kinds of finding
PUSH = const(2)

CLIPPED = const(1)  # flags of a finding: the sensor was at its end
REPEAT = const(2)  # an earlier finding lies less than repeat_ms back

# places in fieldcore.sensor.SETTINGS
_QUIET_MG = const(0)
_SHARP_MG = const(2)
_SHARP_RATIO = const(3)
_SHARP_PLATE = const(4)
_DEAD_MS = const(5)
_PUSH_PLATE = const(6)
_PUSH_HOLD_MS = const(7)
_PUSH_TILT_MG = const(8)
_REFRACTORY_MS = const(9)
_REPEAT_MS = const(10)
_CLIP_MG = const(11)
_SHARP_PERCENT = const(12)

_FINDINGS = const(4)  # per block at most; later ones are dropped
_FAR_US = const(100_000_000)
_EARLY_US = const(600_000)  # a tilt counts only this soon after calm ...
_REST_US = const(1_000_000)  # ... that lasted this long
_RISE_US = const(1_000_000)  # the longest that a push takes from half of the limit to all
_STEEP_US = const(50_000)  # ... and the longest that is used to reckon when it began
_WINDOW_US = const(10_000)  # a sharp candidate is judged this long after it began
_CALM_US = const(256_000)
_PAIR_US = const(700)  # samples closer than this are averaged in pairs
_MOVING = const(60 * 16)  # 1/16 mg, sum of axes
_SWINGING = const(60 * 16)
_WORKING_US = const(1250)  # spacing at which sharp_mg is stated


class Finding:
    """One strike: kind, `at_us` from the block's first frame (negative: earlier), strength 1-255.

    Strength is 64 mg a step (sharp, of the second difference), 0.04 mm (push on a plate) or 1 mg
    (push without a plate).
    """

    def __init__(self) -> None:
        self.kind = 0
        self.at_us = 0
        self.strength = 0
        self.flags = 0


class StrikeDetector:
    """Keeps its state from block to block. After `feed`, read:

    `findings[:n]`; `sharp_count`, `sharp_at_us`: every sharp hit of this block, before the
    refractory time; `moving`: slow motion apart from what a hit leaves behind.
    """

    def __init__(self, settings: "list[int]", channels: int) -> None:
        check(settings)
        self.findings = [Finding() for _ in range(_FINDINGS)]
        self.sharp_count = 0
        self.sharp_at_us = array("i", [0] * _FINDINGS)
        self.moving = False
        self._set = settings
        self._quiet = Quiet(settings)
        self._base = self._quiet.base
        self._plate = channels & PLATE != 0
        self._found = self._at_us = self._pair = self._step_us = self._gain = 0
        self._sharpness = self._level = self._reach = 0  # of the frame now
        self._peak = self._touch = self._swing = self._untouched = 0  # of the candidate
        self._rest_us = _FAR_US
        self._since_us = _FAR_US  # since the last finding, from this block's first frame
        self._last_us = self._span_us = -1  # the block before: first tick, length
        self._slow = [0] * 4  # 1/16, less the baseline
        self._mark = [0] * 4  # slow values a window ago
        self._one = [0] * 4  # the frame before, less the baseline
        self._two = [0] * 4
        self._active = False
        self._before = self._ring = 0  # slow motion, 1/16 mg, sum of axes; last hit; decaying
        self._begin()

    def feed(self, block: Block) -> int:
        """Take in a block; gives the number of findings."""
        self._found = self.sharp_count = 0
        self.moving = False
        count = block.count * 4
        if not count:
            return 0
        self._follow_time(block)
        frames = block.frames
        i = 0
        while i < count:
            if not self._active:
                i = self._quiet.scan(frames, i, count)
                if i >= count:
                    self._quiet.follow(frames, block.count)
                    self._rest_us = min(_FAR_US, self._rest_us + self._span_us)
                    break
                self._begin()
                self._told = not self._plate and self._rest_us < _REST_US
                self._rest_us = 0
                self._active = True
                i = i - 8 if i >= 8 else 0
            i = self._episode(frames, i, count, block.period_us)
        return self._found

    # -- time -------------------------------------------------------------------------------

    def _follow_time(self, block: Block) -> None:
        """Carry elapsed time over; after a gap, settle anew."""
        self._pair = pair = 4 if block.period_us <= _PAIR_US else 0
        self._step_us = step_us = block.period_us << (pair >> 2)
        self._gain = 64 * _WORKING_US // step_us
        if self._last_us < 0:
            self._settle(block, False)
        else:
            passed_us = ticks_diff(block.first_us, self._last_us)
            late_us = passed_us - self._span_us
            if passed_us < 0 or not -10_000 < late_us < 10_000:
                self._settle(block, True)
            if 0 <= passed_us < _FAR_US and self._since_us < _FAR_US:
                self._since_us += passed_us
            else:
                self._since_us = _FAR_US
        self._last_us = block.first_us
        self._span_us = block.count * block.period_us

    def _settle(self, block: Block, known: bool) -> None:
        self._active = False
        self._begin()
        self._before = self._ring = 0
        self._rest_us = _FAR_US
        self._quiet.settle(block.frames, block.count, known)

    # -- an episode -------------------------------------------------------------------------

    def _begin(self) -> None:
        """Everything an episode counts, at its start."""
        for k in range(4):
            self._slow[k] = self._mark[k] = self._one[k] = self._two[k] = 0
        self._hit = self._told = False
        self._clipped = 0
        self._age_us = 0  # since a sharp candidate began; 0: none
        self._calm_us = self._early_us = self._rough = 0
        self._rise_us = self._held_us = self._crossed = 0

    def _episode(self, frames: "array[int]", i: int, count: int, period_us: int) -> int:
        """Work through frames until calm; gives the index reached."""
        slow = self._slow
        while i < count:
            self._at_us = (i >> 2) * period_us
            second = i + self._pair
            if second >= count:
                second = i
            self._edge(frames, i, second)
            if self._plate:
                press = frames[i + 3] - (self._base[3] >> 6)
                self._sharp(press, slow[3] >> 4)
                slow[3] += (press * 16 - slow[3]) >> 3
                self._pressed(slow[3])
            else:
                self._sharp(0, 0)
                self._tilted()
            i = second + 4
            self._calm_us += self._step_us
            if self._calm_us >= _CALM_US and self._is_calm():
                break
        return i

    def _edge(self, frames: "array[int]", i: int, second: int) -> None:
        """Take in the mean of frames i and `second` (the same or the next).

        Gives the second difference, the slow values, and whether the sensor was at its end.
        """
        # three at most at a time: a longer tuple would be made on the heap
        base, slow = self._base, self._slow
        one, two = self._one, self._two
        clip_mg = self._set[_CLIP_MG]
        edge = level = rough = reach = 0
        for k in range(3):
            value = frames[i]
            if not -clip_mg < value < clip_mg:
                self._clipped = CLIPPED
            value = (value + frames[second] >> 1) - (base[k] >> 6)
            i += 1
            second += 1
            change = value - one[k]
            bend = change - two[k]
            one[k] = value
            two[k] = change
            edge += bend if bend > 0 else -bend
            old = slow[k]
            change = value * 16 - old
            rough += change if change > 0 else -change
            old += change >> 4
            slow[k] = old
            level += old if old > 0 else -old
            reach += value if value > 0 else -value
        if rough > self._rough:
            self._rough = rough
        self._sharpness = edge * self._gain >> 6
        self._level = level
        self._reach = reach

    def _sharp(self, press: int, pressed: int) -> None:
        """Look for a hit in this frame, or go on with the one under way."""
        sharpness = self._sharpness
        self._ring -= (self._ring + 63) >> 6
        if not self._age_us:
            if sharpness < self._set[_SHARP_MG] or sharpness < self._ring:
                self._wait()
                return
            self._peak = self._touch = self._swing = 0
            self._untouched = pressed
        self._age_us += self._step_us
        if self._hit:
            if self._age_us >= self._set[_DEAD_MS] * 1000:
                self._age_us = 0
                self._hit = False
            return
        if sharpness > self._peak:
            if sharpness > 3 * self._peak:  # what came before was only its herald
                self._age_us = self._step_us
            self._peak = sharpness
        self._touch = max(self._touch, press - self._untouched)
        self._swing = max(self._swing, self._reach)
        if self._age_us >= _WINDOW_US:
            self._judge()

    def _wait(self) -> None:
        """No candidate: remember how much slow motion there is."""
        self._clipped = 0
        level = self._level
        self._before -= (self._before + 511) >> 9
        self._before = max(self._before, level)
        if level > _MOVING:
            self.moving = True

    def _judge(self) -> None:
        """A candidate's window is over: was it a hit?"""
        peak = self._peak
        if (
            peak * 16 < self._set[_SHARP_RATIO] * self._before
            or peak * 100 < self._set[_SHARP_PERCENT] * self._swing
            or (self._plate and self._touch < self._set[_SHARP_PLATE])
        ):
            self._age_us = 0
            return
        self._hit = True
        self._ring = peak >> 1
        # it began between its first working frame and the one before
        at_us = self._at_us - self._age_us + (self._step_us >> 1)
        if self.sharp_count < _FINDINGS:
            self.sharp_at_us[self.sharp_count] = at_us
            self.sharp_count += 1
        self._find(SHARP, at_us, peak >> 6, self._clipped)

    def _pressed(self, press: int) -> None:
        """A push, by the plate: it passed half of the limit, then all, and stays there."""
        limit = self._set[_PUSH_PLATE] * 16
        if press * 2 < limit:
            self._rise_us = self._crossed = self._held_us = 0
            self._told = False
            return
        self._rise_us += self._step_us
        if press < limit:
            return
        self._crossed = self._crossed or self._rise_us
        self._held_us += self._step_us
        if self._held_us < self._set[_PUSH_HOLD_MS] * 1000 or self._told:
            return
        self._told = True
        if self._crossed <= _RISE_US:
            # A load that grows as the square of time takes 2.4 times as long to its half as on
            # from there; more than that is the probe pressing through the snow above.
            early_us = self._rise_us - self._crossed + 3 * min(self._crossed, _STEEP_US)
            self._find(PUSH, self._at_us - early_us, press >> 6, 0)

    def _tilted(self) -> None:
        """A push, by the body alone: out of calm it leans, a little, and stays leaning."""
        level = self._level
        if level > _SWINGING or self._early_us > _EARLY_US:
            self._told = True
        self._early_us += self._step_us
        if self._told or level < self._set[_PUSH_TILT_MG] * 16:
            self._held_us = 0
            return
        self._held_us += self._step_us
        hold_us = self._set[_PUSH_HOLD_MS] * 1000
        if self._held_us <= hold_us:
            self._crossed = level
        elif self._held_us >= 2 * hold_us:
            self._told = True
            if abs(level - self._crossed) <= level >> 2:
                self._find(PUSH, self._at_us - self._held_us, level >> 4, 0)

    def _find(self, kind: int, at_us: int, strength: int, flags: int) -> None:
        """Report a finding unless it falls in the refractory time of the one before."""
        since_us = self._since_us + at_us
        if since_us < self._set[_REFRACTORY_MS] * 1000 or self._found == _FINDINGS:
            return
        finding = self.findings[self._found]
        finding.kind = kind
        finding.at_us = at_us
        finding.strength = max(1, min(255, strength))
        finding.flags = flags | (REPEAT if since_us < self._set[_REPEAT_MS] * 1000 else 0)
        self._found += 1
        self._since_us = -at_us

    def _is_calm(self) -> bool:
        """Do two readings 256 ms apart agree and did nothing shake between? Then settle there."""
        calm = not self._age_us and self._rough <= 32 * self._set[_QUIET_MG]
        for channel in range(4):
            slow = self._slow[channel]
            calm &= abs(slow - self._mark[channel]) <= 8 * self._quiet.band(channel)
            self._mark[channel] = slow
        self._rough = self._calm_us = 0
        if calm:
            for channel in range(4):
                self._quiet.rebase(channel, self._base[channel] + self._slow[channel] * 4)
            self._active = False
            self._begin()
        return calm
