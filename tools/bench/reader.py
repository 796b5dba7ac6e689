"""What the daemon is compared with: a reader of samples as it is commonly written.

Reads counts from a serial port with pyserial, packed as 32-bit little-endian numbers or one a line,
low-passes them with scipy (Butterworth, order 4, 200 Hz) and finds runs with numpy: tension over a
threshold begins one, tension under half of its greatest ends it. Peak and held tension are kept for each.
It stores nothing, checks nothing and knows nothing of blows.

Usage: reader.py PORT packed|lines SAMPLES RATE_HZ COUNTS_PER_KN
"""

import sys
import time

import numpy
import scipy.signal
import serial

BLOCK = 65536  # samples filtered at a time
THRESHOLD_KN = 0.4
HELD_S = 0.5


class Finder:
    def __init__(self, rate_hz, counts_per_kn):
        self.rate_hz = rate_hz
        self.scale = 1.0 / counts_per_kn
        self.sos = scipy.signal.butter(4, 200.0, fs=rate_hz, output="sos")
        self.state = None
        self.zero = None
        self.parts = None  # blocks of the run that is open
        self.peak = 0.0
        self.releasing = False
        self.runs = []

    def push(self, counts):
        raw = counts * self.scale
        if self.state is None:
            self.state = scipy.signal.sosfilt_zi(self.sos) * raw[0]
        tension, self.state = scipy.signal.sosfilt(self.sos, raw, zi=self.state)
        if self.zero is None:
            self.zero = numpy.median(tension[: int(0.5 * self.rate_hz)])
        tension -= self.zero
        while len(tension):
            tension = self.idle(tension) if self.parts is None else self.run(tension)

    def idle(self, tension):
        if self.releasing:  # the rest of a release is no new run
            below = tension < THRESHOLD_KN
            clear = int(below.argmax())
            if not below[clear]:
                return tension[:0]
            self.releasing = False
            tension = tension[clear:]
        above = tension > THRESHOLD_KN
        first = int(above.argmax())
        if not above[first]:
            return tension[:0]
        self.parts, self.peak = [], 0.0
        return tension[first:]

    def run(self, tension):
        highest = numpy.maximum.accumulate(numpy.maximum(tension, self.peak))
        low = (tension < 0.5 * highest) & (highest > 5.0)
        end = int(low.argmax())
        if not low[end]:
            self.parts.append(tension)
            self.peak = float(highest[-1])
            return tension[:0]
        self.parts.append(tension[:end])
        if end:
            self.peak = float(highest[end - 1])
        whole = numpy.concatenate(self.parts)
        held = whole[-int((HELD_S + 0.2) * self.rate_hz) : -int(0.2 * self.rate_hz)]
        self.runs.append((self.peak, float(numpy.median(held))))
        self.parts, self.releasing = None, True
        return tension[end:]


def packed(port, samples):
    left = 4 * samples
    waiting = bytearray()
    while left:
        got = port.read(min(left, 4 * BLOCK))
        left -= len(got)
        waiting += got
        whole = len(waiting) // 4 * 4
        if len(waiting) >= 4 * BLOCK or not left:
            yield numpy.frombuffer(bytes(waiting[:whole]), dtype="<i4").astype(numpy.float64)
            del waiting[:whole]


def lines(port, samples):
    block = []
    for n in range(samples):
        block.append(int(port.readline()))
        if len(block) == BLOCK or n + 1 == samples:
            yield numpy.array(block, dtype=numpy.float64)
            block = []


def main():
    path, mode, samples, rate_hz, counts_per_kn = sys.argv[1:]
    finder = Finder(float(rate_hz), float(counts_per_kn))
    port = serial.Serial(path)
    print("ready", flush=True)
    for counts in {"packed": packed, "lines": lines}[mode](port, int(samples)):
        finder.push(counts)
    print(f"runs {len(finder.runs)}", flush=True)
    # Whoever started this looks at its processor time, then ends it.
    time.sleep(600)


main()
