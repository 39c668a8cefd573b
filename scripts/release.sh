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
for target in "${targets[@]}"; do
	export GOOS=${target%/*} GOARCH=${target#*/}
	name=shadowread-$version-$GOOS-$GOARCH
	[[ $GOOS == windows ]] && name+=.exe
	echo "release: $name" >&2
	# No paths, no build id, and the commit by name: what git adds by itself differs with the tree.
	go build -trimpath -buildvcs=false -ldflags "-s -w -buildid= -X main.commit=$commit" -o "$out/$name" ./cmd/shadowread
done
unset GOOS GOARCH
bash scripts/licences.sh "shadowread $version (commit $commit)" "${targets[@]}" >"$out/LICENCES.txt"
(cd "$out" && sha256sum -- * >SHA256SUMS)
