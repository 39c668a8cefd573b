#!/usr/bin/env bash
# The whole job on the demo photos: draw the sheet, read every photo, leave overlays
# to open. The photos are drawn, of an invented survey party on a salt pan; one of
# them is to be refused.
set -euo pipefail
out=${1:?give the folder to write to}
mkdir -p "$out"

bin/shadowread sheet --force -o "$out/sheet-a4.pdf"
# Laid out for people even where this runs in a pipe.
[[ -t 1 ]] || export NO_COLOR=1
status=0
SHADOWREAD_FORCE_TTY=1 bin/shadowread read --overlay "$out" fixtures/demo || status=$?
if ((status != 0 && status != 3)); then
	exit "$status"
fi
readable=$(grep -c '"readable": true' fixtures/demo/truth.json)
headings=$(bin/shadowread read --quiet --json fixtures/demo | grep -c '"status":"ok"' || true)
if ((readable != headings)); then
	echo "demo: $headings headings from $readable readable photos" >&2
	exit 1
fi
echo
echo "overlays and the sheet, to open:"
printf '  %s\n' "$out"/*.jpg "$out"/*.pdf
