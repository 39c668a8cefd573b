#!/usr/bin/env bash
# Format, vet, static analysis, and which package may know what.
set -euo pipefail
staticcheck=honnef.co/go/tools/cmd/staticcheck@v0.7.0
failed=0

unformatted=$(gofmt -l cmd internal)
if [[ -n $unformatted ]]; then
	echo "not formatted by gofmt:" $unformatted >&2
	failed=1
fi

go vet ./... || failed=1

if go run "$staticcheck" -version >/dev/null 2>&1; then
	go run "$staticcheck" ./... || failed=1
else
	echo "lint: staticcheck cannot be had here; skipped" >&2
fi

# Everything but pixels serves programs that have no OpenCV.
pure=(align angle bearing boundedtoml calib camera chart compass daycard export fault geo geomag instrument journey logbook logimport
	openfile paper photo photo/exifwrite render report sheet sheetprint table userdir wholefile wording workup)
CGO_ENABLED=0 go build "${pure[@]/#/./internal/}" || failed=1
# Some laptops are of 32 bits.
CGO_ENABLED=0 GOARCH=386 go vet "${pure[@]/#/./internal/}" || failed=1

# One package knows OpenCV, so that it can be replaced.
strangers=$(go list -f '{{range .Imports}}{{if eq . "gocv.io/x/gocv"}}{{$.ImportPath}}{{end}}{{end}}' ./... | grep -v '^shadowread/internal/pixels$' || true)
if [[ -n $strangers ]]; then
	echo "only internal/pixels may import OpenCV, not:" $strangers >&2
	failed=1
fi

# Only a command knows a slip in the command line.
slips=$(grep -rl --include='*.go' --exclude='*_test.go' 'fault\.Usage(' internal || true)
if [[ -n $slips ]]; then
	echo "only commands may call fault.Usage, not:" $slips >&2
	failed=1
fi

# Each package knows those below it, by a list.
arrows=$(go list -f '{{$from := .ImportPath}}{{range .Imports}}{{$from}} {{.}}{{"\n"}}{{end}}' ./... | grep ' shadowread/' || true)
awk -f scripts/imports.awk scripts/imports.txt - <<<"$arrows" >&2 || failed=1

exit "$failed"
