# Two commands matter: `make demo` and `make test`. Both set everything up first.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
STAMP := $(VENV)/.installed

.PHONY: demo test quick bench lint clean browser docs

demo: $(STAMP)
	$(BIN)/trayside demo

test: $(STAMP) browser
	$(BIN)/ruff check src tests demo benchmarks
	$(BIN)/python -m pytest

# On every save: everything that needs neither a browser nor minutes.
quick: $(STAMP)
	$(BIN)/python -m pytest -m "not slow and not browser"

bench: $(STAMP)
	$(BIN)/python -m benchmarks

lint: $(STAMP)
	$(BIN)/ruff check src tests demo benchmarks

# The pages that are generated from the code: docs/formats.md, docs/sources.md, docs/findings.md.
docs: $(STAMP)
	$(BIN)/python -m trayside.bootstrap docs

$(STAMP): requirements.lock pyproject.toml
	test -x $(BIN)/python || $(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements.lock
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation --editable .
	touch $(STAMP)

# The browser tests drive a real Chromium; on Debian it is installed when missing.
browser:
	@command -v chromium >/dev/null 2>&1 || { \
	  echo "Chromium is missing: installing Debian's package"; \
	  if [ "$$(id -u)" = 0 ]; then SUDO=; else SUDO=sudo; fi; \
	  $$SUDO apt-get update -qq && DEBIAN_FRONTEND=noninteractive $$SUDO apt-get install -y -qq chromium; }

clean:
	rm -rf $(VENV) build .ruff_cache .hypothesis
