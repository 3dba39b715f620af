# One command for each thing; both make their own environment in .venv.
PYTHON ?= python3
BIN := .venv/bin
# Each program that a test starts would compile everything anew.
unexport PYTHONDONTWRITEBYTECODE

.PHONY: demo test lint compiled bench clean

demo: .venv/ready
	$(BIN)/gaugewright demo

test: .venv/ready-dev
	@$(MAKE) --no-print-directory -j2 lint compiled
	$(BIN)/python -m pytest -n 4 --dist worksteal

lint: .venv/ready-dev
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/mypy
	$(BIN)/lint-imports

compiled: .venv/ready-dev
	$(BIN)/python -m gaugewright.testing.compiling
	@# Each worker would make the tests' bytecode anew; what is wrong with them, the run itself says.
	-@$(BIN)/python -m pytest --collect-only -q -n 0 >/dev/null

bench: .venv/ready-dev
	$(BIN)/pip install -q -e '.[bench]'
	$(BIN)/python -m benchmarks

.venv/made:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || { echo "Python 3.11 or newer is needed"; exit 1; }
	$(PYTHON) -m venv .venv || { echo "On Debian: apt-get install python3-venv"; exit 1; }
	@touch $@

.venv/ready: pyproject.toml | .venv/made
	$(BIN)/python -m pip install -q -e .
	@touch $@

.venv/ready-dev: pyproject.toml | .venv/made
	$(BIN)/python -m pip install -q --no-compile -e '.[dev]'
	@touch .venv/ready $@

clean:
	rm -rf .venv
