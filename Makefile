# SPDX-License-Identifier: MIT
# make demo   creates .venv, runs a library case, and prints the path of its report
# make demo-scan   invents a scan of a library case and compares it with its run (half a minute)
# make demo-batch  invents scans of several parts and analyses their spread (a minute)
# make test   creates .venv with the development tools, and runs the tests
# Choose another interpreter with `make demo PY=/path/to/python3`, another case with `make demo CASE=my_case.toml`.

PY ?= $(shell sh containers/find_python.sh)
CASE ?= cuff
VENV := .venv
PYTHON := $(VENV)/bin/python
LOCK := uv export --quiet --format requirements-txt --no-header --no-annotate --no-emit-project --no-default-groups --group build

# Bytecode of what is imported is kept, even where the environment forbids it: tests start hundreds of processes.
export PYTHONDONTWRITEBYTECODE :=

.NOTPARALLEL:
.PHONY: demo demo-scan demo-batch test test-long lint bench locks environment environment-dev preflight clean

demo: environment
	$(VENV)/bin/annelid run $(CASE)

demo-scan: environment
	$(VENV)/bin/annelid run tapered_tube runs/tapered_tube --no-report
	$(VENV)/bin/annelid invent-scan runs/tapered_tube --out invented_part.ply
	$(VENV)/bin/annelid compare runs/tapered_tube invented_part.ply --unit mm

demo-batch: environment
	$(VENV)/bin/annelid run tapered_tube runs/tapered_tube --no-report
	$(VENV)/bin/annelid study tube_tolerance --out studies/tube_tolerance
	mkdir -p invented_batch && echo scan,part,repeat > invented_batch/scans.csv
	part=0; for run in studies/tube_tolerance/runs/*; do part=$$((part + 1)); for repeat in 1 2; do \
	    scan=invented_$${part}_$$repeat.ply; \
	    $(VENV)/bin/annelid invent-scan $$run --seed $$part$$repeat --out invented_batch/$$scan || exit 1; \
	    echo $$scan,tube $$part,$$repeat >> invented_batch/scans.csv; done; done
	$(VENV)/bin/annelid repeatability runs/tapered_tube --list invented_batch/scans.csv --unit mm --study studies/tube_tolerance

test: environment-dev
	$(PYTHON) -m pytest -n $(shell expr $$(nproc) + 1) --dist loadfile --no-loadscope-reorder

test-long: environment-dev
	$(PYTHON) -m pytest -m long

lint: environment-dev
	$(VENV)/bin/ruff check .
	$(VENV)/bin/ruff format --check .
	$(VENV)/bin/mypy

bench: $(VENV)/.requirements-bench
	$(PYTHON) -m benchmarks

environment: $(VENV)/.requirements
environment-dev: $(VENV)/.requirements-dev

# There is one stamp for each lock file; if a lock file or pyproject.toml changes, the packages are installed again.
$(VENV)/.%: containers/%.txt pyproject.toml
	@$(MAKE) --no-print-directory preflight PY="$(PY)"
	test -x $(PYTHON) || "$(PY)" -m venv $(VENV)
	$(PYTHON) -m pip install --quiet --disable-pip-version-check --no-compile --require-hashes -r $<
	$(PYTHON) -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation --editable .
	@touch $@

preflight:
	@test -n "$(PY)" || { echo "Python 3.12 or newer is missing. On Debian 13, as root: apt-get update && apt-get install -y --no-install-recommends python3 python3-venv" >&2; exit 1; }
	@"$(PY)" -I cases/run/preflight.py

# This needs uv. It works on a copy, so that no uv.lock is left here, which would contain host names.
locks:
	copy=$$(mktemp -d) && cp pyproject.toml $$copy/ && \
	$(LOCK) --project $$copy > containers/requirements.txt && \
	$(LOCK) --project $$copy --group dev > containers/requirements-dev.txt && \
	$(LOCK) --project $$copy --group dev --group bench > containers/requirements-bench.txt && \
	rm -r $$copy

clean:
	rm -rf $(VENV) .mypy_cache .ruff_cache .pytest_cache *.egg-info
