# What a newcomer needs: make demo, make test.

COMMIT := $(shell git describe --always --dirty --abbrev=12 2>/dev/null)
FUZZTIME ?= 3s
# Folders of photos with a truth.json beside them.
DIR ?= fixtures/demo
SOAK ?=

.PHONY: demo test build setup bench accuracy soak lint fuzz man clean

demo: build
	bash scripts/demo.sh out/demo

test: setup
	go vet ./...
	bash scripts/fuzz.sh $(FUZZTIME)
	go test ./...

build: setup
	go build -ldflags '-X main.commit=$(COMMIT)' -o bin/shadowread ./cmd/shadowread

setup:
	@bash scripts/setup.sh

# Speed: ratios are told by the benchmarks themselves.
bench: setup
	go test -run '^$$' -bench . ./internal/...

# Errors against the truth: make accuracy DIR=folder
accuracy: setup
	go run ./cmd/proof accuracy $(DIR)

# Errors over sigma on random pictures, and the fuzz targets for longer:
# make soak SOAK='-n 60 -seed 1'
soak: setup
	go run ./cmd/proof soak $(SOAK)
	bash scripts/fuzz.sh 60s

lint: setup
	bash scripts/lint.sh

fuzz: setup
	bash scripts/fuzz.sh $(FUZZTIME)

man: build
	bin/shadowread man out/man

clean:
	rm -rf bin out
