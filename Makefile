# What a newcomer needs: make demo, make test.

COMMIT := $(shell git describe --always --dirty --abbrev=12 2>/dev/null)
FUZZTIME ?= 3s
# What rests on pixels is tested with OpenCV and without, then in short.
WITHOUT_OPENCV = ./internal/pixels ./internal/vision ./internal/sheetphoto ./internal/lens ./internal/reading ./internal/onpage
# Folders of photos with a truth.json beside them.
DIR ?= fixtures/demo
SOAK ?=
DAMAGE ?=

# HEIC photos are decoded in the sandbox inside the program, never by a library found
# on the machine (internal/photo/heic_decoder.go).
export GOFLAGS := $(GOFLAGS) -tags=nodynamic

.PHONY: demo test build page setup bench accuracy soak lint race vuln fuzz man release clean

demo: build
	bash scripts/demo.sh out/demo

test: page
	@bash scripts/setup.sh browser
	go vet ./...
	bash scripts/fuzz.sh $(FUZZTIME)
	go test ./...
	CGO_ENABLED=0 go test -short $(WITHOUT_OPENCV)

build: page
	go build -ldflags '-X main.commit=$(COMMIT)' -o bin/shadowread ./cmd/shadowread

# The program as WebAssembly, which internal/page carries.
page: setup
	bash scripts/page.sh $(COMMIT)

setup:
	@bash scripts/setup.sh

# Speed, as ratios taken in one run. One reading over the decode of its photo is
# measured on one processor.
bench: page
	mkdir -p out
	go test -c -o out/reading.test ./internal/reading
	cd internal/reading && taskset -c 0 ../../out/reading.test -test.run '^$$' -test.bench 'Reading$$|WithoutOpenCV' -test.benchtime 30x
	cd internal/reading && ../../out/reading.test -test.run '^$$' -test.bench 'ManyPhotos' -test.benchtime 1x
	cd internal/reading && ../../out/reading.test -test.run '^$$' -test.bench 'HEIC|Overlay|ManySheets|Hostile' -test.benchtime 3x
	go test -run '^$$' -bench Page -benchtime 5x ./internal/browser
	go test -run '^$$' -bench . ./internal/calib ./internal/bearing ./internal/align ./internal/workup ./internal/logbook

# Errors against the truth, and the page in a browser against the program: make accuracy DIR=folder
accuracy: page
	go run ./cmd/proof accuracy $(DIR)
	go run ./cmd/proof page $(DIR)

# Errors over sigma on random pictures, 22,000 damaged photos, thousands of simulated instruments and
# journeys, unclosed Mats, and the fuzz targets for longer:
# make soak SOAK='-n 60 -seed 1' DAMAGE='-mutations 200 -flips 200'
soak: setup
	go run ./cmd/proof soak $(SOAK)
	go run ./cmd/proof soak -gnomons $(SOAK)
	go run ./cmd/proof soak -phone $(SOAK)
	go run ./cmd/proof clock $(SOAK)
	go run ./cmd/proof level $(SOAK)
	go run ./cmd/proof horizon $(SOAK)
	go run ./cmd/proof reversed $(SOAK)
	go run ./cmd/proof damage $(DAMAGE) fixtures/independent fixtures/demo
	SHADOWREAD_SOAK=2000 go test -timeout 60m ./internal/align ./internal/workup ./internal/logbook ./internal/logimport
	go test -tags nodynamic,matprofile -run Mats ./internal/vision
	bash scripts/fuzz.sh 60s
	go run ./cmd/proof lying $(SOAK)
	go run ./cmd/proof sunlit $(SOAK)
	go run ./cmd/proof elsewhere $(SOAK)
	go run ./cmd/proof field $(SOAK)

lint: setup
	bash scripts/lint.sh

# The packages in which goroutines share something.
race: setup
	go test -race -short ./internal/geomag ./internal/photo ./internal/overlay ./internal/logbook
	go test -race -short -run 'Journey|TestScripts/(read|log_import|log_slips|swing|interrupt)$$' ./cmd/shadowread

# Known vulnerabilities of what is used; said aloud where their list cannot be had.
vuln:
	bash scripts/vuln.sh

fuzz: setup
	bash scripts/fuzz.sh $(FUZZTIME)

man: build
	bin/shadowread man out/man

# One static file a system, in plain Go, in out/release; see scripts/release.sh.
release:
	bash scripts/release.sh out/release
	bash scripts/release-check.sh out/release

clean:
	rm -rf bin out
