#!/usr/bin/env bash
# Prints the licences of all that is inside a release for these targets: licences.sh
# NAME TARGET... A licence stands at a module's root, in a folder of those of others beside it,
# or, where a part has its own, beside the package or the file that is taken in.
set -euo pipefail
name=$1
shift

# A row for each package and each file that it embeds: module, version, its folder, the folder used.
used='{{$p := .}}{{with .Module}}{{if not .Main}}{{$m := .}}{{printf "%s %s %s %s\n" $m.Path $m.Version $m.Dir $p.Dir}}{{range $p.EmbedFiles}}{{printf "%s %s %s %s/%s/..\n" $m.Path $m.Version $m.Dir $p.Dir .}}{{end}}{{end}}{{end}}'
rows() {
	for target in "$@"; do
		GOOS=${target%/*} GOARCH=${target#*/} go list -deps -f "$used" ./cmd/shadowread
	done
	GOOS=js GOARCH=wasm go list -deps -f "$used" ./cmd/page
}

texts() { # of a module, of whose packages these folders are
	local root=$1 folder
	shift
	{
		for folder in "$@"; do
			while [[ $folder == "$root"/* ]]; do
				echo "$folder"
				folder=${folder%/*}
			done
		done
		echo "$root"
	} | LC_ALL=C sort -u | while read -r folder; do
		find "$folder" -maxdepth 1 -type f ! -name '*.go' \( -iname 'licen[cs]e*' -o -iname 'copying*' -o -iname 'notice*' -o -iname 'third*party*' \)
	done | LC_ALL=C sort
	find "$root" -mindepth 2 -type f -path "$root/THIRD_PARTY_LICENSES/*" | LC_ALL=C sort
}

echo "What is inside $name, and its licences."
echo
cat <<'TEXT'
The HEIC decoder is WebAssembly of libheif 1.18.2 and libde265 1.0.15 (LGPL 3) with the C and C++
libraries of the WASI SDK (wasi-libc: MIT; LLVM: Apache 2.0 with its exception). lib/Makefile in
github.com/gen2brain/heic says how it is built of their sources; "go build" with that module
replaced makes this program with another. The map of time zones is made of OpenStreetMap's data
(ODbL 1.0, (c) OpenStreetMap contributors). The rules of time zones (IANA) and the coefficients
of the World Magnetic Model are in the public domain.
TEXT
printf '\n==== The Go library, %s ====\n\n' "$(go env GOVERSION)"
cat "$(go env GOROOT)/LICENSE"
printf '\n==== The typeface, Go Regular and Go Bold ====\n\n'
cat internal/typeface/licence.txt

rows "$@" | LC_ALL=C sort -u | awk '
	$1 " " $2 != module { if (NR > 1) print ""; module = $1 " " $2; printf "%s %s %s", $1, $2, $3 }
	{ folder = $4; sub("/[^/]*/\\.\\.$", "", folder); printf " %s", folder }
	END { print "" }' | while read -r path version root folders; do
	printf '\n==== %s %s ====\n' "$path" "$version"
	# shellcheck disable=SC2086 # a list of folders
	found=$(texts "$root" $folders)
	if [[ -z $found ]]; then
		echo "licences: $path has no licence" >&2
		exit 1
	fi
	while read -r text; do
		printf '\n-- %s\n\n' "${text#"$root"/}"
		cat "$text"
	done <<<"$found"
done
