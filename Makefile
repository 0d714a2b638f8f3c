# Two commands set everything up: `make demo` and `make test`. The others are for contributors.
PYTHON ?= python3
VENV ?= .venv
BIN := $(VENV)/bin
COMPILED ?= $(VENV)-compiled

.PHONY: demo test compiled lint format types bench fuzz soak lock clean

demo: $(VENV)/.installed
	$(BIN)/plexor demo --out demo-output

test: $(VENV)/.installed-test
	$(BIN)/python -m pytest -n auto --dist loadfile --no-loadscope-reorder $(PYTEST_ARGS)

# plexor with its reader as machine code, in an environment of its own, for many notes: takes minutes and a C compiler.
compiled: $(COMPILED)/.installed
	@echo "$(COMPILED)/bin/plexor is plexor with a compiled reader; its wheel is in $(COMPILED)/dist"

lint: $(VENV)/.installed-test
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .

types: $(VENV)/.installed-test
	$(BIN)/mypy

format: $(VENV)/.installed-test
	$(BIN)/ruff format .
	$(BIN)/ruff check --fix .

bench: $(VENV)/.installed-test
	PLEXOR_COMPILED=$(wildcard $(COMPILED)/bin/python) $(BIN)/python tests/benchmarks/run.py

# Damaged input of every kind, at random and as often again as FUZZ says: minutes. Longer: `make fuzz FUZZ=200`.
FUZZ ?= 20
fuzz: $(VENV)/.installed-test
	PLEXOR_FUZZ=$(FUZZ) $(BIN)/python -m pytest tests/fuzzing $(PYTEST_ARGS)

# A million notes loaded, and loaded again under random kills: hours. Fewer: `make soak SOAK="20000 0.15 9"`.
SOAK ?= 1000000 0.15 12
soak: $(VENV)/.installed-test
	$(BIN)/python tests/soak/load_many_notes.py $(SOAK)

$(VENV)/bin/python:
	$(PYTHON) -c 'import sys; assert sys.version_info >= (3, 11), "plexor needs Python 3.11 or newer"'
	$(PYTHON) -m venv $(VENV)

$(VENV)/.installed: $(VENV)/bin/python requirements.lock pyproject.toml
	$(BIN)/python -m pip install --quiet --require-hashes -r requirements.lock
	$(BIN)/python -m pip install --quiet --no-deps --no-build-isolation --editable .
	@touch $@

$(VENV)/.installed-test: $(VENV)/.installed requirements-test.lock
	$(BIN)/python -m pip install --quiet --require-hashes -r requirements-test.lock
	@touch $@

# Built from an unpacked sdist, so that no machine code is left beside the sources, where it would hide them.
$(COMPILED)/.installed: $(VENV)/.installed-test $(wildcard converter/*.py converter/*/*.py converter/*/*/*.py)
	rm -rf $(COMPILED)
	$(PYTHON) -m venv $(COMPILED)
	$(BIN)/python -m hatchling build --target sdist --directory $(COMPILED)/dist > $(COMPILED)/build.log
	HATCH_BUILD_HOOK_ENABLE_MYPYC=1 $(BIN)/python -m pip wheel --quiet --no-deps --no-build-isolation \
	  --wheel-dir $(COMPILED)/dist $(COMPILED)/dist/*.tar.gz
	$(COMPILED)/bin/python -m pip install --quiet --require-hashes -r requirements.lock
	$(COMPILED)/bin/python -m pip install --quiet --no-deps $(COMPILED)/dist/*.whl
	@touch $@

# Pins every package, with hashes and without the address of any index.
lock:
	$(PYTHON) -m pip install --quiet uv
	printf 'hatchling>=1.27\neditables>=0.5\n' | $(PYTHON) -m uv pip compile pyproject.toml - \
	  --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-header --no-annotate \
	  --quiet --output-file requirements.lock
	$(PYTHON) -m uv pip compile pyproject.toml --group test --constraint requirements.lock \
	  --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-header --no-annotate \
	  --quiet --output-file requirements-test.lock
	$(PYTHON) -m uv pip compile --group pyproject.toml:spark --constraint requirements-test.lock \
	  --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-header --no-annotate \
	  --quiet --output-file requirements-spark.lock

clean:
	rm -rf $(VENV) $(COMPILED) demo-output dist .parts
