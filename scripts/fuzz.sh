#!/usr/bin/env bash
# Runs every fuzz target for a while: fuzz.sh TIME, as in fuzz.sh 5s.
set -euo pipefail
time=${1:?give the time for each target, as 5s}

# The go command sometimes ends a sound run with "context deadline exceeded" when the
# time is up while a worker is busy (golang/go issue 48591, from memory). A failing
# input is always written to a file and said so; without one the run is repeated.
run() {
	local log status=0
	log=$(mktemp)
	go test -run '^$' -fuzz "^$2\$" -fuzztime "$time" "./$1" 2>&1 | tee "$log" || status=$?
	if ((status != 0)) && grep -q 'context deadline exceeded' "$log" && ! grep -q 'Failing input written' "$log"; then
		status=75 # once more
	fi
	rm "$log"
	return "$status"
}

grep -rl --include='*_test.go' '^func Fuzz' cmd internal | xargs -n1 dirname | sort -u |
	while read -r dir; do
		go test -list '^Fuzz' "./$dir" | grep '^Fuzz' | while read -r target; do
			echo "fuzz $dir $target $time"
			run "$dir" "$target" || { (($? == 75)) && run "$dir" "$target"; }
		done
	done
