#!/usr/bin/env bash
# Builds the program as a page has it, packed, where internal/page carries it from. The same
# sources give the same bytes: no path, no time. page.sh COMMIT
set -euo pipefail
cd "$(dirname "$0")/.."
commit=${1:-}
version=$(sed -n 's/^const version = "\(.*\)"$/\1/p' cmd/shadowread/cmd_version.go)
out=internal/page/built/shadowread.wasm.gz
temp=$(mktemp -d)
trap 'rm -rf "$temp"' EXIT

# What goes with the toolchain must be its own.
cmp -s "$(go env GOROOT)/lib/wasm/wasm_exec.js" internal/page/files/wasm_exec.js ||
	cp "$(go env GOROOT)/lib/wasm/wasm_exec.js" internal/page/files/wasm_exec.js

# Without what a page does not need: map of time zones and their rules, HEIC decoder.
GOFLAGS='' CGO_ENABLED=0 GOOS=js GOARCH=wasm go build -tags nozones,notzdata -trimpath -buildvcs=false \
	-ldflags "-s -w -X main.version=$version -X main.commit=$commit" -o "$temp/shadowread.wasm" ./cmd/page
gzip -9n "$temp/shadowread.wasm"
cmp -s "$temp/shadowread.wasm.gz" "$out" || cp "$temp/shadowread.wasm.gz" "$out"
