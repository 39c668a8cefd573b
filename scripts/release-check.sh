#!/usr/bin/env bash
# Holds a release to what it promises: release-check.sh FOLDER. The same bytes come of a copy of
# the tree elsewhere, and the files run where nothing else is. Windows and macOS are built alone:
# there is nothing here to run them on.
set -euo pipefail
out=$(cd "${1:?give the folder of the release}" && pwd)
photo=fixtures/demo/02-second-truck.jpg
want='"status":"ok"'
work=$(mktemp -d)
trap 'chmod -R u+w "$work"; rm -rf "$work"' EXIT

(cd "$out" && sha256sum --quiet -c SHA256SUMS)
# Licences that stand apart from their modules': beside a file that is taken in, in a folder of
# those of others, of a part.
for licence in 'GNU LESSER GENERAL PUBLIC LICENSE' 'LICENSE.libde265' 'Open Database License' 'Cephes' 'Bigelow & Holmes' 'Go Authors'; do
	if ! grep -qE "$licence" "$out/LICENCES.txt"; then
		echo "release-check: LICENCES.txt lacks $licence" >&2
		exit 1
	fi
done

# Nothing of the first build is at hand: another folder, an empty cache.
mkdir "$work/tree"
cp -a go.mod go.sum cmd internal scripts "$work/tree"
(cd "$work/tree" && GOCACHE=$work/cache COMMIT=$(git -C "$OLDPWD" describe --always --dirty --abbrev=12) bash scripts/release.sh "$work/again" linux/amd64)
for file in "$work"/again/shadowread-*; do
	cmp "$file" "$out/${file##*/}"
done

ran=()
amd64=$(ls "$out"/shadowread-*-linux-amd64)
arm64=$(ls "$out"/shadowread-*-linux-arm64)
if ((EUID == 0)); then
	mkdir "$work/empty"
	cp "$amd64" "$work/empty/shadowread"
	cp "$photo" "$work/empty/photo.jpg"
	chroot "$work/empty" /shadowread read --json --quiet /photo.jpg | grep -q "$want"
	chroot "$work/empty" /shadowread page --quiet -o /page
	cmp "$work/empty/page/shadowread.wasm.gz" internal/page/built/shadowread.wasm.gz
	ran+=("linux/amd64 in an empty root")
fi
if command -v qemu-aarch64 >/dev/null; then
	qemu-aarch64 "$arm64" read --json --quiet "$photo" | grep -q "$want"
	ran+=("linux/arm64 under qemu")
fi
((${#ran[@]})) || ran=(nowhere)
printf 'release-check: same bytes twice; a photo is read by'
printf ' [%s]' "${ran[@]}"
echo
