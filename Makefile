# The few commands a user or contributor types. Everything lives in .venv; nothing else is touched.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin

.PHONY: demo test bench mutants lint emulate firmware clean
.DEFAULT_GOAL := demo

demo: $(VENV)/.installed
	$(BIN)/bladerig demo
	@echo
	@echo "From here on type $(BIN)/bladerig where the pages say bladerig; or once in this terminal:"
	@echo "  . $(BIN)/activate"

test: $(VENV)/.installed
	sh tests/tools.sh
	$(BIN)/python -m pytest -n auto --dist worksteal

bench: $(VENV)/.installed
	sh tests/tools.sh
	$(BIN)/python -m tests.bench

# Deliberate faults, one at a time, in a copy: does a test notice each? About 20 minutes.
mutants: $(VENV)/.installed
	sh tests/tools.sh
	$(BIN)/python -m tests.mutants

lint: $(VENV)/.installed
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy

emulate: $(VENV)/.installed
	sh tests/tools.sh
	$(BIN)/python -m tests.emulator

firmware:
	$(MAKE) -C firmware
	cp firmware/build/bladerig.hex rig/board/firmware/bladerig-atmega328p.hex

# Exactly the versions of requirements.txt, each checked against its hash.
$(VENV)/.installed: requirements.txt pyproject.toml
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || \
	  { echo "Python 3.11 or later is needed; name one with: make PYTHON=python3.12 ..." >&2; exit 2; }
	@$(PYTHON) -m venv $(VENV) || \
	  { echo "Python's venv module is missing; on Debian or Ubuntu: sudo apt install python3-venv" >&2; exit 2; }
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements.txt
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation -e .
	@touch $@

clean:
	rm -rf $(VENV) demo-out build dist firmware/build
