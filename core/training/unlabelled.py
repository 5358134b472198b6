"""Adds speech without labels to the training speech: what the teachers say of it is learned, and nothing else.

    python unlabelled.py --train TRAIN --items realigned.json --out more.json [--neural DATA]

From Debian packages, installed (README.md lists them with their licences): acted dialogue in English, Czech and Dutch, prompts
in Spanish, French, Italian and Russian, and many voices that read words in some twenty languages. The mouth's sounds of
other languages are told apart as well as an ear for English can, as the tool is asked to. Nothing of the recordings is
shipped but what the weights have learned. With --neural the sentences of training voices in DATA/neural.jsonl (neural.py) are taken,
too. Reads TRAIN/ITEMS, writes the recordings to TRAIN/audio and the longer list to TRAIN/OUT. Needs ffmpeg and opusenc.

Short recordings of one speaker are put end to end, at least 18 s long, without the silence at their ends.

sky.dnr, the index of one package, is u32 the number of entries, then of each u16 number, u24 offset (with its top bit set,
in units of 16 bytes) and u24 size (22 bits, and two flags that spoken lines lack), little-endian. Spoken lines are numbered
50000 to 59672. Each has 22 bytes of header, eleven u16 (the first one's low byte is 0x81; its high byte and the seventh are the
unpacked size with the header), then a packed stream (rnc.py) of unsigned 8-bit samples at 11 025 Hz; the first two and the
last are not always sound. The *.ALS of another are such samples and nothing else.
"""

import argparse
import json
import re
import struct
import subprocess
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import soundfile
from decode import encode, to_int16
from features import RATE, at_16_khz
from rnc import Rnc1

SHARE = Path("/usr/share")
ADVENTURE = SHARE / "scummvm/beneath-a-steel-sky"
NOISES = range(59494, 59500)  # of the introduction: fire, a helicopter
HEADER = 22
LEAST, TOGETHER, MOST = 0.2, 18, 60  # seconds
QUIETEST = 300  # of 32768
IGNORE = 255
# Voices that are no speech: one sings, one is changed beyond a mouth.
NO_SPEECH = ("Singer", "Robot")
ENGLISH = ("British", "Classic", "Default", "HillBilly", "Mobster", "Pirate", "Russian", "Surfer")


def spoken_lines(folder: Path):
    """Unsigned 8-bit samples at 11 025 Hz of each line."""
    index, disk = (folder / "sky.dnr").read_bytes(), (folder / "sky.dsk").read_bytes()
    (count,) = struct.unpack_from("<I", index)
    entries = []
    for at in range(4, 4 + 8 * count, 8):
        number, offset, size = (int.from_bytes(index[a:b], "little") for a, b in ((at, at + 2), (at + 2, at + 5), (at + 5, at + 8)))
        if 50000 <= number < 60000 and not size >> 22 and number not in NOISES:
            entries.append((number, (offset & 0x7FFFFF) << 4 if offset >> 23 else offset, size))
    for number, offset, size in sorted(entries):
        packed = disk[offset : offset + size]
        head = struct.unpack("<11H", packed[:HEADER])
        if head[0] & 0xFF == 0x81:
            pcm = Rnc1(packed[HEADER:]).unpack()
            if len(pcm) + HEADER != (head[0] >> 8 << 16) + head[6]:
                raise SystemExit(f"unlabelled.py: line {number} is not as long as its header says")
            yield pcm[2:-1]


def unsigned(pcm: bytes) -> np.ndarray:
    """8-bit samples at 11 025 Hz."""
    x = np.frombuffer(pcm, np.uint8) / 128.0 - 1.0
    return at_16_khz(x - x.mean(), 11025)


def read(path: Path) -> np.ndarray:
    """Samples at 16 kHz; nothing where there is no sound."""
    if path.suffix == ".ALS":
        return unsigned(path.read_bytes())
    if path.suffix in (".g722", ".gsm", ".opus"):
        form = [] if path.suffix == ".opus" else ["-f", path.suffix[1:]]
        command = ["ffmpeg", "-v", "error", *form, "-i", path, "-ar", str(RATE), "-ac", "1", "-f", "s16le", "-"]
        return np.frombuffer(subprocess.run(command, check=True, capture_output=True).stdout, "<i2") / 32768.0
    try:
        x, rate = soundfile.read(path, always_2d=True)
    except soundfile.LibsndfileError:
        return np.zeros(0)
    return at_16_khz(x.mean(1), rate) if len(x) and rate != RATE else x.mean(1)


def without_ends(x: np.ndarray) -> np.ndarray:
    """Without the silence before and after, but for a fifth of a second."""
    frames = np.abs(x[: len(x) // 160 * 160].reshape(-1, 160)).max(1)
    loud = np.flatnonzero(frames > 0.02 * frames.max())
    return x[max(0, loud[0] - 20) * 160 : (loud[-1] + 20) * 160]


def speakers() -> dict:
    """(source, speaker) → recordings, or paths of recordings."""
    out = {("adventure", "adventure"): (unsigned(pcm) for pcm in spoken_lines(ADVENTURE))}

    def add(source: str, speaker: str, paths) -> None:
        out.setdefault((source, speaker), []).extend(sorted(paths))

    add("adventure", "drascula", (SHARE / "scummvm/drascula").rglob("*.ALS"))
    for language in ("cs", "nl"):
        add("acted-other", f"fillets-{language}", (SHARE / "games/fillets-ng/sound").rglob(f"{language}/*.ogg"))
    for path in sorted((SHARE / "asterisk/sounds").rglob("*")):
        language = [part for part in path.parts if re.fullmatch(r"(es|fr|it|ru)(_\w+)?", part)]
        if language and path.suffix in (".g722", ".gsm", ".wav"):
            add("prompts-other", f"asterisk-{language[0]}", [path])
    add("prompts-other", "festvox-ru", (SHARE / "festival/voices/russian").rglob("*.wav"))
    for place in sorted((SHARE / "games/hedgewars/Data/Sounds/voices").iterdir()):
        if place.is_dir() and place.name not in NO_SPEECH:
            add("adventure" if place.name in ENGLISH else "words-other", f"hedgewars-{place.name}", place.glob("*.ogg"))
    for place in sorted((SHARE / "ktuberling/sounds").iterdir()):
        if place.is_dir():
            add("words-other", f"ktuberling-{place.name}", [p for p in place.rglob("*") if p.suffix in (".ogg", ".opus", ".wav")])
    for path in sorted((SHARE / "tuxpaint/stamps").rglob("*_desc*.ogg")):
        language = re.search(r"_desc_?(\w*)\.ogg$", path.name)
        if language:
            add("words-other", f"tuxpaint-{language[1] or 'en'}", [path])
    return out


def main() -> None:
    args = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    args.add_argument("--train", required=True, type=Path)
    args.add_argument("--items", default="realigned.json")
    args.add_argument("--out", default="more.json")
    args.add_argument("--neural", type=Path, help="what neural.py wrote its sentences to")
    args.add_argument("--minutes", type=float, default=np.inf, help="of one speaker, at most")
    a = args.parse_args()
    audio, items = a.train / "audio", []
    everyone = speakers()
    if a.neural:
        for line in (a.neural / "neural.jsonl").read_text().splitlines():
            said = json.loads(line)
            if said["split"] == "train":
                everyone.setdefault(("kokoro-more", said["speaker"]), []).append(a.neural / said["audio"])

    def gather(entry) -> None:
        (source, speaker), recordings = entry
        waiting, count, total = [], 0, 0

        def put() -> None:
            nonlocal waiting, count
            pcm = np.concatenate([np.zeros(0), *waiting])
            if len(pcm) >= RATE:
                name = f"unlabelled-{re.sub('[^A-Za-z0-9]', '-', speaker)}-{count:04}"
                # Packed, like all that travels to where the training runs.
                encode(to_int16(pcm), audio / f"{name}.opus", 13)
                items.append(
                    dict(file=f"{name}.opus", speaker=speaker, source=source, split="train", samples=len(pcm),
                         phones=[[len(pcm), IGNORE]], gate=False, guess="none")
                )  # fmt: skip
            waiting, count = [], count + 1

        for recording in recordings:
            x = read(recording) if isinstance(recording, Path) else recording
            if LEAST * RATE <= len(x) <= MOST * RATE and np.abs(x).max() * 32768 >= QUIETEST:
                waiting.append(without_ends(x))
                total += len(waiting[-1])
                if sum(map(len, waiting)) >= TOGETHER * RATE:
                    put()
            if total >= a.minutes * 60 * RATE:
                break
        put()

    with ThreadPoolExecutor(2) as pool:
        list(pool.map(gather, everyone.items()))
    meta = json.loads((a.train / a.items).read_text())
    meta["items"] += sorted(items, key=lambda i: i["file"])
    (a.train / a.out).write_text(json.dumps(meta))
    for source in sorted({i["source"] for i in items}):
        mine = [i["samples"] for i in items if i["source"] == source]
        print(f"{source}: {len(mine)} recordings, {sum(mine) / RATE / 3600:.2f} h")


if __name__ == "__main__":
    main()
