# Two commands are all the set-up: `make demo` and `make test`. Both make their own environment in .venv.

PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
# pip's notices about itself are noise here
export PIP_DISABLE_PIP_VERSION_CHECK := 1

.DEFAULT_GOAL := help
.PHONY: help demo test lint bench seal clean

help:
	@echo "make demo    make .venv, generate the demo programme, run it, and say which page to open"
	@echo "make test    make .venv and run every test (needs Debian's chromium for the page tests)"
	@echo "make lint    check style"
	@echo "make bench   run the benchmarks and print their tables"
	@echo "make seal    make dist/evenbeam-seal.pyz, the one file that a site seals with"
	@echo "make clean   remove .venv and the demo"

$(VENV)/run-time: pyproject.toml constraints.txt
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || \
	  { echo "evenbeam needs Python 3.11 or later; set PYTHON=… to one"; exit 2; }
	@test -x $(BIN)/python || $(PYTHON) -m venv $(VENV)
	@echo "Installing pinned versions into $(VENV) (a minute or two, once) …"
	@$(BIN)/pip install --quiet --constraint constraints.txt --editable .
	@touch $@

$(VENV)/tests: $(VENV)/run-time
	@echo "Installing what the tests need …"
	@$(BIN)/pip install --quiet --constraint constraints.txt --editable '.[test]'
	@touch $@

demo: $(VENV)/run-time
	@$(BIN)/evenbeam demo

test: $(VENV)/tests
	@$(BIN)/ruff check .
	@$(BIN)/python -m pytest -n auto

lint: $(VENV)/tests
	@$(BIN)/ruff check .

bench: $(VENV)/tests
	@$(BIN)/python tests/benchmarks/check_accuracy.py
	@$(BIN)/python tests/benchmarks/curve_speed.py
	@$(BIN)/python tests/benchmarks/run_speed.py --readings 100000 1000000
	@$(BIN)/python tests/benchmarks/small_files.py
	@$(BIN)/python tests/benchmarks/publishing_speed.py
	@$(BIN)/python tests/benchmarks/results_speed.py after --readings 100000 1000000
	@$(BIN)/python tests/benchmarks/site_flag_simulation.py
	@$(BIN)/python tests/benchmarks/coverage_of_proportions.py
	@$(BIN)/python tests/benchmarks/coverage_of_standardised.py
	@$(BIN)/python tests/benchmarks/coverage_of_percentiles.py
	@$(BIN)/python tests/benchmarks/coverage_of_sites.py
	@$(BIN)/python tests/benchmarks/coverage_of_trends.py
	@$(BIN)/python tests/benchmarks/coverage_of_curves.py
	@$(BIN)/python tests/benchmarks/coverage_of_quantile_curves.py
	@$(BIN)/python tests/benchmarks/recovery_of_curves.py
	@$(BIN)/python tests/benchmarks/recovery_page.py
	@$(BIN)/python tests/benchmarks/device_operating_curve.py
	@$(BIN)/python tests/benchmarks/page_weight.py
	@$(BIN)/python tests/benchmarks/identifier_detection.py
	@$(BIN)/python tests/benchmarks/audit_random_releases.py
	@$(BIN)/python tests/benchmarks/suppression.py
	@$(BIN)/python tests/benchmarks/outcome_recovery.py
	@$(BIN)/python tests/benchmarks/cluster_speed.py
	@$(BIN)/python tests/benchmarks/hostile_input.py
	@$(BIN)/python tests/benchmarks/killed_runs.py

# Apart from .venv: a site needs a twentieth of what the pipeline does.
seal:
	@$(PYTHON) -m pip install --quiet --upgrade --target build/seal --constraint constraints.txt openpyxl
	@PYTHONPATH=build/seal $(PYTHON) -m pipeline.seal.one_file dist/evenbeam-seal.pyz

clean:
	rm -rf $(VENV) demo build/seal dist/evenbeam-seal.pyz
