# coursegauge: everything a contributor types. `make help` lists it.
#
# The tags pick the modules of OpenCV's Go binding that compile on OpenCV 4.6.
# They travel in GOFLAGS, since -tags on a go command line would replace them.
GOCV_TAGS := gocv_specific_modules,gocv_calib3d,gocv_features2d
TAGS      ?=
comma     := ,
export GOFLAGS := $(strip $(filter-out -tags=%,$(GOFLAGS)) -tags=$(GOCV_TAGS)$(if $(TAGS),$(comma)$(TAGS)))

# sudo drops the PATH to Go; the script looks where Go usually lies.
GO      := $(shell sh .ci/find-go)
VERSION := $(shell git describe --always --dirty 2>/dev/null || echo unknown)
LINKED   = -buildvcs=false -ldflags "-X main.version=$(VERSION)"

BIN    := bin/coursegauge
DEMO   ?= demo-report
PHOTOS ?= ../shared/photos
SCORE  ?= ../shared/score/score.py
BY     ?=
FRESH  ?= /var/tmp/coursegauge-fresh
FUZZ   ?= 60s
# of one package's tests: far more than a slow machine needs, so that a test that hangs ends
LIMIT  ?= 90m
MAKER  ?= traced
SET    ?= judge
OUT    ?= /var/tmp/coursegauge-scenes/$(MAKER)-$(SET)
JOBS   ?= 1
PYTHON ?= /usr/bin/python3
STATICCHECK := honnef.co/go/tools/cmd/staticcheck@v0.8.2

.DEFAULT_GOAL := help
.PHONY: help setup build demo test lint bench scenes score score-by fuzz mutate soak package fresh clean

help: ## this list
	@sed -n 's/^\([a-z-]*\):.*## \(.*\)/make \1\t\2/p' Makefile | expand -t 14

setup: ## check Go, the compiler and OpenCV; install what apt has
	@sh .ci/setup

build: setup ## bin/coursegauge
	@mkdir -p bin
	@[ -e $(BIN) ] || echo "build: compiling; the first time takes 2 to 10 minutes, most of it the C++ of gocv.io/x/gocv; packages are named as they are begun"
	@$(GO) build -v $(LINKED) -o $(BIN) ./cmd/coursegauge
	@sh .ci/give-back bin

demo: build ## inspect the photos of testdata and say where the report lies
	@sh .ci/demo $(BIN) testdata/photos $(DEMO)
	@sh .ci/give-back $(DEMO)

test: build ## build, vet and every test; LIMIT=90m for one package
	@sh .ci/setup tests
	@echo "test: go vet"
	@$(GO) vet ./...
	@echo "test: go test; 5 to 30 minutes by the machine, a line a package; what is skipped is listed at the end"
	@$(GO) run .ci/tests.go $(GO) -timeout $(LIMIT) ./...
	@sh .ci/give-back bin
	@echo "make test: no test failed"

lint: setup ## gofmt, vet, staticcheck, the direction of imports
	@unformatted=$$("$$($(GO) env GOROOT)/bin/gofmt" -l cmd vision report calibrate 2>/dev/null); \
	  if [ -n "$$unformatted" ]; then echo "not formatted (gofmt -w FILE):"; echo "$$unformatted"; exit 1; fi
	@$(GO) vet ./...
	@$(GO) run $(STATICCHECK) ./...
	@$(GO) test -count=1 ./cmd -run TestImports
	@echo "make lint: clean"

bench: setup ## time of each stage
	@$(GO) test -run '^$$' -bench . -benchmem ./...

scenes: ## make photos with truth: make scenes MAKER=traced|heightmap SET=judge|dev|wide|... OUT=DIR JOBS=photos at a time
	@MAKER="$(MAKER)" SET="$(SET)" OUT="$(OUT)" JOBS="$(JOBS)" PYTHON="$(PYTHON)" sh .ci/scenes

score-by: BY = family light tilt distance finish palette print
score-by: score ## the same, and by each condition of the photos

score: build ## hold the measurements against photos with truth: make score SCORE=score.py PHOTOS=DIR
	@if [ ! -f "$(SCORE)" ] || [ ! -d "$(PHOTOS)" ]; then \
	  echo "make score needs a scoring script and photos with truth: make score SCORE=path/to/score.py PHOTOS=path/to/photos"; exit 2; fi
	@SCOREFLAGS="$(SCOREFLAGS)" sh .ci/score "$(SCORE)" "$(PHOTOS)" $(BIN) $(BY)

fuzz: setup ## every fuzz target in turn, FUZZ=60s each
	@GO="$(GO)" FUZZ="$(FUZZ)" bash .ci/fuzz

mutate: PKG ?= ./report/cache
mutate: N ?= 60
mutate: setup ## do the tests notice small changes: make mutate PKG=./report/cache N=60 SKIP=tests
	@$(GO) run .ci/mutate.go -n $(N) -skip '$(SKIP)' $(PKG)

package: build ## dist/coursegauge_VERSION_ARCH.deb, with manual pages and shell completions
	@sh .ci/setup package
	@bash .ci/package $(BIN) dist
	@sh .ci/give-back bin dist

soak: build ## long proofs: a thousand photos, mutants, kills, a Slurm array (root), and whatever .ci/soak-* adds
	@for proof in .ci/soak-*; do \
	  [ -x "$$proof" ] || continue; echo "== $$proof"; GO="$(GO)" "./$$proof" $(BIN) || exit 1; done

fresh: ## prove make demo, make test and the package on a bare Debian 12 (root, debootstrap)
	@GO="$(GO)" FRESH="$(FRESH)" bash .ci/fresh

clean: ## remove what was built
	rm -rf bin dist $(DEMO)
