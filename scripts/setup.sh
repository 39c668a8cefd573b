#!/usr/bin/env bash
# Installs what building and testing need on Debian 12, with "browser" what the page is
# tested in too. Does nothing when all is there.
set -euo pipefail

if [[ ${1:-} == browser ]]; then
	# The page's tests find it by the names in internal/browser.
	for name in chromium chromium-browser google-chrome-stable google-chrome; do
		if command -v "$name" >/dev/null; then
			exit 0
		fi
	done
	root=()
	if ((EUID != 0)); then
		root=(sudo)
	fi
	if command -v apt-get >/dev/null; then
		echo "setup: installing chromium, to test the page in" >&2
		"${root[@]}" apt-get update -q >&2 &&
			"${root[@]}" env DEBIAN_FRONTEND=noninteractive apt-get install -q -y --no-install-recommends chromium fonts-dejavu-core >&2 &&
			exit 0
	fi
	echo "setup: NO BROWSER can be had here: the tests of the page are SKIPPED" >&2
	exit 0
fi

packages=(
	gcc g++ make pkg-config
	libopencv-dev          # reading photos
	libjpeg62-turbo-dev    # decoding JPEG, and hearing what the decoder says of damage
	poppler-utils          # tests: the PDF drawn and its text
	libheif-examples       # tests: a HEIC copy of a photo
	librsvg2-bin           # tests: the SVG drawn
	libxml2-utils          # tests: GPX held to its schema
	libimage-exiftool-perl # tests: Exif data read by another program
)

if ! command -v go >/dev/null; then
	echo "setup: Go is missing; install the version that go.mod names, or a newer one" >&2
	exit 1
fi

if ! command -v dpkg-query >/dev/null; then
	if pkg-config --exists opencv4; then
		exit 0 # not Debian, but it can build
	fi
	echo "setup: this is no Debian; install by hand what these packages hold: ${packages[*]}" >&2
	exit 1
fi

missing=()
for p in "${packages[@]}"; do
	if [[ $(dpkg-query -W -f '${db:Status-Status}' "$p" 2>/dev/null || true) != installed ]]; then
		missing+=("$p")
	fi
done
if ((${#missing[@]} == 0)); then
	exit 0
fi

root=()
if ((EUID != 0)); then
	root=(sudo)
fi
echo "setup: installing ${missing[*]}" >&2
"${root[@]}" apt-get update -q >&2
"${root[@]}" env DEBIAN_FRONTEND=noninteractive apt-get install -q -y --no-install-recommends "${missing[@]}" >&2
pkg-config --exists opencv4
