# Two commands for a new machine: `make demo` and `make test`. See README.md.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
export PYTHONDONTWRITEBYTECODE = 1

.PHONY: demo demo-reset test check bench env env-dev

demo: env
	$(BIN)/python manage.py migrate --verbosity 0
	$(BIN)/python manage.py createcachetable
	$(BIN)/python manage.py make_demo --password aldermere-demo
	$(BIN)/python manage.py serve --bind 127.0.0.1:8000

demo-reset: env
	rm -f var/flueledger.sqlite3 var/flueledger.sqlite3-wal var/flueledger.sqlite3-shm
	$(MAKE) demo

test: env-dev
	$(BIN)/pytest -n auto --dist loadgroup $(ARGS)

check: env-dev
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy .
	$(BIN)/mypy --config-file clients/python/pyproject.toml clients/python/flueledger_client
	$(BIN)/lint-imports
	DJANGO_SETTINGS_MODULE=config.settings.test $(BIN)/python manage.py makemigrations --check --dry-run
	SECRET_KEY=check-only-0123456789abcdefghijklmnopqrstuvwxyzABCDEFGHIJ ALLOWED_HOSTS=example.org \
		DJANGO_SETTINGS_MODULE=config.settings.production $(BIN)/python manage.py check --deploy --fail-level WARNING

bench: env-dev
	$(BIN)/python -m tests.benchmarks

env: $(VENV)/base.stamp
env-dev: $(VENV)/dev.stamp

$(VENV)/base.stamp: requirements/base.txt
	@$(PYTHON) -c 'import sys; sys.exit(not (3, 11) <= sys.version_info < (3, 14))' || \
		{ echo "Flueledger needs Python 3.11, 3.12 or 3.13; $(PYTHON) is another. Try: make PYTHON=python3.12 demo"; exit 1; }
	test -x $(BIN)/python || $(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements/base.txt
	touch $@

$(VENV)/dev.stamp: requirements/dev.txt $(VENV)/base.stamp
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements/dev.txt
	touch $@
