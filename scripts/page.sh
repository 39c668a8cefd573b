#!/usr/bin/env bash
# Builds the program as a page has it, packed, and lays it where internal/page carries it from,
# beside the toolchain's own file that loads it. The same sources give the same bytes: no path,
# no time. page.sh COMMIT
set -euo pipefail
cd "$(dirname "$0")/.."
commit=${1:-}
version=$(sed -n 's/^const version = "\(.*\)"$/\1/p' cmd/shadowread/cmd_version.go)
built=internal/page/built
temp=$(mktemp -d)
trap 'rm -rf "$temp"' EXIT

# What is the same is left alone, so that nothing is built anew for it.
lay() { cmp -s "$1" "$built/${1##*/}" || cp "$1" "$built/"; }

lay "$(go env GOROOT)/lib/wasm/wasm_exec.js"

# Without what a page does not need: map of time zones and their rules, HEIC decoder. What handles
# text is not written out at each place that calls it: 60 kB less to send, and no reading waits for it.
small=()
for of in encoding/json encoding/csv encoding/xml fmt reflect regexp/... time github.com/BurntSushi/... github.com/rwcarlsen/...; do
	small+=(-gcflags="$of=-l")
done
GOFLAGS='' CGO_ENABLED=0 GOOS=js GOARCH=wasm go build -tags nozones,notzdata -trimpath -buildvcs=false "${small[@]}" \
	-ldflags "-s -w -X main.version=$version -X main.commit=$commit" -o "$temp/shadowread.wasm" ./cmd/page
gzip -9n "$temp/shadowread.wasm"
lay "$temp/shadowread.wasm.gz"
