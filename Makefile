# Two commands do all the set-up: `make demo` and `make test`.
SHELL := /bin/bash
export CGO_ENABLED ?= 0
GO ?= go
TOOL = $(GO) tool -modfile=tools/go.mod

.PHONY: build demo test oracles check race bench score outside build-all generate

build:
	$(GO) build -trimpath -o bin/bittern ./cmd/bittern

# The main job on the invented field: needs Go and make, nothing else.
demo: build
	./bin/bittern demo --out demo

# What the outside checks compare with; Debian's packages, nothing else.
oracles:
	./tools/oracles.sh

# All tests, with every outside check.
test: oracles
	BITTERN_ORACLES=1 $(GO) test $(TESTFLAGS) ./...

# What continuous integration asks besides the tests.
check:
	test -z "$$(gofmt -l cmd internal)" || { gofmt -l cmd internal; exit 1; }
	$(GO) mod tidy -diff
	$(GO) vet ./...
	$(TOOL) golangci-lint run ./...

# The rooms that run goroutines, and one whole day through all stages.
race:
	CGO_ENABLED=1 $(GO) test -race -short -timeout 20m $(addprefix ./internal/,raster geotiff/... tight/... imagery cells invent norm suspect structure block app)

# Ratios beside general-purpose tools, in one run; remakes docs/methods/speed.md.
# Needs some 12 GB in the folder bench, and an otherwise idle machine.
bench: oracles
	$(GO) run ./internal/tools/bench --out docs/methods $(BENCHFLAGS)

# What the detector finds on invented scenes, beside simple rules: SCOREFLAGS="-cache DIR -class skips".
score:
	$(GO) run ./internal/tools/score $(SCOREFLAGS)

# What the built program finds on fields that independent painters made:
# OUTSIDEFLAGS="--seeds even --class believable,killed --every", or with
# "--painter patchwork --scenes bench/patchwork" those of the other one.
outside: build
	PYTHONDONTWRITEBYTECODE=1 /usr/bin/python3 internal/tools/outside/score.py --bittern bin/bittern --scenes bench/outside $(OUTSIDEFLAGS)

generate:
	$(GO) generate ./...

build-all:
	@for target in windows/amd64 windows/arm64 darwin/arm64 darwin/amd64 linux/arm64 linux/amd64; do \
	  os=$${target%/*}; arch=$${target#*/}; ext=; [ $$os = windows ] && ext=.exe; \
	  echo "bin/$$os-$$arch/bittern$$ext"; \
	  CGO_ENABLED=0 GOOS=$$os GOARCH=$$arch $(GO) build -trimpath -o bin/$$os-$$arch/bittern$$ext ./cmd/bittern || exit 1; \
	done
