#!/bin/sh
# Makes testdata/exif/*.exif and testdata/exiftool.csv: the Exif blocks of photos
# from many cameras, and what ExifTool reads in each. Only needed to add a photo.
#
# The photos are the test data of open-source libraries that read Exif:
#   github.com/rwcarlsen/goexif, exif/samples (BSD-2-Clause)
#   github.com/bep/imagemeta v1.0.1, testdata/images/smoke (MIT) and
#     testdata/images/metadata-extractor (Apache-2.0)
#   github.com/dsoprea/go-exif/v3 v3.0.1, assets (MIT)
#   github.com/evanoberholster/imagemeta v0.3.1, assets and testImages (MIT)
#   exif-parser 0.1.12 on npm, test (MIT)
# Fetch them with "go mod download" and "npm pack" and name the folders:
#   ./make.sh FOLDER...
#
# A block is cut out as it stands. Thumbnails and maker notes, which the program
# never looks at, are blanked, and a thumbnail that comes last is cut off.
set -eu
cd "$(dirname "$0")"
mkdir -p exif
find "$@" -type f \( -name '*.jpg' -o -name '*.exif' -size -100k \) | sort | perl -e '
use strict; use warnings;
my %size = (1,1,2,1,3,2,4,4,5,8,6,1,7,1,8,2,9,4,10,8,11,4,12,8);
my %seen;
sub block {
	my ($data) = @_;
	$data =~ s/^Exif\0\0//;
	return $data if $data =~ /^(II\*\0|MM\0\*)/s;
	my $at = 2;
	while ($at + 10 < length $data) {
		my ($ff, $marker, $length) = unpack "CCn", substr $data, $at, 4;
		return undef if $ff != 0xFF || $marker == 0xDA;
		return substr $data, $at + 10, $length - 8 if $marker == 0xE1 && substr($data, $at + 4, 6) eq "Exif\0\0";
		$at += 2 + $length;
	}
	return undef;
}
for my $path (<STDIN>) {
	chomp $path;
	open my $in, "<:raw", $path or die $path;
	my $data = block(do { local $/; <$in> });
	next unless defined $data && length $data > 14;
	my ($short, $long) = $data =~ /^II/ ? ("v", "V") : ("n", "N");
	my ($end, $thumb, $thumblen, %done) = (8, 0, 0);
	my @todo = (unpack $long, substr $data, 4, 4);
	while (@todo) {
		my $ifd = shift @todo;
		next if $ifd == 0 || $done{$ifd}++ || $ifd + 2 > length $data;
		my $n = unpack $short, substr $data, $ifd, 2;
		next if $ifd + 6 + 12 * $n > length $data;
		$end = $ifd + 6 + 12 * $n if $end < $ifd + 6 + 12 * $n;
		for my $i (0 .. $n - 1) {
			my ($tag, $type, $count, $value) = unpack "$short$short$long$long", substr $data, $ifd + 2 + 12 * $i, 12;
			push @todo, $value if $tag == 0x8769 || $tag == 0x8825 || $tag == 0xA005;
			$thumb = $value if $tag == 0x0201;
			$thumblen = $value if $tag == 0x0202;
			my $bytes = ($size{$type} || 0) * $count;
			next if $bytes <= 4 || $value + $bytes > length $data;
			$end = $value + $bytes if $end < $value + $bytes;
			substr($data, $value, $bytes) = "\0" x $bytes if $tag == 0x927C;
		}
		push @todo, unpack $long, substr $data, $ifd + 2 + 12 * $n, 4;
	}
	substr($data, $thumb, $thumblen) = "\0" x $thumblen if $thumb && $thumb + $thumblen <= length $data;
	$data = substr $data, 0, $end;
	next if $seen{$data}++;
	(my $name = $path) =~ s{.*/}{};
	$name =~ s/\.(jpg|exif)$//;
	$name =~ s/-sep-.*//;
	open my $out, ">:raw", "exif/$name.exif" or die $name;
	print $out $data;
}'
{
	echo "# Exif data of photos from many cameras as read by ExifTool $(exiftool -ver) (-n: plain numbers)."
	echo "# Sources and licences of the photos, and how this was made: make.sh."
	cd exif
	exiftool -q -n -csv -m -fast2 -IFD0:Make -IFD0:Model -IFD0:Software -IFD0:Orientation \
		-ExifIFD:DateTimeOriginal -ExifIFD:SubSecTimeOriginal -ExifIFD:OffsetTimeOriginal \
		-ExifIFD:FocalLength -ExifIFD:FocalLengthIn35mmFormat -ExifIFD:ExifImageWidth -ExifIFD:ExifImageHeight \
		-GPS:GPSStatus -GPS:GPSDateStamp -GPS:GPSTimeStamp -GPS:GPSHPositioningError \
		-Composite:GPSLatitude -Composite:GPSLongitude -Composite:GPSAltitude -- *.exif
} > exiftool.csv
