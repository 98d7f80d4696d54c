# `make demo` and `make test` need only Python 3.11 or newer with venv; each makes the environment.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin

.PHONY: demo test test-peers docs lint check clean

demo: $(VENV)/.run
	$(BIN)/infantmon demo --out out/demo

test: $(VENV)/.dev
	$(BIN)/python -m pytest -n 2 -m "not peers"

# neurokit2 does not take the newest pandas, so it and the other peers live apart.
test-peers: $(VENV)-peers/.ready
	$(VENV)-peers/bin/python -m pytest -m peers tests/test_second_source.py tests/test_lab_streaming_layer.py

docs: $(VENV)/.docs
	$(BIN)/sphinx-build -q -n -W --keep-going -b html docs docs/_build/html
	$(BIN)/python docs/scripts/check_links.py docs/_build/html

lint: $(VENV)/.dev
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports
	$(BIN)/codespell infantmon tests examples benchmarks docs README.md DEVELOPERS.md CHANGELOG.md

$(VENV)/bin/python:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null || { \
	  echo "infantmon needs Python 3.11 or newer as '$(PYTHON)': install it, or say make PYTHON=python3.x" >&2; exit 1; }
	@$(PYTHON) -c 'import venv, ensurepip' 2>/dev/null || { \
	  echo "Python's venv module is missing: install it (on Debian: apt-get install python3-venv)" >&2; exit 1; }
	$(PYTHON) -m venv $(VENV)

$(VENV)/.run: $(VENV)/bin/python pyproject.toml
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable .
	@touch $@

$(VENV)/.dev: $(VENV)/.run
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --upgrade "pip>=25.1"
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --group dev
	@touch $@

$(VENV)/.docs: $(VENV)/.dev
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --group docs
	@touch $@

$(VENV)-peers/.ready: $(VENV)/bin/python pyproject.toml
	$(PYTHON) -m venv $(VENV)-peers
	$(VENV)-peers/bin/python -m pip install --quiet --disable-pip-version-check --upgrade "pip>=25.1"
	$(VENV)-peers/bin/python -m pip install --quiet --disable-pip-version-check --editable . --group test --group bench
	@touch $@

clean:
	rm -rf $(VENV) $(VENV)-peers out dist build .pytest_cache .mypy_cache .ruff_cache .hypothesis
