#!/bin/sh
# Everything from public sources to trained weights: train_all.sh PACK WORK (see README.md beside this file).
# NEURAL=no leaves out the neural synthesiser's voices, which the shipped weights have heard (some two hours on two cores).
# TRIAL=yes does a little of everything, to see that the steps fit together; what it learns is worth nothing. The shipped weights
# then take the place of the first model's, by which nothing would be kept.
set -eu
[ $# -eq 2 ] || { echo "usage: train_all.sh PACK WORK" >&2; exit 2; }
pack=$1
work=$2
here=$(cd "$(dirname "$0")" && pwd)
samples=$here/../../sample-audio
model=$work/first/acoustic.bin
if [ "${TRIAL:-no}" = yes ]; then
    synthetic=1 acted=0.03 neural=0.5 more=0.5 each=0.1 held=1 steps=60
    first=30 teacher=30 network=40 first_batch=6 batch=6
    model=$here/../models/acoustic.bin
else
    synthetic=30 acted=3 neural=21 more=100 each=inf held=25 steps=4000
    first=240 teacher=200 network=2200 first_batch=96 batch=256
fi
mkdir -p "$work/data" "$work/train" "$work/first" "$work/out"

python3 "$here/gather.py" --pack "$pack" --data "$work/data"
python3 "$here/acted.py" --data "$work/data" --hours "$acted"
python3 "$here/align.py" --data "$work/data"
python3 "$here/synthesise.py" --data "$work/data" --minutes "$synthetic" --seed 1
if [ "${NEURAL:-yes}" = yes ]; then
    "$here/fetch_neural.sh" "$work/neural"
    python3 "$here/neural_text.py" --data "$work/data" --out "$work/neural/sentences.json"
    python3 "$here/neural.py" --model "$work/neural/kokoro.onnx" --voices "$work/neural/voices" \
        --sentences "$work/neural/sentences.json" --data "$work/data" --minutes "$neural"
fi
python3 "$here/pack.py" --data "$work/data" --out "$work/train"
python3 "$here/golden_input.py" "$samples/welcome.wav" "$work/train/golden_input.npy"

"$here/fetch_pretrained.sh" "$work/ear"

# A first model times what is not timed well. Teachers learn from that; the network learns from the labels and from the teachers'
# opinions, also of speech that no one labelled.
python3 "$here/train.py" --train "$work/train" --out "$work/first" --seconds "$first" --batch "$first_batch"
export OMP_NUM_THREADS=1
python3 "$here/realign.py" --train "$work/train" --model "$model"
python3 "$here/held.py" --train "$work/train" --items realigned.json --model "$model" --minutes "$held"
voices=
if [ "${NEURAL:-yes}" = yes ]; then
    mkdir -p "$work/more"
    python3 "$here/neural.py" --model "$work/neural/kokoro.onnx" --voices "$work/neural/voices" \
        --sentences "$work/neural/sentences.json" --data "$work/more" --minutes "$more" --seed 41
    voices="--neural $work/more"
fi
# shellcheck disable=SC2086
python3 "$here/unlabelled.py" --train "$work/train" --items realigned.json --out more.json $voices --minutes "$each"
python3 "$here/train.py" --train "$work/train" --out "$work/out" --items more.json --ear "$work/ear/pretrained.npz" \
    --teacher-seconds "$teacher" --seconds "$network" --batch "$batch"

python3 "$here/edges.py" --model "$work/out/acoustic.bin" --golden "$work/out/acoustic.golden" --speech "$work/data" \
    --out "$work/out/acoustic.bin" --seed 5 --steps "$steps"
