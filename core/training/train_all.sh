#!/bin/sh
# Everything from public sources to trained weights: train_all.sh PACK WORK (see README.md beside this file).
# NEURAL=no leaves out the neural synthesiser's voices, which the shipped weights have heard (some two hours on two cores).
set -eu
[ $# -eq 2 ] || { echo "usage: train_all.sh PACK WORK" >&2; exit 2; }
pack=$1
work=$2
here=$(cd "$(dirname "$0")" && pwd)
samples=$here/../../sample-audio
mkdir -p "$work/data" "$work/train" "$work/first" "$work/out"

python3 "$here/gather.py" --pack "$pack" --data "$work/data"
python3 "$here/acted.py" --data "$work/data"
python3 "$here/align.py" --data "$work/data"
python3 "$here/synthesise.py" --data "$work/data" --minutes 30 --seed 1
if [ "${NEURAL:-yes}" = yes ]; then
    "$here/fetch_neural.sh" "$work/neural"
    python3 "$here/neural_text.py" --data "$work/data" --out "$work/neural/sentences.json"
    python3 "$here/neural.py" --model "$work/neural/kokoro.onnx" --voices "$work/neural/voices" \
        --sentences "$work/neural/sentences.json" --data "$work/data" --minutes 66
fi
python3 "$here/pack.py" --data "$work/data" --out "$work/train"
python3 "$here/golden_input.py" "$samples/welcome.wav" "$work/train/golden_input.npy"

# A first model times what is not timed well, a teacher learns from that and times it again, better.
python3 "$here/train.py" --train "$work/train" --out "$work/first" --seconds 240 --batch 96
export OMP_NUM_THREADS=1
python3 "$here/realign.py" --train "$work/train" --model "$work/first/acoustic.bin"
python3 "$here/train.py" --train "$work/train" --out "$work/out" --items realigned.json --teacher-seconds 340 --seconds 0
python3 "$here/realign.py" --train "$work/train" --teacher "$work/out/teacher.pt"
python3 "$here/train.py" --train "$work/train" --out "$work/out" --items realigned.json --seconds 553

python3 "$here/edges.py" --model "$work/out/acoustic.bin" --golden "$work/out/acoustic.golden" --speech "$work/data" \
    --out "$work/out/acoustic.bin" --seed 5
