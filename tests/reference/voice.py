"""Pitch and formants against praat-parselmouth.

Pitch: P. Boersma's autocorrelation method (1993), floor 60 Hz, ceiling 500 Hz, default costs; formants: Burg,
five below 5500 Hz, 25 ms window. On synthetic vowels the truth is known, and both are held to it.
"""

import numpy as np
import parselmouth

import judge

case = judge.case()


def measure(samples):
    sound = parselmouth.Sound(np.array(samples), 16000)
    pitch = sound.to_pitch_ac(time_step=0.01, pitch_floor=60, pitch_ceiling=500)
    formants = sound.to_formant_burg(time_step=0.01, max_number_of_formants=5, maximum_formant=5500)
    frames = -(-len(samples) // 160)
    times = 0.005 + 0.01 * np.arange(frames)
    f0 = np.array([pitch.get_value_at_time(t) for t in times])
    f = np.array([[formants.get_value_at_time(k, t) for k in (1, 2, 3)] for t in times])
    return f0, f


both_voiced = same_pitch = 0
agree_voicing = frames_seen = 0
for speech in case["human"]:
    f0, _ = measure(speech["samples"])
    ours = np.array(speech["pitch_hz"])
    theirs = np.nan_to_num(f0)
    voiced = (ours > 0) & (theirs > 0)
    agree_voicing += np.sum((ours > 0) == (theirs > 0))
    frames_seen += len(ours)
    both_voiced += voiced.sum()
    same_pitch += np.sum(np.abs(ours - theirs)[voiced] < 0.03 * theirs[voiced])
# Both lay a path through the candidates of all frames; what is left is where windows and interpolation differ.
judge.check("human speech: frames whose voicing agrees", 100 * agree_voicing / frames_seen, 95, "%", at_least=True)
judge.check("human speech: voiced frames with the same pitch within 3 %", 100 * same_pitch / both_voiced, 97, "%", at_least=True)

# Formants only on speech that fills the band that both look at: the human prompts end at 4 kHz.
off = [[], []]
for speech in case["lines"]:
    f0, formants = measure(speech["samples"])
    own = np.array(speech["formants_hz"])
    voiced = (np.array(speech["pitch_hz"]) > 0) & (np.nan_to_num(f0) > 0)
    for k in range(2):
        found = voiced & (own[:, k] > 0) & np.isfinite(formants[:, k])
        off[k].append(np.abs(own[:, k] / formants[:, k] - 1)[found])
for k in range(2):
    judge.check(f"sample lines: F{k + 1}, median difference", 100 * np.median(np.concatenate(off[k])), 8, "%")

ours_off, theirs_off, ours_f0 = [], [], []
for vowel in case["vowels"]:
    f0, formants = measure(vowel["samples"])
    middle = slice(len(f0) // 3, 2 * len(f0) // 3)
    truth = np.array(vowel["truth_hz"])
    own = np.array(vowel["formants_hz"], dtype=float)[middle]
    own[own == 0] = np.nan
    ours_off.append(np.abs(np.nanmedian(own, axis=0)[:2] / truth[:2] - 1))
    theirs_off.append(np.abs(np.nanmedian(formants[middle], axis=0)[:2] / truth[:2] - 1))
    ours_f0.append(abs(np.median(np.array(vowel["pitch_hz"])[middle]) / vowel["f0_hz"] - 1))
ours_off, theirs_off = np.array(ours_off), np.array(theirs_off)
judge.check("synthetic vowels: pitch, largest error", 100 * max(ours_f0), 1, "%")
for k in range(2):
    print(f"synthetic vowels: F{k + 1}, mean error {100 * ours_off[:, k].mean():.2f} %, the judge's {100 * theirs_off[:, k].mean():.2f} %")
judge.check("synthetic vowels: mean error of F1 and F2 over the judge's", ours_off.mean() / theirs_off.mean(), 2)
judge.done()
