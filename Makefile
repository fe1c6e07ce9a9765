# Millbase: what can be made. `make` alone lists it.
# Debian packages, npm packages and tools that are missing are installed on the way; see .make/install and .make/versions.
SHELL := /bin/bash
.SHELLFLAGS := -euo pipefail -c
.DELETE_ON_ERROR:
.DEFAULT_GOAL := help

GO_BUILD := go build -buildvcs=false
BIN := .build/bin

.PHONY: help
help: ## list the targets
	@sed -n 's/^\([a-z-]*\):.*## \(.*\)/make \1\t\2/p' Makefile | expand -t 22

.PHONY: install install-npm
install: ## install the Debian packages that are missing (solver, Postgres, Chromium)
	@.make/install run
install-npm: ## install npm too (only generate and check need it)
	@.make/install run generate

.PHONY: build
build: install ## build the server and the client into .build/bin
	$(GO_BUILD) -o $(BIN)/millbased ./server/cmd/millbased
	CGO_ENABLED=0 $(GO_BUILD) -o $(BIN)/millbase ./clients/cli

.PHONY: demo serve
demo: build ## load the demo plant and show each user their answer
	@.make/demo
serve: build ## run the server with the demo plant until Ctrl-C
	@.make/demo --serve

.PHONY: test
test: install ## run every test, with the race detector, on a real Postgres
	@.make/test

.PHONY: check
check: install-npm ## format, lint, generated code up to date, API compatible
	@.make/check

.PHONY: bench
bench: build ## print one BAR line for each figure that we promise
	$(GO_BUILD) -o $(BIN)/millbench ./server/cmd/millbench
	$(BIN)/millbench

.PHONY: generate release-proto
generate: install-npm ## write the Go and the OpenAPI document from the .proto files
	@.make/generate
release-proto: install-npm ## make the API as it stands the one that `make check` compares against
	@.make/release-proto

.PHONY: fmt clean
fmt: ## format Go and .proto files
	@.make/tools buf
	gofmt -w $$(.make/folders)
	@[ ! -d .thirdparty ] || .build/bin/buf format -w proto
clean: ## remove what was built (not the demo's data)
	rm -rf .build .thirdparty
