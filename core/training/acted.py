"""Adds acted dialogue with its texts to the training speech: some four hours by several native speakers.

    python acted.py --data DATA [--hours 3]

From Debian's package `flight-of-the-amazon-queen` (installed, or fetched with apt-get download and unpacked; then
--archive FILE): a collection of some 6700 short recordings, MP3 at 11 025 Hz, with the dialogue's text beside them. Its
licence lets anyone use and change it (debian/copyright); nothing of it is shipped but what the weights have learned.
Appends to DATA/utterances.jsonl. Needs ffmpeg.

The archive: `QTBL`, version (6 bytes), flags (2), compression (1), number of entries (u16), and of each entry its name
(12 bytes), bundle (1), offset and size (u32), all big-endian. A dialogue (.DOG) has 20 bytes of header, ten bytes of
counts, the key of its recordings, and two lists of numbered strings, the listener's and the speaker's. A string's parts
end with `*` and two characters of stage direction; part n of string i is recorded as `KKIIIIWn`, W = J or P for who speaks.
"""

import argparse
import json
import re
import struct
import subprocess
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from gather import splits

INSTALLED = Path("/usr/share/scummvm/flight-of-the-amazon-queen/queen.1c")
SOURCE = "acted-en"


def entries(archive: bytes) -> dict[str, bytes]:
    if archive[:4] != b"QTBL":
        raise SystemExit("acted.py: the archive does not begin with QTBL")
    (count,) = struct.unpack_from(">H", archive, 13)
    found = {}
    for i in range(count):
        name, _, offset, size = struct.unpack_from(">12sBII", archive, 15 + 21 * i)
        found[name.rstrip(b"\0").decode("latin-1")] = archive[offset : offset + size]
    return found


def strings(data: bytes, at: int, count: int):
    """(number, text) of a list of strings, each behind a gap and its number, padded to four bytes."""
    for _ in range(count):
        if at + 5 > len(data):
            return
        (number,) = struct.unpack_from(">h", data, at + 2)
        length = data[at + 4]
        yield number, data[at + 5 : at + 5 + length].decode("latin-1")
        at = (at + 5 + length + 3) & ~3 if length else at + 5


def dialogue(data: bytes):
    """(stem of the recording, who, text) of every part that a dialogue says."""
    data = data[20:]
    levels, _, key, listener_count, speaker_count = struct.unpack_from(">5h", data)
    (speaker_at,) = struct.unpack_from(">H", data, 22)
    for who, at, count in (("J", 32 + abs(levels) * 96, listener_count), ("P", speaker_at, speaker_count)):
        for number, text in strings(data, at, count):
            for n, part in enumerate(re.split(r"\*..", text)):
                stem = f"{key:2d}{number & 0xFFFF:4x}{who}{n + 1:x}".replace(" ", "0").upper()
                yield stem, who if who == "J" else f"{key}", part.strip()


def main() -> None:
    args = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    args.add_argument("--data", required=True, type=Path)
    args.add_argument("--archive", type=Path, default=INSTALLED)
    args.add_argument("--hours", type=float, default=3.0)
    a = args.parse_args()
    split_of = splits()
    found = entries(a.archive.read_bytes())
    folder = a.data / "wav" / SOURCE
    folder.mkdir(parents=True, exist_ok=True)
    wanted = {}
    for name, data in found.items():
        if name.endswith(".DOG"):
            for stem, who, text in dialogue(data):
                if f"{stem}.SB" in found and re.search("[A-Za-z]{2}", text):
                    wanted.setdefault(stem, (who, text))

    def decode(stem: str) -> float:
        target = folder / f"{stem}.wav"
        subprocess.run(
            ["ffmpeg", "-y", "-v", "error", "-f", "mp3", "-i", "-", "-ar", "16000", "-ac", "1", "-bitexact", target],
            input=found[f"{stem}.SB"], check=True,
        )  # fmt: skip
        return (target.stat().st_size - 44) / 32000

    # Evenly over all dialogues: the principal character would take two thirds otherwise.
    stems = sorted(wanted, key=lambda s: (s[2:6], s))
    with ThreadPoolExecutor(2) as pool:
        seconds = dict(zip(stems, pool.map(decode, stems), strict=True))
    lines, total = [], 0.0
    for stem in stems:
        who, text = wanted[stem]
        if seconds[stem] < 0.8 or total > a.hours * 3600:
            continue
        total += seconds[stem]
        lines.append(dict(
            id=f"{SOURCE}/{stem}", audio=f"wav/{SOURCE}/{stem}.wav", kind="human", source=SOURCE, speaker=f"acted-{who}",
            split=split_of[f"acted-{who}"], text=text, note="",
        ))  # fmt: skip
    kept = [u for u in map(json.loads, (a.data / "utterances.jsonl").read_text().splitlines()) if u["source"] != SOURCE]
    (a.data / "utterances.jsonl").write_text("".join(json.dumps(u) + "\n" for u in [*kept, *lines]))
    print(f"{len(lines)} recordings, {total / 3600:.2f} h, {len({u['speaker'] for u in lines})} characters")


if __name__ == "__main__":
    main()
