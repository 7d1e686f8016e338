# make demo: an answer from a shipped case;  make test: lint, types, all tests;
# make meshes: the plan meshes in meshes/ anew.
# Each sets up .venv from nothing when it is missing or older than pyproject.toml.

PYTHON ?= python3
BIN = .venv/bin

.PHONY: demo test meshes clean

demo: .venv/ready
	$(BIN)/warmstack estimate cases/tall-mould-cured.toml -o tall-mould-cured.results

test: .venv/ready
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	OMP_NUM_THREADS=1 $(BIN)/pytest -q -n 2 --dist loadfile -m "not speed and not long"

test-all: .venv/ready
	OMP_NUM_THREADS=1 $(BIN)/pytest -q -n 2 --dist loadfile -m "not speed"

meshes: .venv/ready
	$(BIN)/python meshes/make.py

.venv/ready: pyproject.toml
	$(PYTHON) -m venv .venv
	$(BIN)/pip install --quiet --disable-pip-version-check -e ".[dev]"
	touch .venv/ready

clean:
	rm -rf .venv *.results
