"""Brings the human training, tuning and test speech to one form.

    python gather.py --pack PACK --data DATA

PACK is the folder with the speech pack (manifest.tsv and one tar a source: speechocean762, gcompris-en-words,
ljspeech, picovoice-s2i); README.md says where each comes from. The Asterisk prompts are taken from Debian's
`asterisk-core-sounds-en-g722` (installed, or fetched with apt-get download), their texts from PACK/asterisk-en.tsv.
Writes DATA/wav/** (16 kHz mono), DATA/utterances.jsonl and DATA/lexicon.txt. Needs opus-tools and sox.
"""

import argparse
import csv
import json
import re
import subprocess
import sys
import tarfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

ASTERISK = Path("/usr/share/asterisk/sounds/en_US_f_Allison")
HERE = Path(__file__).parent


def splits() -> dict[str, str]:
    """Speaker -> train, tune or test, as written down once in splits.tsv."""
    with (HERE / "splits.tsv").open() as f:
        return {row["speaker"]: row["split"] for row in csv.DictReader(f, delimiter="\t")}


def opus_to_wav(source: Path, target: Path) -> None:
    if not target.exists():
        target.parent.mkdir(parents=True, exist_ok=True)
        subprocess.run(
            ["opusdec", "--quiet", "--rate", "16000", "--force-wav", source, target], check=True, capture_output=True
        )


def g722_to_wav(source: Path, target: Path) -> None:
    if not target.exists():
        target.parent.mkdir(parents=True, exist_ok=True)
        subprocess.run(
            ["ffmpeg", "-v", "error", "-f", "g722", "-i", source, "-ar", "16000", "-ac", "1", "-bitexact", target], check=True
        )


def slots_text(text: str) -> str | None:
    """What the intent corpus gives instead of a transcript is no transcript: none is returned."""
    return None if text.startswith("{") else text


def plain(text: str) -> str:
    """Prompt text without stage directions: [tone], (silence), <beep>."""
    return re.sub(r"[\[(<][^\])>]*[\])>]", " ", text).strip()


def main() -> None:
    args = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    args.add_argument("--pack", required=True, type=Path)
    args.add_argument("--data", required=True, type=Path)
    a = args.parse_args()
    split_of = splits()
    raw = a.data / "raw"
    raw.mkdir(parents=True, exist_ok=True)
    for tar in sorted(a.pack.glob("*.tar")):
        if not (raw / tar.stem).exists():
            with tarfile.open(tar) as t:
                t.extractall(raw, filter="data")
    utterances, jobs = [], []
    with (a.pack / "manifest.tsv").open() as f:
        for row in csv.DictReader(f, delimiter="\t", quoting=csv.QUOTE_NONE):
            wav = f"wav/{row['file'].removesuffix('.opus')}.wav"
            jobs.append((opus_to_wav, raw / row["file"], a.data / wav))
            utterances.append(
                dict(
                    id=row["file"].removesuffix(".opus"), audio=wav, kind="human", source=row["source"],
                    speaker=row["speaker"], split=split_of[row["speaker"]], text=slots_text(row["text"]) or "",
                    note=row["text"] if row["text"].startswith("{") else "",
                )
            )  # fmt: skip
    if not ASTERISK.exists():
        sys.exit("gather.py: install the Debian package asterisk-core-sounds-en-g722 first")
    with (a.pack / "asterisk-en.tsv").open() as f:
        for row in csv.DictReader(f, delimiter="\t", quoting=csv.QUOTE_NONE):
            source = ASTERISK / f"{row['prompt']}.g722"
            if not source.exists():
                continue
            name = f"asterisk-en/{row['prompt'].replace('/', '-')}"
            jobs.append((g722_to_wav, source, a.data / f"wav/{name}.wav"))
            utterances.append(
                dict(id=name, audio=f"wav/{name}.wav", kind="human", source="asterisk-en", speaker="asterisk-en",
                     split=split_of["asterisk-en"], text=plain(row["text"]), note="")
            )  # fmt: skip
    with ThreadPoolExecutor(2) as pool:
        list(pool.map(lambda job: job[0](*job[1:]), jobs))
    (a.data / "utterances.jsonl").write_text("".join(json.dumps(u) + "\n" for u in utterances))
    (a.data / "lexicon.txt").write_text((a.pack / "speechocean762-lexicon.txt").read_text())
    print(f"{len(utterances)} utterances")


if __name__ == "__main__":
    main()
