#!/usr/bin/env bash
# Builds the program as one static file for each system, without OpenCV, with checksums and
# the licences of all that is inside: release.sh FOLDER [TARGET...]. The same commit gives the
# same bytes wherever it is built with the same Go.
set -euo pipefail
out=${1:?give the folder to write to}
shift
targets=("$@")
((${#targets[@]})) || targets=(linux/amd64 linux/arm64 windows/amd64 darwin/amd64 darwin/arm64)

version=$(sed -n 's/^const version = "\(.*\)"$/\1/p' cmd/shadowread/cmd_version.go)
commit=${COMMIT:-$(git describe --always --dirty --abbrev=12)}
export CGO_ENABLED=0 GOAMD64=v1 GOARM64=v8.0 GOFLAGS=-tags=nodynamic

rm -rf "$out"
mkdir -p "$out"
bash scripts/page.sh "$commit" # which all of them carry
modules=$(mktemp)
trap 'rm -f "$modules"' EXIT
for target in "${targets[@]}"; do
	export GOOS=${target%/*} GOARCH=${target#*/}
	name=shadowread-$version-$GOOS-$GOARCH
	[[ $GOOS == windows ]] && name+=.exe
	echo "release: $name" >&2
	# No paths, no build id, and the commit by name: what git adds by itself differs with the tree.
	go build -trimpath -buildvcs=false -ldflags "-s -w -buildid= -X main.commit=$commit" -o "$out/$name" ./cmd/shadowread
	go list -deps -f '{{with .Module}}{{if not .Main}}{{.Path}} {{.Version}} {{.Dir}}{{end}}{{end}}' ./cmd/shadowread >>"$modules"
done
unset GOOS GOARCH
GOOS=js GOARCH=wasm go list -deps -f '{{with .Module}}{{if not .Main}}{{.Path}} {{.Version}} {{.Dir}}{{end}}{{end}}' ./cmd/page >>"$modules"

{
	echo "What is inside shadowread $version (commit $commit), and its licences."
	# Inside modules whose own licence is another.
	echo "The HEIC decoder holds libheif and libde265 (LGPL 3); the map of time zones is made of"
	echo "OpenStreetMap's data (ODbL 1.0)."
	printf '\n==== The Go library, %s ====\n\n' "$(go env GOVERSION)"
	cat "$(go env GOROOT)/LICENSE"
	sort -u "$modules" | while read -r path module folder; do
		printf '\n==== %s %s ====\n' "$path" "$module"
		texts=$(find "$folder" -maxdepth 1 -type f \( -iname 'licen[cs]e*' -o -iname 'copying*' -o -iname 'notice*' -o -iname 'third*party*' \) | LC_ALL=C sort)
		if [[ -z $texts ]]; then
			echo "release: $path has no licence" >&2
			exit 1
		fi
		while read -r text; do
			printf '\n-- %s\n\n' "${text##*/}"
			cat "$text"
		done <<<"$texts"
	done
} >"$out/LICENCES.txt"
(cd "$out" && sha256sum -- * >SHA256SUMS)
