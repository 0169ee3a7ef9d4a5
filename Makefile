# make look and make test are all a newcomer needs; both set everything up on their own.
.PHONY: help look serve test lint bench figures lock clean
PYTHON ?=
export PYTHON
BIN := .venv/bin/python -m
WORKERS ?= 2

help:
	@echo "make look     assess the pieces in sample_images/ and write the evidence to out/"
	@echo "make serve    open the second opinion in a browser, on this machine"
	@echo "make test     lint, types, walls between rooms, tests"
	@echo "make bench    time, memory, install weight, accuracy of the grain field and cost of repeats, in one table"
	@echo "make figures  write the figure blocks of the documents anew from the commands that they name"
	@echo "make lock     pin all dependencies anew (needs a package index)"
	@echo "make clean    remove the environment, caches and out/"

look:
	@sh make/environment.sh base
	@sh make/look.sh

serve:
	@sh make/environment.sh base
	@.venv/bin/grainassay serve

lint:
	@sh make/environment.sh dev
	.venv/bin/ruff check .
	.venv/bin/mypy
	.venv/bin/lint-imports --no-logo

# One thread each, so that the workers do not fight over the cores.
test: export OMP_NUM_THREADS ?= 1
test: lint
	$(BIN) pytest -n $(WORKERS) --dist loadfile

bench:
	@sh make/environment.sh dev
	@$(BIN) benchmarks

figures:
	@sh make/environment.sh dev
	@$(BIN) make.reprint --write

lock:
	@sh make/environment.sh dev
	@sh make/lock.sh

clean:
	rm -rf .venv out .pytest_cache .mypy_cache .ruff_cache .import_linter_cache .hypothesis grainassay.egg-info
	find . -name __pycache__ -type d -prune -exec rm -rf {} +
