"""Is a segment said to be 90 % sure right 90 % of the time? Measured on the tuning speakers.

    python reliability.py --lipwright target/release/lipwright --data DATA

Prints, for each range of confidence, the mean confidence of its frames and the share with the right shape (reference:
gated forced alignment), without and with the script. Confidences are set with this; test speakers stay out of it.
"""

import argparse
import json
import subprocess
import tempfile
from pathlib import Path

import align
import numpy as np
from hearing_report import frames_of, shapes_of
from phones import SHAPES

EDGES = [0, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 1.001]


def main() -> None:
    args = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    args.add_argument("--lipwright", required=True, type=Path)
    args.add_argument("--data", required=True, type=Path)
    a = args.parse_args()
    known = {u["id"]: u for u in map(json.loads, (a.data / "utterances.jsonl").read_text().splitlines())}
    entries = [json.loads(line) for line in (a.data / "aligned.jsonl").read_text().splitlines()]
    entries = [e for e in entries if known[e["id"]]["split"] == "tune" and align.passes_gate(e)]
    for scripted in (False, True):
        sure, right = [], []
        for e in entries:
            u = known[e["id"]]
            command = [a.lipwright, "shapes", a.data / u["audio"], "--json"]
            with tempfile.NamedTemporaryFile("w", suffix=".txt") as f:
                f.write(u["text"])
                f.flush()
                command += ["--script", f.name] if scripted else []
                said = json.loads(subprocess.run(command, capture_output=True, check=True).stdout)["segments"]
            reference = shapes_of(e["phones"])
            count = round(reference[-1][1] * 100)
            truth = frames_of(reference, count)
            heard = frames_of([(s["start_s"], s["end_s"], {SHAPES.index(s["shape"])}) for s in said], count)
            mine = frames_of([(s["start_s"], s["end_s"], s["confidence"]) for s in said], count)
            for t, h, c in zip(truth, heard, mine, strict=True):
                if isinstance(c, float):
                    sure.append(c)
                    right.append(bool(t & h))
        sure, right = np.array(sure), np.array(right)
        print(f"{'with' if scripted else 'without'} script: {100 * right.mean():.1f} % of {len(right)} frames")
        for low, high in zip(EDGES, EDGES[1:], strict=False):
            here = (sure >= low) & (sure < high)
            if here.any():
                print(f"  {low:.2f}–{min(high, 1):.2f}: says {sure[here].mean():.3f}, is {right[here].mean():.3f}, {here.mean():.3f} of frames")


if __name__ == "__main__":
    main()
