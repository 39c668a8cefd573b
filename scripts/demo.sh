#!/usr/bin/env bash
# The whole job on the demo photos: draw the sheet, read every photo, leave overlays
# to open; then keep the log of a journey, with its chart and report. The photos are
# drawn, of an invented survey party on a salt pan; two of them are to be refused.
set -euo pipefail
out=${1:?give the folder to write to}
mkdir -p "$out"

# Laid out for people even where this runs in a pipe.
[[ -t 1 ]] || export NO_COLOR=1
shown() {
	printf '\n$ shadowread'
	local word
	for word; do
		[[ $word == *' '* ]] && word="\"$word\""
		printf ' %s' "$word"
	done
	echo
	SHADOWREAD_FORCE_TTY=1 bin/shadowread "$@"
}
# A photo that is refused ends with status 3.
refusing() {
	local status=0
	shown "$@" || status=$?
	if ((status != 3)); then
		echo "demo: a photo should have been refused" >&2
		exit 1
	fi
}

bin/shadowread sheet --force -o "$out/sheet-a4.pdf"
refusing read --overlay "$out" fixtures/demo
readable=$(grep -c '"readable": true' fixtures/demo/truth.json)
headings=$(bin/shadowread read --quiet --json fixtures/demo | grep -c '"status":"ok"' || true)
if ((readable != headings)); then
	echo "demo: $headings headings from $readable readable photos" >&2
	exit 1
fi

pan=fixtures/journey
rm -f "$out"/journey.db*
export SHADOWREAD_LOG=$out/journey.db
shown --quiet log begin --position -22.90000,22.30000 --error 15 --odometer 45210.0km --time 2026-08-29T08:05:00+02:00
shown --quiet log import "$pan/29-august" --odometers "$pan/29-august/odometer.csv"
shown --quiet log import --entries "$pan/29-august/fix.csv"
refusing --quiet log import "$pan/30-august" --odometers "$pan/30-august/odometer.csv"
shown --quiet log correct leg 12 --heading 263 --heading-sigma 3
shown --quiet log where --to -23.0830,22.3600
shown --quiet log import --entries "$pan/30-august/fix.csv"
shown --quiet log list
for file in journey.svg journey.png; do
	shown log chart --force -o "$out/$file" --title "Two trucks over a salt pan (invented)"
done
for file in journey.html journey.pdf; do
	shown log report --force -o "$out/$file" --utc-offset 2 --title "Two trucks over a salt pan (invented)"
done

echo
echo "to open: overlays, sheet, chart and report"
printf '  %s\n' "$out"/*.jpg "$out"/*.{pdf,svg,png,html}
