# What to say: make demo, make test; make check at the desk, make measure for
# the figures of docs/measured.md. Only Go is wanted (and its downloads); a C
# compiler, npm and Chromium are used where they are (Chromium is installed where
# one is root on Debian), and what is left out is said.

GO      ?= go
TOOL    := $(GO) tool -modfile=go.tools.mod
SOURCES := $(shell find . -name '*.go' -not -path './bin/*' -not -path '*/node_modules/*' 2>/dev/null)
CC_HERE := $(shell command -v $$($(GO) env CC) 2>/dev/null)
RACE    := $(if $(CC_HERE),-race)

# The race detector looks where goroutines share something (race_test.go holds
# these two lists against the source), and what is one thing after another runs
# without it, in a tenth of the time. GLANCED are whole days, and made-up ones by
# the hundred: it sees the short ones.
RACED   := evenstand/book evenstand/core/paper evenstand/core/relation evenstand/format/column evenstand/format/formattest evenstand/format/iso11783 evenstand/internal/measure evenstand/web
GLANCED := evenstand/cli evenstand/core/try/effect evenstand/core/try/trial evenstand/core/verify evenstand/sim

NPM     := $(shell command -v npm 2>/dev/null)
UI      := web/ui

.PHONY: help build demo test check measure bench format format-all vet lint tests duck fuzz proof cross tidy clean ui page browser chromium judges

help:
	@echo "make demo      build, make up a planting day, read it, print the worklist, open the page"
	@echo "make test      what CI runs (under 25 minutes on 2 cores)"
	@echo "make check     the short form, for the desk (under 3 minutes once built)"
	@echo "make measure   all figures, into docs/measured.md (hours)"
	@echo "make build     bin/evenstand"
	@echo "make ui        build the page anew into web/ui/dist (npm)"

build: bin/evenstand

bin/evenstand: go.mod go.sum $(SOURCES) $(wildcard core/relation/*.csv format/iso11783/*.csv book/migrations/*.sql $(UI)/dist/* $(UI)/dist/assets/*)
	CGO_ENABLED=0 $(GO) build -trimpath -o $@ ./cmd/evenstand

# An invented farm: one planter, two fields, a day on which a good deal goes
# wrong. Seed times until noon, a row a second after it.
demo: bin/evenstand
	rm -rf demo
	mkdir demo
	bin/evenstand simulate scenarios/demo.toml demo/sim
	bin/evenstand new demo/book --planter demo/sim/card.toml \
		--field demo/sim/fields/north-place.geojson --field demo/sim/fields/river-place.geojson \
		--zone America/Chicago --units us --price 4.50/bu --yield 190bu/ac --seed-price 300/80000
	bin/evenstand read demo/book demo/sim/boxes
	@echo
	bin/evenstand worklist demo/book --all
	@echo
	@echo "More of one: bin/evenstand show demo/book FINDING"
	@echo
	bin/evenstand open demo/book

test: build format vet lint page tests duck fuzz proof browser cross

# The page: dist is kept in the repository, so that `go build` needs no npm.
$(UI)/node_modules/.ready: $(UI)/package-lock.json
	cd $(UI) && npm ci --ignore-scripts --no-audit --no-fund --silent
	@touch $@

ui: $(UI)/node_modules/.ready
	cd $(UI) && npm run -s types >/dev/null && npm run -s check && npm run -s build

# What is kept is what the source gives: types from the server's description,
# dist from the page.
page:
ifeq ($(NPM),)
	@echo "No npm here: the page is not built again and compared."
else
	@$(MAKE) -s $(UI)/node_modules/.ready
	cd $(UI) && npx openapi-typescript ../openapi.json -o ../../bin/api-types.ts >/dev/null && cmp ../../bin/api-types.ts src/api-types.ts || { echo "src/api-types.ts is not what openapi.json says (make ui)"; exit 1; }
	cd $(UI) && npm run -s check && npm run -s test
	cd $(UI) && node build.mjs ../../bin/dist && diff -r ../../bin/dist dist || { echo "dist is not what src gives (make ui)"; exit 1; }
endif

chromium:
	@command -v chromium >/dev/null || { [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null && { apt-get install -y -qq chromium >/dev/null 2>&1 || { apt-get update -qq >/dev/null && apt-get install -y -qq chromium >/dev/null; }; }; } || true

# The built program, driven in Chromium as its users do.
browser: build chromium
	@if [ -z "$(NPM)" ] || ! command -v chromium >/dev/null; then echo "No npm or no Chromium here: the page is not driven."; else \
		$(MAKE) -s $(UI)/node_modules/.ready && cd $(UI) && node test/browser.mjs ../../bin/evenstand; fi

check: build format vet lint tidy
	$(GO) test -short ./...
	$(GO) test -short -run '^$$' -bench . -benchtime 1x ./... > bin/bench.txt || { cat bin/bench.txt; exit 1; }

measure: build
	$(GO) run -pgo=cmd/evenstand/default.pgo ./internal/measure -fuzztime 10m -write all

# Seeds a second of the stages and of the whole; docs/measured.md has one run.
bench:
	@mkdir -p bin
	$(GO) test -run '^$$' -bench 'Decoder|Measure|Engine|Settle|LiveSecond' -count 6 ./core/measure/... ./core/find ./pipeline > bin/bench.txt || { cat bin/bench.txt; exit 1; }
	$(TOOL) benchstat bin/bench.txt

format:
	@out=$$($(TOOL) gofumpt -l .); if [ -n "$$out" ]; then echo "not as gofumpt writes it (make format-all mends that):"; echo "$$out"; exit 1; fi

format-all:
	$(TOOL) gofumpt -w .

vet:
	$(GO) vet ./...

lint:
	$(TOOL) staticcheck ./...

tidy:
	$(GO) mod tidy -diff

# GEOS judges our areas and GDAL reads what is handed out: commands of Debian's, no
# part of the program.
judges:
	@for p in geosop:geos-bin ogrinfo:gdal-bin; do command -v $${p%:*} >/dev/null || { [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null && { apt-get install -y -qq $${p#*:} >/dev/null 2>&1 || { apt-get update -qq >/dev/null && apt-get install -y -qq $${p#*:} >/dev/null; }; }; } || echo "No $${p%:*} here: nothing is compared with it."; done

# All tests, the layers and the 20 kills of the book among them.
tests: judges
ifeq ($(CC_HERE),)
	@echo "No C compiler here: the tests run without the race detector."
endif
ifneq ($(RACE),)
	$(GO) test $(RACE) -timeout 20m $(RACED)
	$(GO) test $(RACE) -short -timeout 20m -run 'Scripts/(sound|note|sources|replay)|Replay|Open|Stopped' evenstand/cli & cli=$$!; \
	$(GO) test $(RACE) -short -timeout 20m $(filter-out evenstand/cli,$(GLANCED)); rest=$$?; \
	wait $$cli && exit $$rest
endif
	$(GO) test -timeout 20m $(filter-out $(if $(RACE),$(RACED)),$(shell $(GO) list ./...))

# The Parquet files against DuckDB: a module of its own, with a C compiler only.
duck:
ifeq ($(CC_HERE),)
	@echo "No C compiler here: the stored files are not compared with DuckDB."
else
	cd book/duckcheck && CGO_ENABLED=1 $(GO) vet ./... && CGO_ENABLED=1 $(GO) test -timeout 10m ./...
endif

fuzz: build
	$(GO) run ./internal/measure -fuzztime 2s fuzz

# Two small days scored, 20 kills of the built program, a rebuild, the real log,
# the memory of a season and of hostile uploads, which the race detector would
# spoil.
proof: build
	$(GO) test -count=1 -run TestMemoryIsFlat ./book
	$(GO) test -count=1 -run TestHostileUploads ./web
	$(GO) run ./internal/measure -kills 20 small kills rebuild real

# This computer's own is bin/evenstand.
cross: build
	@for os in linux windows darwin; do for arch in amd64 arm64; do \
		[ "$$os/$$arch" != "$$($(GO) env GOHOSTOS)/$$($(GO) env GOHOSTARCH)" ] || continue; \
		echo "cross build $$os/$$arch"; \
		CGO_ENABLED=0 GOOS=$$os GOARCH=$$arch $(GO) build -pgo=off -trimpath -o bin/cross/$$os-$$arch/ ./cmd/evenstand || exit 1; \
	done; done

clean:
	rm -rf bin demo
