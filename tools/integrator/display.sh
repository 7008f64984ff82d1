#!/bin/bash
# Shows one value of a bay from its plain mirror: ./display.sh [TOPIC [BAY [PORT [HOST]]]]
# Needs mosquitto_sub alone. More of its options, such as -u, -P and --cafile, come in MOSQUITTO.
# One rule is enough here: a line that was not said again for three seconds is not known any more.
topic=${1:-axle/1/left/camber} bay=${2:-sim-replay} port=${3:-1883} host=${4:-127.0.0.1}

show() { # prints what is shown where it changes
    [ "$1" = "$shown" ] || printf '%s\n' "$1"
    shown=$1
}

show "- NO DATA, nothing yet"
# shellcheck disable=SC2086  # options, one by one
exec 3< <(exec mosquitto_sub -h "$host" -p "$port" $MOSQUITTO -k 5 -t "levelhead/v1/$bay/val/$topic")
trap 'kill $! 2>/dev/null' EXIT
while :; do
    if IFS=' ' read -r -t 3 -u 3 value u unit decision quality rest; then
        case $quality in
        good | uncertain) ;;
        *) show "- ${unit:+$unit }NO DATA, ${quality:-unreadable}" && continue ;;
        esac
        case $decision in
        inside | undecided | outside) word=${decision^^} ;;
        *) word="NOT JUDGED" ;;
        esac
        [ "$quality" = uncertain ] && word="$word, uncertain"
        show "$value +/- ${u/#-/?} $unit $word"
    elif [ $? -gt 128 ]; then
        show "- NO DATA, nothing new"
    else
        show "- NO DATA, no broker"
        exit 1
    fi
done
