# Lipwright: two commands.
#
#   make run    install what is missing, build, serve the editor with a demo line loaded
#   make test   install what tests need, then run everything
#
# Tools are installed once into CACHE and found again next time.

CACHE ?= $(or $(XDG_CACHE_HOME),$(HOME)/.cache)/lipwright
PORT  ?= 8377
SHELL := /bin/bash
.SHELLFLAGS := -euo pipefail -c

# Everything that touches wasm runs in this environment (compiler, linker, tools on PATH).
WASM_ENV = export PATH="$(CACHE)/bin:$$PATH"; source "$(CACHE)/wasm-env.sh";

.PHONY: run test soak fuzz coverage mutants page command lint tools test-tools bench hearing-report screenshot clean help

help: ## list the targets
	@grep -hE '^[a-z-]+:.*##' $(MAKEFILE_LIST) | sed -E 's/:.*## /\t/' | expand -t 18

tools: ## install what building the page needs
	@app/setup/wasm-toolchain.sh "$(CACHE)"

test-tools: ## install what the tests need (Chromium and its driver, compilers, simavr, Python judges, axe-core, speech)
	@tests/setup/browser.sh
	@tests/setup/controller.sh
	@tests/setup/python.sh "$(CACHE)/python"
	@tests/setup/axe.sh "$(CACHE)/axe"
	@tests/setup/human-prompts.sh "$(CACHE)/human-prompts"

page: tools ## build the page into dist/
	@$(WASM_ENV) trunk build --release --offline

command: ## build the command line (target/release/lipwright)
	cargo build --release -p lipwright-core --bin lipwright

run: tools ## build and serve the editor on localhost
	@echo "Lipwright: building, then serving at http://localhost:$(PORT)/"
	@$(WASM_ENV) trunk serve --release --offline --no-autoreload --address 127.0.0.1 --port $(PORT)

lint: ## check formatting and lints
	cargo fmt --all --check
	cargo clippy -q --workspace --all-targets -- -D warnings

# Property tests draw the same cases every time here, so that a change is judged by what it changed;
# `make soak` draws new ones.
test: test-tools page command lint ## run everything
	LIPWRIGHT_CACHE="$(CACHE)" PROPTEST_RNG_SEED=20261125 cargo test --workspace --no-fail-fast

soak: ## new and many cases: property tests (CASES=4096), ten thousand random heads; an hour or so
	PROPTEST_CASES=$(or $(CASES),4096) cargo test -q --release -p lipwright-core
	cargo test -q --release -p lipwright-core --lib ten_thousand_random_heads -- --ignored

fuzz: ## damage files at random and read them (SECONDS_EACH=60 a reader)
	cargo run -q --release -p lipwright-tests --bin fuzz -- $(or $(SECONDS_EACH),60)

coverage: test-tools ## which lines of core the tests run, by room (COMMAND_LINE=no: core's own tests alone)
	@LIPWRIGHT_CACHE="$(CACHE)" COMMAND_LINE=$(or $(COMMAND_LINE),yes) tests/setup/coverage.sh

mutants: ## change the program one place at a time: do the tests notice? (WHAT=all, linkages, solver, rooms, report; HANDS=2)
	@tests/setup/mutants.sh "$(CACHE)" $(or $(WHAT),all)

bench: page test-tools ## what a minute of dialogue costs, what the page weighs, what an edit costs in the browser
	cargo bench -q -p lipwright-tests --bench minute
	cargo run -q -p lipwright-tests --bin replan
	cargo run -q -p lipwright-tests --bin interaction

hearing-report: command ## score the ear on the sample lines beside a general recogniser
	@command -v flite >/dev/null || { apt-get update -qq && apt-get install -y -qq flite >/dev/null; }
	@[ -x "$(CACHE)/python/bin/python" ] || python3 -m venv "$(CACHE)/python"
	@"$(CACHE)/python/bin/python" -m pip install -q --disable-pip-version-check numpy soundfile pocketsphinx==5.1.1 praatio==6.2.2
	"$(CACHE)/python/bin/python" core/training/hearing_report.py --lipwright target/release/lipwright --samples sample-audio --hand "$(CACHE)/hand-labelled"

screenshot: page test-tools ## take the README's picture again
	cargo run -q -p lipwright-tests --bin screenshot

clean: ## remove what was built (the tool cache stays)
	cargo clean
	rm -rf dist
