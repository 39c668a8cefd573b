#!/usr/bin/env bash
# The tests of the page in a browser, alone on the machine: beside others its steps run out of
# time. A browser that hung is begun again once, aloud; what fails twice fails.
set -euo pipefail
go test -count=1 ./internal/page/pagetest && exit 0
echo "test-page: A TEST OF THE PAGE FAILED, as said above; once more in a new browser" >&2
go test -count=1 ./internal/page/pagetest
