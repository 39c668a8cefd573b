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

# Without what a page does not need: map of time zones and their rules, HEIC decoder.
GOFLAGS='' CGO_ENABLED=0 GOOS=js GOARCH=wasm go build -tags nozones,notzdata -trimpath -buildvcs=false \
	-ldflags "-s -w -X main.version=$version -X main.commit=$commit" -o "$temp/shadowread.wasm" ./cmd/page
gzip -9n "$temp/shadowread.wasm"
lay "$temp/shadowread.wasm.gz"
