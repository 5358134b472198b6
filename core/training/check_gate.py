"""How many right and how many wrong transcripts pass the gate of align.py.

    python check_gate.py --data DATA [--count 80]

Aligns training utterances with their own text and with another's of about the same length.
"""

import argparse
import json
import random
from pathlib import Path

import align


def main() -> None:
    args = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    args.add_argument("--data", required=True, type=Path)
    args.add_argument("--count", type=int, default=80)
    a = args.parse_args()
    align.start(str(a.data))
    everything = [json.loads(line) for line in (a.data / "utterances.jsonl").read_text().splitlines()]
    for source in ("speechocean762", "asterisk-en"):
        pool = [u for u in everything if u["source"] == source and u["split"] == "train" and u["text"].count(" ") >= 2]
        random.Random(5).shuffle(pool)
        right = [align.align(u) for u in pool[: a.count]]
        other = {}
        for u in pool:
            other.setdefault(len(align.words_of(u["text"])), []).append(u["text"])
        wrong = []
        for u in pool[: a.count]:
            texts = [t for t in other[len(align.words_of(u["text"]))] if t != u["text"]]
            if texts:
                wrong.append(align.align(u | {"text": random.Random(u["id"]).choice(texts)}))
        for name, entries in (("right", right), ("wrong", wrong)):
            print(source, name, f"{sum(map(align.passes_gate, entries))} of {len(entries)} pass")
            (a.data / f"gate-{source}-{name}.json").write_text(json.dumps(entries))


if __name__ == "__main__":
    main()
