# Evenhand's commands. Every target sets up what it needs in .venv first; nothing has to be installed by hand
# but Python 3.11 or later, pip and make. `make PYTHON=/path/to/python3.12 test` takes another interpreter.
PYTHON ?= python3
BIN := .venv/bin
# More words for the command at hand: make test ARGS="-k mixed -x"
ARGS ?=

export PYTHON
.DEFAULT_GOAL := help
.PHONY: help setup dev demo serve messages screens test lint format bench lock ci clean

help: ## Say what each target does
	@awk -F ':.*## ' '/^[a-z]+:.*## / { printf "  make %-8s %s\n", $$1, $$2 }' Makefile

setup: ## Make .venv with what running and testing need
	@sh scripts/setup.sh base

dev: ## Add the linters and the browser driver to .venv
	@sh scripts/setup.sh dev

demo: setup ## Judge the invented roastery: verdicts on screen, a page, a PDF and a JSON file in out/
	@mkdir -p out
	$(BIN)/evenhand judge demo/season --html out/demo.html --pdf out/demo.pdf --json out/demo.json $(ARGS)

serve: setup ## Open the bench on this machine (ARGS="--host 0.0.0.0" lets the phones in the room in)
	$(BIN)/evenhand serve $(ARGS)

messages: setup ## Collect what can be translated (ARGS="-l de"; needs gettext), and compile what is
	cd src/evenhand && DJANGO_SETTINGS_MODULE=evenhand.bench.settings ../../$(BIN)/python -m django makemessages --no-wrap $(or $(ARGS),--all)
	cd src/evenhand && DJANGO_SETTINGS_MODULE=evenhand.bench.settings ../../$(BIN)/python -m django compilemessages

screens: dev ## Take the pictures of docs/bench.md anew (needs Chromium)
	$(BIN)/python scripts/screenshots.py $(ARGS)

test: setup ## Run all tests (what needs a browser says so where there is none)
	$(BIN)/python -m pytest $(ARGS)

lint: dev ## Check style, types and the import rule between the floors
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports

format: dev ## Put the code into the project's form
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .

bench: setup ## Time Evenhand against reference libraries, both sides in one run
	@set -e; for file in benchmarks/bench_*.py; do echo "== $$file"; OPENBLAS_NUM_THREADS=1 $(BIN)/python "$$file" $(ARGS); done

lock: ## Write the locks anew from pyproject.toml (ARGS=--upgrade for newer versions)
	@sh scripts/lock.sh $(ARGS)

ci: ## Run what the project's checks run, on Debian as root: installs Chromium and more
	@bash .ci/run

clean: ## Remove the environment, the outputs and every cache
	rm -rf .venv .tools out build dist .pytest_cache .mypy_cache .ruff_cache .hypothesis .import_linter_cache
	find . -name __pycache__ -type d -prune -exec rm -rf {} +
