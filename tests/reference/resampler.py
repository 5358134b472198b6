"""Sampling-rate conversion to 16 kHz against scipy.signal.resample, and its bands by themselves.

scipy.signal.resample works through the Fourier transform of the whole recording: ideally band-limited, but for the
ends, which are left out. (resample_poly's default filters are softer than what they would judge here.)
"""

import numpy as np
import scipy.signal

import judge

case = judge.case()
for entry in case["conversions"]:
    rate = entry["rate"]
    source = np.array(entry["noise"])
    ours = np.array(entry["noise_16k"])
    theirs = scipy.signal.resample(source, -(-len(source) * 16000 // rate))
    judge.check(f"{rate} Hz, difference in length", abs(len(ours) - len(theirs)), 1, "samples")
    # Both cut near the lower Nyquist frequency, each with its own slope; compare what lies well below it.
    edge = 0.8 * min(16000, rate) / 2
    low = scipy.signal.firwin(255, edge, fs=16000)
    n = min(len(ours), len(theirs))
    a, b = (scipy.signal.fftconvolve(x[:n], low, mode="valid") for x in (ours, theirs))
    keep = slice(400, -400)
    error = 20 * np.log10(np.linalg.norm((a - b)[keep]) / np.linalg.norm(b[keep]))
    judge.check(f"{rate} Hz, difference from the judge below {edge:.0f} Hz", error, -60, "dB")
    for tone in entry["tones"]:
        level = np.array(tone["samples_16k"])[800:-800]
        gain = 20 * np.log10(np.sqrt(2 * np.mean(level**2)) / tone["amplitude"] + 1e-12)
        if tone["hz"] <= 7000:
            judge.check(f"{rate} Hz, gain of {tone['hz']} Hz", abs(gain), 0.1, "dB off")
        else:
            judge.check(f"{rate} Hz, what is left of {tone['hz']} Hz", gain, -60, "dB")
judge.done()
