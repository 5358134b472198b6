#!/bin/sh
# Makes the sample lines again from their scripts: NAME.txt -> NAME.wav, NAME.phones.json, lines.json.
# Needs Debian's flite (2.2 was used) and sox's soxi. Run it anywhere; it works in its own folder.
set -eu
cd "$(dirname "$0")"
for tool in flite soxi awk; do
    command -v "$tool" >/dev/null || { echo "make.sh: '$tool' is missing; install the Debian packages flite and sox" >&2; exit 1; }
done

VOICE=rms
LINES="welcome storm-bell mind-the-mud toy-boat"

manifest=""
for name in $LINES; do
    # -psdur prints every phone with its end time as the synthesiser placed it; that is exact by
    # construction, which no aligner's labels are.
    times=$(flite -voice "$VOICE" -t "$(cat "$name.txt")" -psdur -o "$name.wav")
    duration=$(soxi -D "$name.wav")
    printf '%s\n' "$times" | awk -v duration="$duration" -v voice="$VOICE" '
        BEGIN {
            # flite writes reduced vowels apart; the dictionary marks them by stress 0.
            map["ax"] = "AH0"; map["axr"] = "ER0"; map["ah"] = "AH1"; map["pau"] = "SIL"
            printf "{\n  \"duration_s\": %s,\n", duration + 0
            printf "  \"source\": \"flite voice %s, phone times as synthesised\",\n  \"phones\": [", voice
        }
        {
            for (i = 1; i <= NF; i++) {
                split($i, part, ":")
                end = part[2] + 0
                # The last pause may be printed a few samples past the file; hold it to the file.
                if (i == NF || end > duration + 0) end = duration + 0
                phone = (part[1] in map) ? map[part[1]] : toupper(part[1])
                printf "%s\n    {\"start_s\": %.3f, \"end_s\": %.3f, \"phone\": \"%s\"}", (n++ ? "," : ""), start, end, phone
                start = end
            }
        }
        END { printf "\n  ]\n}\n" }
    ' >"$name.phones.json"
    manifest="$manifest${manifest:+,}
    {\"name\": \"$name\", \"audio\": \"$name.wav\", \"script\": \"$name.txt\", \"phones\": \"$name.phones.json\"}"
done
printf '{\n  "lines": [%s\n  ]\n}\n' "$manifest" >lines.json
