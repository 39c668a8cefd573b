#!/bin/sh
# Makes photos/*, small pictures with the same Exif data in every container, written
# by other programs: ImageMagick, heif-enc (libheif) and ExifTool; Python for irot.
# The left quarter of the stored picture is black, the rest white.
#
# The HEIC files differ in how they say which way up they are:
#   plain.heic   as it stands
#   exif6.heic   Exif Orientation 6, no rotation of its own
#   irot.heic    a rotation of its own (irot 3, 270 degrees counter-clockwise), and Exif
#                Orientation 6 that says the same, as phones write it
#
# heads/* are the first kilobytes of photos, without pixels, from
# github.com/evanoberholster/imagemeta v0.3.1, isobmff/samples (MIT); 12.heic is iPhone12.sample there.
set -eu
cd "$(dirname "$0")"
mkdir -p photos
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
tag() {
	exiftool -q -overwrite_original -n -Make=Invented -Model=Phone -FocalLength=4.25 -FocalLengthIn35mmFormat=26 \
		-DateTimeOriginal='2026:03:14 09:26:53' -SubSecTimeOriginal=037 -OffsetTimeOriginal=+02:00 \
		-GPSLatitude=20.6142 -GPSLatitudeRef=S -GPSLongitude=25.431 -GPSLongitudeRef=E \
		-GPSDateStamp=2026:03:14 -GPSTimeStamp=07:26:51.5 \
		-GPSAltitude=912 -GPSAltitudeRef=0 -GPSHPositioningError=4.7 "$@"
}
draw() { convert -size 96x64 xc:white -fill black -draw 'rectangle 0,0 23,63' -strip "$@"; }
draw -quality 95 "$work/plain.jpg"
cp "$work/plain.jpg" "$work/exif6.jpg"
draw -define png:exclude-chunks=date,time photos/plain.png
draw -depth 8 -compress lzw -define tiff:endian=lsb photos/intel.tif
draw -depth 8 -compress lzw -define tiff:endian=msb photos/motorola.tif
tag -Orientation=1 "$work/plain.jpg" photos/plain.png photos/intel.tif photos/motorola.tif
cp photos/motorola.tif photos/exif6.tif
tag -Orientation=6 "$work/exif6.jpg" photos/exif6.tif
heif-enc -q 80 "$work/plain.jpg" -o photos/plain.heic
heif-enc -q 80 "$work/exif6.jpg" -o photos/exif6.heic
cp "$work/plain.jpg" "$work/exif6.jpg" photos
python3 - photos/exif6.heic photos/irot.heic <<'PYTHON'
import struct, sys

irot = struct.pack(">I4sB", 9, b"irot", 3)
data = open(sys.argv[1], "rb").read()

def boxes(b, at):
    while at < len(b):
        size, kind = struct.unpack_from(">I4s", b, at)
        yield kind, b[at + 8:at + size]
        at += size

def box(kind, body):
    return struct.pack(">I4s", len(body) + 8, kind) + body

grown = len(irot) + 1  # the property, and its index at the primary item
def edit(kind, body, count=[0]):
    if kind == b"meta":
        primary = next(struct.unpack_from(">H", b, 4)[0] for k, b in boxes(body, 4) if k == b"pitm")
        count.append(primary)
        return body[:4] + b"".join(box(k, edit(k, b)) for k, b in boxes(body, 4))
    if kind == b"iprp":
        return b"".join(box(k, edit(k, b)) for k, b in boxes(body, 0))
    if kind == b"ipco":
        count[0] = len(list(boxes(body, 0))) + 1
        return body + irot
    if kind == b"ipma":  # version 0, flags 0
        n, at = struct.unpack_from(">I", body, 4)[0], 8
        out = body[:8]
        for _ in range(n):
            item, k = struct.unpack_from(">HB", body, at)
            props = body[at + 3:at + 3 + k]
            at += 3 + k
            if item == count[1]:
                props += bytes([0x80 | count[0]])
            out += struct.pack(">HB", item, len(props)) + props
        return out
    if kind == b"iloc":
        out, at = bytearray(body), 8
        version, sizes, n = struct.unpack_from(">B3xHH", body, 0)
        assert version == 0 and sizes == 0x4440, "4-byte offset, length and base"
        for _ in range(n):  # item, data reference, base, extents
            base, extents = struct.unpack_from(">4xIH", body, at)
            struct.pack_into(">I", out, at + 4, base + grown)
            at += 10 + 8 * extents
        return bytes(out)
    return body

open(sys.argv[2], "wb").write(b"".join(box(k, edit(k, b)) for k, b in boxes(data, 0)))
PYTHON
