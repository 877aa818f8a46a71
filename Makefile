# The tasks of the project; continuous integration calls the same ones.
PYTHON ?= python3
VENV   ?= .venv
ifeq ($(OS),Windows_NT)
BIN := $(VENV)/Scripts
else
BIN := $(VENV)/bin
endif
PYTEST_ARGS ?= -n 2
# Its packages would stand in the way of ours; one is enough for every Python.
SERVER := .venv-server

# Where the library meets other packages: reading and writing, systems, units, compiling, drawing,
# the command line, whole runs. What lies between is arithmetic of its own, which no version changes;
# the whole suite holds it on the locked versions.
AT_PACKAGES := $(addprefix tests/test_,units.py plan.py reading.py awkward_layers.py terrain.py frame.py datum.py \
    geojson.py geopackage.py round_trips.py exchange.py calendar.py conform.py record.py processes.py \
    crowns_rays.py kernel.py light.py drawings.py report.py cli.py pipeline.py readme.py sample_data.py \
    geoparquet.py dxf.py openstreetmap.py county.py county_laying.py)

# Tests that need the archive's data, pages and kits; and those of pages, on an installed program.
FROM_ARCHIVE := $(addprefix tests/test_,package.py sample_data.py units.py parameters.py stations.py reference.py own_tests.py architecture.py)
WITH_PROGRAM := $(addprefix tests/test_,readme.py) $(wildcard tests/test_pages.py) -k "commands_run or installed_program"

.PHONY: help at-packages lowest newest demo test lint format package bench reference docs mutants server lock clean

help:              ## list the tasks
	@grep -hE '^[a-z]+:.*##' $(MAKEFILE_LIST) | sed -E 's/:.*## /\t/' | expand -t 12

at-packages:
	@echo $(AT_PACKAGES)

demo: $(VENV)/.run-installed    ## install what a run needs, and design a planting for the sample site
	$(BIN)/screenplan demo --out demo_plan

test: $(VENV)/.test-installed   ## install what the tests need, and run them all
	$(BIN)/python -m pytest $(PYTEST_ARGS)

# Compiled code of other versions stays out of the sources' caches, and warnings of old packages are theirs.
lowest: .venv-lowest/.lowest-installed ## run the tests at other packages on the lowest versions of pyproject.toml (Python 3.11 or 3.12)
	NUMBA_CACHE_DIR=.venv-lowest/numba .venv-lowest/$(notdir $(BIN))/python -m pytest $(PYTEST_ARGS) \
	    -m "not desktop and not browser" -o filterwarnings=default -p no:cacheprovider $(AT_PACKAGES)

newest: .venv-newest/.made      ## run the same tests on the newest versions that there are
	.venv-newest/$(notdir $(BIN))/python -m pip install --quiet --upgrade uv
	.venv-newest/$(notdir $(BIN))/uv pip install --quiet --upgrade --python .venv-newest/$(notdir $(BIN))/python --editable .[test]
	NUMBA_CACHE_DIR=.venv-newest/numba .venv-newest/$(notdir $(BIN))/python -m pytest $(PYTEST_ARGS) \
	    -m "not desktop and not browser" -o filterwarnings=default -p no:cacheprovider $(AT_PACKAGES)

lint: $(VENV)/.test-installed   ## check the code's style and its types
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/python -m mypy

format: $(VENV)/.test-installed ## bring the code into style
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .

package: $(VENV)/.test-installed ## build the source archive and the wheel, and try both from nothing
	rm -rf build/package .venv-wheel
	$(BIN)/python -m hatchling build --target sdist --directory build/package
	tar -xzf build/package/screenplan-*.tar.gz -C build/package
	cd build/package/screenplan-*/ && $(abspath $(BIN))/python -m pytest -q -p no:cacheprovider $(FROM_ARCHIVE)
	cd build/package/screenplan-*/ && $(abspath $(BIN))/python -m hatchling build --target wheel --directory ..
	$(PYTHON) -m venv .venv-wheel
	.venv-wheel/$(notdir $(BIN))/python -m pip install --quiet --require-hashes -r requirements.lock
	.venv-wheel/$(notdir $(BIN))/python -m pip install --quiet --no-deps --no-index build/package/screenplan-*.whl
	.venv-wheel/$(notdir $(BIN))/python -m pip check
	SCREENPLAN=$(abspath .venv-wheel/$(notdir $(BIN))/screenplan) $(BIN)/python -m pytest -q -p no:cacheprovider $(WITH_PROGRAM)

bench: $(VENV)/.test-installed  ## print how fast it is and how good its proposals are (DATA=folder of lots outside the project)
	$(BIN)/python -m tests.benchmarks $(DATA)

reference: $(VENV)/.test-installed ## write the pages of docs/reference/ anew from the code
	$(BIN)/python -m docs.generate

docs: $(VENV)/.test-installed   ## build the reference into docs/_build/html
	$(BIN)/python -m sphinx -q -E -a -W --keep-going -b html docs docs/_build/html

mutants: $(VENV)/.mutants-installed ## change one operator at a time, and count how often tests notice
	$(BIN)/python -m tests.mutants

server: $(SERVER)/.installed    ## install a geoprocessing server in an environment of its own, for its tests

lock:              ## work out the lock files anew from pyproject.toml
	$(PYTHON) -m venv $(VENV)-lock
	$(VENV)-lock/bin/pip install --quiet uv
	$(VENV)-lock/bin/uv pip compile pyproject.toml --universal --python-version 3.11 --generate-hashes \
	    --quiet --custom-compile-command "make lock" --output-file requirements.lock
	$(VENV)-lock/bin/uv pip compile pyproject.toml --extra test --extra trace --extra docs --universal --python-version 3.11 --generate-hashes \
	    --quiet --custom-compile-command "make lock" --output-file requirements-test.lock
	$(VENV)-lock/bin/uv pip compile pyproject.toml --extra test --extra trace --extra docs --resolution lowest-direct --universal --python-version 3.11 --generate-hashes \
	    --quiet --custom-compile-command "make lock" --output-file requirements-lowest.lock
	$(VENV)-lock/bin/uv pip compile pyproject.toml tests/server/requirements.in --constraint requirements.lock --universal \
	    --python-version 3.11 --generate-hashes --quiet --custom-compile-command "make lock" --output-file tests/server/requirements.lock
	$(VENV)-lock/bin/uv pip compile tests/mutants/requirements.in --constraint requirements-test.lock --universal \
	    --python-version 3.11 --generate-hashes --quiet --custom-compile-command "make lock" --output-file tests/mutants/requirements.lock

clean:             ## remove the environments and everything made by them
	rm -rf $(VENV) $(VENV)-* .venv-* build $(SERVER) demo_plan docs/_build .pytest_cache .ruff_cache .mypy_cache .hypothesis

$(VENV)/.made:
	$(PYTHON) -c "import sys; sys.exit(0 if (3, 11) <= sys.version_info < (3, 14) else 'screenplan needs Python 3.11, 3.12 or 3.13; this is ' + sys.version.split()[0] + '. Say which one: make PYTHON=python3.12 ...')"
	$(PYTHON) -m venv $(VENV)
	@touch $@

$(VENV)/.run-installed: requirements.lock pyproject.toml $(VENV)/.made
	$(BIN)/python -m pip install --quiet --require-hashes -r requirements.lock
	$(BIN)/python -m pip install --quiet --no-deps --editable .
	@touch $@

$(VENV)/.test-installed: requirements-test.lock pyproject.toml $(VENV)/.made
	$(BIN)/python -m pip install --quiet --require-hashes -r requirements-test.lock
	$(BIN)/python -m pip install --quiet --no-deps --editable .
	@touch $@ $(VENV)/.run-installed

$(VENV)/.mutants-installed: tests/mutants/requirements.lock $(VENV)/.test-installed
	$(BIN)/python -m pip install --quiet --require-hashes -r tests/mutants/requirements.lock
	@touch $@

.venv-lowest/.made .venv-newest/.made:
	$(PYTHON) -m venv $(@D)
	@touch $@

.venv-lowest/.lowest-installed: requirements-lowest.lock pyproject.toml .venv-lowest/.made
	.venv-lowest/$(notdir $(BIN))/python -m pip install --quiet --require-hashes -r requirements-lowest.lock
	.venv-lowest/$(notdir $(BIN))/python -m pip install --quiet --no-deps --editable .
	@touch $@

$(SERVER)/.installed: tests/server/requirements.lock pyproject.toml
	$(PYTHON) -m venv $(SERVER)
	$(SERVER)/$(notdir $(BIN))/python -m pip install --quiet --require-hashes -r tests/server/requirements.lock
	$(SERVER)/$(notdir $(BIN))/python -m pip install --quiet --no-deps --editable .
	@touch $@
