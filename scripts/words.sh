#!/usr/bin/env bash
# Finds the terms that were given up (scripts/words.txt) in what people read and in
# comments, and ends with 1 if there are any.
set -euo pipefail
found=0
# Tests name what they try; changelog and docs/words.md tell of old terms.
files=$(git ls-files -co --exclude-standard -- '*.go' '*.md' '*.html' '*.sh' |
	grep -vE '_test\.go$|^CHANGELOG\.md$|^docs/words\.md$')
while IFS=$'\t' read -r term instead; do
	[[ -z $term || $term == \#* ]] && continue
	if lines=$(grep -nP -- "$term" $files); then
		printf '%s\n' "$lines" >&2
		echo "words: say $instead" >&2
		found=1
	fi
done <scripts/words.txt
exit "$found"
