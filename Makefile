# Two commands for a stranger: `make demo` and `make test`. The rest is for people who change the code.
# Everything runs in ./.venv, made on first use; nothing is installed outside it.

PYTHON ?= python3
VENV   := .venv
BIN    := $(VENV)/bin
READY  := $(VENV)/.ready

.DEFAULT_GOAL := help
.PHONY: help demo test check bench soak screenshots docs lock clean

help:
	@echo "make demo    set up, then run the whole job on the simulated car"
	@echo "make test    set up, then run the tests (under six minutes on two cores)"
	@echo "make check   style, types, floors, docs that must match the code"
	@echo "make bench   speed against the limits and peers of the plan"
	@echo "make soak    long panels and many seeds"
	@echo "make screenshots   every page, phone and desktop, day and night, into out/screenshots"
	@echo "make docs    write the generated reference pages anew"
	@echo "make lock    write requirements/ anew from pip's own report"

$(READY): pyproject.toml requirements/lock.txt requirements/source.txt tools/setup.py
	@$(PYTHON) tools/setup.py $(VENV)

demo: $(READY)
	@$(BIN)/tickover demo

test: $(READY)
	@$(BIN)/python -m pytest -n 2 --dist worksteal -q -m "not soak"

check: $(READY)
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/mypy
	$(BIN)/lint-imports
	$(BIN)/python -m tools.reference --check

bench: $(READY)
	@$(BIN)/python -m bench

soak: $(READY)
	@$(BIN)/python -m pytest -n 2 --dist worksteal -q -m soak

screenshots: $(READY)
	@$(BIN)/python -m tools.screenshots

docs: $(READY)
	@$(BIN)/python -m tools.reference

lock:
	@$(BIN)/python -m tools.lock

clean:
	rm -rf $(VENV) build dist out tickover-demo .pytest_cache .mypy_cache .ruff_cache .hypothesis
