r"""Controller table of one soil moisture probe: from raw count to volumetric
water content theta_v, in whole numbers only. MicroPython and Python 3 run it as
it is; it needs no other module.

@heading@

Do not edit: `ovendry verify` refuses the file if a byte has changed.

    import @module@ as probe

    relay(False)                    the pump is off before anything else
    pump = probe.Pump(now_s)        ValueError if the table is not sound
    try:
        while True:                 every few seconds while the pump is on
            relay(pump.step(now_s, count, temperature_centi))
    finally:
        relay(False)                whatever goes wrong

now_s: whole seconds from any moment that stays the same. temperature_centi:
hundredths of a degree Celsius, None where there is none. pump.answer is theta_v
in m3/m3 times 10 000 (2534 is 0.2534 m3/m3), or a fault: is_fault(pump.answer).
Between readings the pump stays as it is: have a watchdog switch it off if they
stop.

@caution@
"""

# Answers that are no water content.
NO_SUCH_COUNT = -30001  # no count the converter can give
OPEN_CIRCUIT = -30002  # the wire to the probe is broken
SHORT_CIRCUIT = -30003  # in the wire to the probe
STUCK = -30004  # the count has not changed for too long
TEMPERATURE_MISSING = -30005
TEMPERATURE_OUTSIDE = -30006  # not among those calibrated
COUNT_BELOW = -30007  # below those calibrated
COUNT_ABOVE = -30008  # above those calibrated

# The table's image: numbers lowest byte first, then a CRC-32 over them.
TABLE = (
@rows@
)


def is_fault(answer):
    return answer < -30000


def _u16(at):
    return TABLE[at] | TABLE[at + 1] << 8


def _i16(at):
    number = _u16(at)
    return number - 65536 if number > 32767 else number


def _u32(at):
    return _u16(at) + 65536 * _u16(at + 2)


def _i32(at):
    return _u16(at) + 65536 * _i16(at + 2)


def _divide(n, d):
    """n / d to the nearest whole number, halves away from zero."""
    if n < 0:
        return -((d // 2 - n) // d)
    return (n + d // 2) // d


def _correction(temperature_centi):
    """Sixteenths of a count by which a reading is lowered."""
    return _divide(_i32(16) * (temperature_centi - _i16(10)), 1 << TABLE[2])


def _corrected(count, temperature_centi):
    """The count at the reference temperature in sixteenths, or a fault."""
    open_reads_high = TABLE[1] & 4
    if not isinstance(count, int) or not 0 <= count <= _u16(4):
        return NO_SUCH_COUNT
    if count < _u16(6):
        return SHORT_CIRCUIT if open_reads_high else OPEN_CIRCUIT
    if count > _u16(8):
        return OPEN_CIRCUIT if open_reads_high else SHORT_CIRCUIT
    sixteenths = 16 * count
    if TABLE[1] & 2:
        if not isinstance(temperature_centi, int):
            return TEMPERATURE_MISSING
        if not _i16(12) <= temperature_centi <= _i16(14):
            return TEMPERATURE_OUTSIDE
        sixteenths -= _correction(temperature_centi)
    if sixteenths < _i32(20):
        return COUNT_BELOW
    if sixteenths > _i32(24):
        return COUNT_ABOVE
    return sixteenths


def _upper_knot(sixteenths):
    """Where the count of the knot at or above stands, but never the very first."""
    at = 64
    while sixteenths > 16 * _u16(at):
        at += 2
    return at


def _theta_v(sixteenths):
    """theta_v x 10 000 on the straight line between two knots."""
    x = _upper_knot(sixteenths)
    y = x + 2 * TABLE[3]
    start = 16 * _u16(x - 2)
    rise = _i16(y) - _i16(y - 2)
    return _i16(y - 2) + _divide(rise * (sixteenths - start), 16 * _u16(x) - start)


def theta_v_e4(count, temperature_centi=None):
    """theta_v in m3/m3 x 10 000 of one reading, or a fault."""
    sixteenths = _corrected(count, temperature_centi)
    return sixteenths if sixteenths < 0 else _theta_v(sixteenths)


def uncertainty_e4(count, temperature_centi=None):
    """Its expanded uncertainty (95 %) x 10 000, or a fault."""
    sixteenths = _corrected(count, temperature_centi)
    if sixteenths < 0:
        return sixteenths
    at = _upper_knot(sixteenths) + 4 * TABLE[3]
    return max(_u16(at - 2), _u16(at))


class Pump:
    """When one pump goes on and off. `on` is how it is, `answer` the latest."""

    def __init__(self, now_s):
        """Powers up: off, and as if just stopped."""
        if not is_sound():
            raise ValueError("the table is not sound; keep the pump off")
        self.on = False
        self.answer = None
        self._since = now_s
        self._now = now_s
        self._count = None
        self._changed = now_s

    def step(self, now_s, count, temperature_centi=None):
        """Follows one reading; True while the pump is to be on."""
        set_back = now_s < self._now
        self._now = now_s
        if set_back or count != self._count:
            self._count = count
            self._changed = now_s
        self.answer = theta_v_e4(count, temperature_centi)
        wire = self.answer in (NO_SUCH_COUNT, OPEN_CIRCUIT, SHORT_CIRCUIT)
        if 0 < _u32(50) <= now_s - self._changed and not wire:
            self.answer = STUCK
        if set_back or self.on and now_s - self._since >= _u32(46):
            self._switch(False, now_s)
        else:
            self._decide()
        return self.on

    def _decide(self):
        held = self._now - self._since
        if self.on:
            enough = self.answer >= _i16(30) and held >= _u32(38)
            if is_fault(self.answer) or enough:
                self._switch(False, self._now)
        elif not is_fault(self.answer):
            if self.answer <= _i16(28) and held >= _u32(42):
                self._switch(True, self._now)

    def _switch(self, on, at):
        self.on = on
        self._since = at


def is_sound():
    """Whether the table is whole, of version 2, and one that may be used."""
    size = len(TABLE)
    if size < 78 or TABLE[0] != 2 or size != 66 + 6 * TABLE[3]:
        return False
    crc = 0xFFFFFFFF
    for at in range(size - 4):
        crc ^= TABLE[at]
        for _ in range(8):
            crc = crc >> 1 ^ (0xEDB88320 if crc & 1 else 0)
    if crc ^ 0xFFFFFFFF != _u32(size - 4):
        return False
    return _knots_sound() and _limits_sound() and _set_points_sound()


def _knots_sound():
    wetter = -1 if TABLE[1] & 1 else 1
    half = 2 * TABLE[3]
    for x in range(64, 62 + half, 2):
        if not 0 < _u16(x) - _u16(x - 2) <= 4095:
            return False
        if wetter * (_i16(x + half) - _i16(x + half - 2)) < 0:
            return False
    for y in range(62 + half, 62 + 2 * half, 2):
        if not -2000 <= _i16(y) <= 12000 or _u16(y + half) > 10000:
            return False
    first, last = 16 * _u16(62), 16 * _u16(60 + half)
    return (
        _i16(62 + half) != _i16(60 + 2 * half)
        and first <= _i32(20) < first + 16
        and last - 16 < _i32(24) <= last
        and _i32(20) < _i32(24)
    )


def _limits_sound():
    full_scale, low, high = _u16(4), _u16(6), _u16(8)
    term = (TABLE[2], _i16(10), _i16(12), _i16(14), _i32(16))
    shifts = (0, 0)
    if TABLE[1] & 2:
        for centi in term[1:4]:
            if not -4000 <= centi <= 8500:
                return False
        if TABLE[2] not in (0, 8, 16) or term[2] >= term[3]:
            return False
        for centi in term[2:4]:
            product = abs(term[4] * (centi - term[1])) + (1 << TABLE[2]) // 2
            if product > 0x7FFFFFFF or product >> TABLE[2] > 16 * full_scale:
                return False
        shifts = (_correction(term[2]), _correction(term[3]))
    elif term != (0, 0, 0, 0, 0):
        return False
    lowest = -((-_i32(20) - min(shifts)) // 16)
    highest = (_i32(24) + max(shifts)) // 16
    return (
        TABLE[1] < 8
        and full_scale >= 255
        and full_scale & (full_scale + 1) == 0
        and low <= high <= full_scale
        and low <= max(lowest, 0)
        and high >= min(highest, full_scale)
        and 1 <= _u16(36) <= 10000
        and max(_u32(38), _u32(42), _u32(46), _u32(50)) <= 604800
        and max(_u32(38), 1) <= _u32(46)
        and 19700101 <= _u32(54) <= _u32(58)
    )


def _set_points_sound():
    for theta_v, count in ((_i16(28), _u16(32)), (_i16(30), _u16(34))):
        if not _i32(20) <= 16 * count <= _i32(24):
            return False
        near = [
            _theta_v(max(_i32(20), 16 * count - 16)),
            _theta_v(min(_i32(24), 16 * count + 16)),
        ]
        if not min(near) <= theta_v + _u16(36) + 1:
            return False
        if not max(near) >= theta_v - _u16(36) - 1:
            return False
    rises = _u16(32) < _u16(34)
    falls = _u16(32) > _u16(34)
    return _i16(28) < _i16(30) and (falls if TABLE[1] & 1 else rises)
