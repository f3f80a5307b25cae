# Every command of the project. `make` alone lists them.
#
# A fresh machine needs python3 (3.11 or newer, with pip), make and nothing else.
# On Windows and macOS: install `uv` by hand, then run the same commands (docs/how-to/set-up.md).

PYTHON   ?= python3
UV_PIN   := uv==0.13.8
UV       := .tools/bin/uv
BIN      := .venv/bin
DEMO     := demo/six-in-line
OUT      := demo-report
PICTURES := screens
LOCALE   := src/nozzlewright/edge/web/locale
SEEN_BY  := chromium fonts-dejavu-core libatomic1

export UV_PYTHON_DOWNLOADS := never
# A venv that the caller happens to have on must not be written into.
unexport VIRTUAL_ENV

.PHONY: list demo test check fix bench cover docs screens browser texts vendor lock clean
.DEFAULT_GOAL := list

list:  ## List the commands
	@grep -hE '^[a-z]+:.*##' $(MAKEFILE_LIST) | sed -E 's/:.*## /\t/' | expand -t 12

demo: .venv/run.stamp  ## Judge the demo set, write its report, then serve the demo workshop
	$(BIN)/nozzlewright judge $(DEMO) --report $(OUT)
	@# Without a terminal nobody could end it: the report is all then.
	@if [ -t 1 ]; then $(BIN)/nozzlewright demo; \
	else echo "Not at a terminal: $(BIN)/nozzlewright demo serves the demo workshop."; fi

test: .venv/dev.stamp browser  ## Install what the tests need, then run every check and every test
	$(MAKE) --no-print-directory check
	$(BIN)/pytest -n auto --dist worksteal

check: .venv/dev.stamp  ## Lint, formatting, types and import contracts
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports --no-cache

fix: .venv/dev.stamp  ## Mend what the linter can mend, and format
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .

bench: .venv/dev.stamp  ## Print every ratio of benchmarks/
	$(BIN)/python benchmarks/all.py

cover: .venv/dev.stamp browser  ## Say which lines and branches no test runs
	$(BIN)/coverage run -m pytest
	$(BIN)/coverage report --skip-covered --show-missing

docs: .venv/run.stamp  ## Draw the pictures of the docs and write the tutorial's output anew
	$(BIN)/nozzlewright judge $(DEMO) --report $(OUT) --date 2026-01-20 >/dev/null
	$(BIN)/nozzlewright read $(DEMO)/recordings/2-found.parquet --plot docs/images/trace.png >/dev/null
	$(BIN)/python docs/images/page.py $(OUT)/report.pdf 1 docs/images/report-set.png
	$(BIN)/python docs/images/page.py $(OUT)/report.pdf 3 docs/images/report-injector.png
	$(BIN)/python docs/console.py

screens: .venv/dev.stamp browser  ## Take pictures of every page of the demo workshop, and those of the docs
	$(BIN)/python docs/images/screens.py $(PICTURES)

browser:  ## Install Debian's packages of the browser that tests and pictures need, or name them
	@missing=; \
	for one in $(SEEN_BY); do \
	    dpkg-query -W -f '$${Status}' $$one 2>/dev/null | grep -q 'ok installed' || missing="$$missing $$one"; \
	done; \
	if [ -z "$$missing" ]; then exit 0; fi; \
	if [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null; then \
	    echo "Installing with apt-get:$$missing"; \
	    apt-get update -qq && apt-get install -y -qq --no-install-recommends $$missing; \
	else \
	    echo "The tests in a real browser need Debian's packages$$missing (/usr/bin/chromium)."; \
	    echo "Install them as root: apt-get install$$missing"; \
	    exit 1; \
	fi

texts: .venv/run.stamp  ## Take new texts of the screens into the catalogues, and compile them
	$(BIN)/pybabel -q extract -F $(LOCALE)/babel.cfg -k N_ -k say --no-location --sort-output \
	    --no-wrap -o .tools/texts.pot src/nozzlewright
	$(BIN)/pybabel -q update -D nozzlewright -d $(LOCALE) -i .tools/texts.pot \
	    --no-fuzzy-matching --no-wrap --ignore-pot-creation-date
	$(BIN)/pybabel -q compile -D nozzlewright -d $(LOCALE)

vendor:  ## Fetch and copy anew what the screens carry from elsewhere (needs npm; users do not)
	cd requirements/vendor && npm ci --ignore-scripts --no-audit --no-fund
	$(PYTHON) requirements/vendor/copy.py

lock: $(UV)  ## Pin the requirement sets anew (hashes, no registry addresses)
	$(UV) pip compile -q pyproject.toml --universal --generate-hashes --no-emit-index-url \
	    --no-header --upgrade --python $(PYTHON) -o requirements/run.txt
	$(UV) pip compile -q pyproject.toml --group dev --universal --generate-hashes --no-emit-index-url \
	    --no-header --python $(PYTHON) -c requirements/run.txt -o requirements/dev.txt

clean:  ## Remove everything that these commands made
	rm -rf .tools .venv $(OUT) $(PICTURES) .pytest_cache .mypy_cache .ruff_cache .hypothesis .coverage

$(UV):
	$(PYTHON) -m pip install --quiet --disable-pip-version-check --root-user-action ignore \
	    --target .tools '$(UV_PIN)'

.venv/bin/python: | $(UV)
	$(UV) venv --quiet --python $(PYTHON) .venv

# One set at a time: the test set holds the run set, so `demo` after `test` must not shrink it.
.venv/run.stamp: requirements/run.txt pyproject.toml | .venv/bin/python
	@echo "Installing the pinned packages into .venv (a minute or two on a slow line)"
	$(UV) pip sync --quiet --require-hashes --python $(BIN)/python \
	    requirements/$(if $(wildcard .venv/dev.stamp),dev,run).txt
	$(UV) pip install --quiet --no-deps --python $(BIN)/python -e .
	touch $@

.venv/dev.stamp: requirements/dev.txt pyproject.toml | .venv/bin/python
	@echo "Installing the pinned packages and those of the tests into .venv (minutes on a slow line)"
	$(UV) pip sync --quiet --require-hashes --python $(BIN)/python requirements/dev.txt
	$(UV) pip install --quiet --no-deps --python $(BIN)/python -e .
	touch $@ .venv/run.stamp
