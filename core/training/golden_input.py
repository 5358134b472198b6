"""Log-mel of the start of a recording, for the Rust test: golden_input.py LINE.wav OUT.npy

101 frames, an odd number, from a stretch that ends 37 samples short of its last frame: both edges are tested.
"""

import sys
import wave

import numpy as np
from features import HOP, log_mel

with wave.open(sys.argv[1]) as w:
    samples = np.frombuffer(w.readframes(101 * HOP - 37), np.int16) / 32768.0
np.save(sys.argv[2], log_mel(samples).astype(np.float32))
