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
        --sentences "$work/neural/sentences.json" --data "$work/data" --minutes 21
fi
python3 "$here/pack.py" --data "$work/data" --out "$work/train"
python3 "$here/golden_input.py" "$samples/welcome.wav" "$work/train/golden_input.npy"

"$here/fetch_pretrained.sh" "$work/ear"

# A first model times what is not timed well. Teachers learn from that; the network learns from the labels and from the teachers'
# opinions, also of speech that no one labelled.
python3 "$here/train.py" --train "$work/train" --out "$work/first" --seconds 240 --batch 96
export OMP_NUM_THREADS=1
python3 "$here/realign.py" --train "$work/train" --model "$work/first/acoustic.bin"
python3 "$here/held.py" --train "$work/train" --items realigned.json --model "$work/first/acoustic.bin"
more=
if [ "${NEURAL:-yes}" = yes ]; then
    mkdir -p "$work/more"
    python3 "$here/neural.py" --model "$work/neural/kokoro.onnx" --voices "$work/neural/voices" \
        --sentences "$work/neural/sentences.json" --data "$work/more" --minutes 100 --seed 41
    more="--neural $work/more"
fi
# shellcheck disable=SC2086
python3 "$here/unlabelled.py" --train "$work/train" --items realigned.json --out more.json $more
python3 "$here/train.py" --train "$work/train" --out "$work/out" --items more.json --ear "$work/ear/pretrained.npz" \
    --teacher-seconds 200 --seconds 2200

python3 "$here/edges.py" --model "$work/out/acoustic.bin" --golden "$work/out/acoustic.golden" --speech "$work/data" \
    --out "$work/out/acoustic.bin" --seed 5
