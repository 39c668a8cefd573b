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

# Everything builds without OpenCV, on laptops of 32 bits too.
CGO_ENABLED=0 go vet ./... || failed=1
CGO_ENABLED=0 GOARCH=386 go vet ./internal/... || failed=1

own() { CGO_ENABLED=0 go list -deps "$1" | grep '^shadowread/'; }

# The program goes to other systems too.
for system in windows/amd64 darwin/arm64; do
	CGO_ENABLED=0 GOOS=${system%/*} GOARCH=${system#*/} go vet $(own ./cmd/shadowread) || failed=1
done

# What a page in a browser needs, without what is heavy. It is handed bytes.
page=$(own ./internal/onpage)
GOFLAGS=-tags=nozones,notzdata GOOS=js GOARCH=wasm CGO_ENABLED=0 go vet $page ./cmd/page || failed=1
outside=$(GOFLAGS=-tags=nozones,notzdata GOOS=js GOARCH=wasm CGO_ENABLED=0 \
	go list -f '{{$from := .ImportPath}}{{range .Imports}}{{$from}} {{.}}{{"\n"}}{{end}}' $page |
	grep -E ' (C|os|os/.*|net|net/.*|syscall|io/ioutil)$' || true)
if [[ -n $outside ]]; then
	echo "a page has neither cgo nor files nor network:" $outside >&2
	failed=1
fi

# Each heavy part can be left out.
CGO_ENABLED=0 GOFLAGS=-tags=nozones,notzdata,nodatabase,nofonts go build -o /dev/null ./cmd/shadowread || failed=1
go vet -tags nodynamic,noopencv ./internal/pixels ./internal/vision || failed=1
go test -tags nodynamic,nofonts ./internal/typeface >/dev/null || failed=1

# What drives a browser is for tests and measures.
if own ./cmd/shadowread | grep -q '/internal/browser$'; then
	echo "the program must not carry what drives a browser" >&2
	failed=1
fi

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

# One word for one thing.
bash scripts/words.sh || failed=1

# Each package knows those below it, by a list.
arrows=$(go list -f '{{$from := .ImportPath}}{{range .Imports}}{{$from}} {{.}}{{"\n"}}{{end}}' ./... | grep ' shadowread/' || true)
awk -f scripts/imports.awk scripts/imports.txt - <<<"$arrows" >&2 || failed=1

exit "$failed"
