"""Log-mel values against scipy's window and transform, with filters built another way.

Definition (core/src/features/mel.rs): periodic Hann of 400, 512-point transform, power; 40 triangles of height 1
whose edges lie equally spaced from 60 to 7600 Hz on 2595 log10(1 + f/700) (O'Shaughnessy 1987; HTK); natural log.
"""

import numpy as np
import scipy.fft
import scipy.signal

import judge

case = judge.case()
samples = np.array(case["samples"], dtype=np.float64)
ours = np.array(case["log_mel"], dtype=np.float64)

window = scipy.signal.get_window("hann", 400, fftbins=True)
frames = -(-len(samples) // 160)
padded = np.concatenate([np.zeros(200), samples, np.zeros(400)])
# Frame i is centred on sample 160 i + 80.
cut = np.stack([padded[160 * i + 80 : 160 * i + 480] for i in range(frames)])
power = np.abs(scipy.fft.rfft(cut * window, n=512, axis=1)) ** 2

mel = np.linspace(2595 * np.log10(1 + 60 / 700), 2595 * np.log10(1 + 7600 / 700), 42)
edges = 700 * (10 ** (mel / 2595) - 1)
bins = np.arange(257) * 16000 / 512
filters = np.stack([np.interp(bins, edges[m : m + 3], [0, 1, 0], left=0, right=0) for m in range(40)])
theirs = np.log(np.maximum(power @ filters.T, 1e-10))

judge.check("frames beside each other", abs(len(ours) - frames), 0)
# Below a millionth of the loudest, single precision rounds; there the absolute power is compared instead.
loud = theirs > theirs.max() + np.log(1e-6)
judge.check("log-mel, largest difference", np.abs(ours - theirs)[loud].max(), 1e-3)
quiet = np.abs(np.exp(ours) - np.exp(theirs))[~loud]
judge.check("below that, difference in power over the loudest", quiet.max(initial=0) / np.exp(theirs.max()), 1e-9)
judge.check("share of values compared as logarithms", loud.mean(), 0.5, at_least=True)
judge.done()
