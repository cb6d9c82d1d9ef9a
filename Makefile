# `make` alone lists the targets. A machine needs python3.11 or later, make and git; everything else
# is installed into .venv, at the versions of constraints.txt.

VENV ?= .venv
BIN := $(VENV)/bin
# Versions with wheels of everything first; any later python3 last.
PYTHON ?= $(firstword $(foreach name,python3.11 python3.12 python3.13 python3,$(shell \
	$(name) -c 'import sys; sys.version_info >= (3, 11) and print("$(name)")' 2>/dev/null)))
WORKERS ?= auto
DEMO_OUT ?= out
SIDES ?= 1000 2000 5000 10000

.DEFAULT_GOAL := help
.PHONY: help demo test long quick lint format bench readers docs site clean

help: ## list the targets
	@grep -hE '^[a-z]+:.*## ' $(MAKEFILE_LIST) | sed -E 's/^([a-z]+):.*## /\1\t/' | expand -t 10

$(BIN)/python:
	@test -n "$(PYTHON)" || { echo "python 3.11 or later is needed; name it with make PYTHON=..."; exit 1; }
	$(PYTHON) -m venv $(VENV)

# A stamp for each set of extras: installed again only when what is asked for has changed.
$(VENV)/.ready: pyproject.toml constraints.txt | $(BIN)/python
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable . --constraint constraints.txt
	@touch $@

$(VENV)/.ready-%: pyproject.toml constraints.txt | $(BIN)/python
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable '.[$*]' --constraint constraints.txt
	@touch $@ $(VENV)/.ready

demo: $(VENV)/.ready ## plan the demonstration property and tell where the plan is
	@mkdir -p $(DEMO_OUT)
	@echo "Planning the demonstration property (the first run also compiles: some seconds more)"
	@$(BIN)/soakline plan fixtures/demo/demo.toml --out $(DEMO_OUT)/demo.gpkg --map $(DEMO_OUT)/demo.png; \
	status=$$?; test $$status -eq 0 -o $$status -eq 3 || exit $$status; \
	echo "The plan is $(DEMO_OUT)/demo.gpkg, a picture of it $(DEMO_OUT)/demo.png"

# A file's tests stay with one worker: the plans that they share are made once.
test: $(VENV)/.ready-tests ## run all tests and doctests
	$(BIN)/python -m pytest -n $(WORKERS) --dist loadfile -m "not long"

long: $(VENV)/.ready-tests ## run what takes minutes and is left out of `make test`: fleets, spoilt files
	$(BIN)/python -m pytest -n $(WORKERS) -m long

quick: $(VENV)/.ready-tests ## run the tests that take under a minute together
	$(BIN)/python -m pytest -n $(WORKERS) -m "not slow and not long" -q

# Types are checked as the tests' extra installs them too: some packages carry their own.
lint: $(VENV)/.ready-lint ## ruff, mypy strict, import contract, spelling
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports
	$(BIN)/codespell

format: $(VENV)/.ready-lint ## mend formatting and what ruff can mend
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .

bench: $(VENV)/.ready-tests ## measure whole runs of 1 to 100 million cells (SIDES=5000: of 25)
	$(BIN)/python bench/bench.py --sides $(SIDES)

readers: ## fetch JavaScript readers that the plan and its styles are held against
	cd tests/outputs/javascript && npm install --no-audit --no-fund --no-package-lock

docs: $(VENV)/.ready ## write the reference pages from the program
	$(BIN)/python docs/make_pages.py

site: $(VENV)/.ready-tests docs ## build the documentation site into out/site
	$(BIN)/mkdocs build --strict --quiet

clean: ## remove what make and the tools made, the environment too
	rm -rf $(VENV) out dist build .mypy_cache .ruff_cache .pytest_cache .hypothesis .import_linter_cache
	find pipeline tests fixtures -name __pycache__ -type d -prune -exec rm -rf {} +
