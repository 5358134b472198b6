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

.PHONY: run test page command lint tools test-tools bench hearing-report screenshot clean help

help: ## list the targets
	@grep -hE '^[a-z-]+:.*##' $(MAKEFILE_LIST) | sed -E 's/:.*## /\t/' | expand -t 18

tools: ## install what building the page needs
	@app/setup/wasm-toolchain.sh "$(CACHE)"

test-tools: ## install what the tests need (Chromium and its driver, compilers, simavr, readers, speech)
	@tests/setup/browser.sh
	@tests/setup/controller.sh
	@tests/setup/cxx.sh
	@tests/setup/python.sh "$(CACHE)/readers"
	@tests/setup/human-prompts.sh "$(CACHE)/human-prompts"

page: tools ## build the page into dist/
	@$(WASM_ENV) trunk build --release --offline

command: ## build the command line (target/release/lipwright)
	cargo build --release -p lipwright-core --bin lipwright

run: tools ## build and serve the editor on localhost
	@echo "Lipwright: building, then serving at http://localhost:$(PORT)/"
	@$(WASM_ENV) trunk serve --release --offline --no-autoreload --address 127.0.0.1 --port $(PORT)

lint:
	cargo fmt --all --check
	cargo clippy -q --workspace --all-targets -- -D warnings

test: test-tools page command lint ## run everything
	LIPWRIGHT_CACHE="$(CACHE)" cargo test --workspace

bench: page ## what a minute of dialogue costs, what the page weighs
	cargo bench -q -p lipwright-tests --bench minute

hearing-report: command ## score the ear on the sample lines beside a general recogniser
	@command -v flite >/dev/null || { apt-get update -qq && apt-get install -y -qq flite >/dev/null; }
	@[ -x "$(CACHE)/python/bin/python" ] || python3 -m venv "$(CACHE)/python"
	@"$(CACHE)/python/bin/python" -m pip install -q --disable-pip-version-check numpy soundfile pocketsphinx==5.1.1
	"$(CACHE)/python/bin/python" core/training/hearing_report.py --lipwright target/release/lipwright --samples sample-audio

screenshot: page test-tools ## take the README's picture again
	cargo run -q -p lipwright-tests --bin screenshot

clean: ## remove what was built (the tool cache stays)
	cargo clean
	rm -rf dist
