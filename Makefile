# The four things one does here. One profile (release) for everything: the dependencies are then
# compiled once, and the FFTs are unusable without optimisation.

.DELETE_ON_ERROR:
.PHONY: demo build test format lint document lint-api lint-python test-rust test-python \
	test-python-client test-python-client-oldest \
	bench kill-loop soak build-needs test-needs

BUILD_PACKAGES = gcc libc6-dev pkg-config libasound2-dev
TEST_PACKAGES = jackd2 openssl strace python3-venv chromium
CARGO = cargo
VENV = target/venv
CLIENT_VENV = target/client-venv
OLDEST_VENV = target/oldest-client-venv
WHEELS = target/wheels
CLIENT_SOURCES = $(wildcard clients/python/*.* clients/python/src/goodwire/*.py proto/goodwire/v1/*.proto)
AXE = target/axe
AXE_VERSION = 4.14.1
PROMETHEUS = target/prometheus
NODE = target/node
# Files of Python tests on all cores; each process has daemons of its own.
AT_ONCE = --numprocesses auto --dist loadfile
COUNT = 1000
HOURS = 24

## Builds it, then commissioning day and three nights of a fictional venue on the simulated rig.
demo: build-needs
	$(CARGO) build --release --locked --workspace \
		--exclude goodwire-tests --exclude goodwire-fault-tests
	target/release/goodwire demo

build: build-needs
	$(CARGO) build --release --locked --workspace

## Everything that CI checks. Serial: the tests with a JACK server run after all builds.
test: build-needs test-needs
	$(MAKE) format
	$(MAKE) lint-api
	$(MAKE) lint
	$(MAKE) document
	$(MAKE) test-rust
	$(MAKE) lint-python
	$(MAKE) test-python
	$(MAKE) test-python-client
	$(MAKE) test-python-client-oldest

format:
	$(CARGO) fmt --all --check
	@echo "format: clean"

lint:
	$(CARGO) clippy --release --locked --workspace --all-targets -- -D warnings
	@echo "lint: clean"

document:
	RUSTDOCFLAGS="-D warnings" $(CARGO) doc --release --locked --workspace --no-deps
	@echo "documentation: clean"

lint-api: $(VENV)/installed
	$(VENV)/bin/buf lint
	@echo "API lint: clean"

# `cargo test` alone builds neither the daemon's binary nor the plugins for a test of another package.
test-rust:
	$(CARGO) build --release --locked --workspace
	$(CARGO) test --release --locked --workspace --no-fail-fast

# The types as they are installed: mypy strictly, pyright for the oldest Python that the package runs on.
lint-python: $(CLIENT_VENV)/built
	$(CLIENT_VENV)/bin/twine check --strict $(WHEELS)/*
	$(CLIENT_VENV)/bin/mypy --config-file clients/python/pyproject.toml --package goodwire
	@if command -v node >/dev/null; then \
		$(CLIENT_VENV)/bin/pyright --pythonpath $(CLIENT_VENV)/bin/python --pythonversion 3.10 \
			$(CLIENT_VENV)/lib/python3*/site-packages/goodwire/*.py; \
	else echo "SKIPPED: no node here, and pyright would fetch one from the network"; fi
	@echo "Python lint: clean"

test-python: $(VENV)/installed $(AXE) $(PROMETHEUS) $(NODE)
	$(VENV)/bin/python -m pytest $(AT_ONCE) tests/reference tests/python

# Apart, because `tests/python` makes a package of the same name from the proto files.
test-python-client: $(CLIENT_VENV)/built
	$(CLIENT_VENV)/bin/python -m pytest $(AT_ONCE) tests/python_client

# On the oldest of everything that it says it runs on.
test-python-client-oldest: $(OLDEST_VENV)/installed
	$(OLDEST_VENV)/bin/python -m pytest $(addprefix tests/python_client/test_,every_method.py errors.py same_json.py)

## How fast it is: the analyses alone, and `goodwire analyse` as a whole beside plain SciPy scripts.
bench: $(VENV)/installed
	$(CARGO) bench --workspace
	$(CARGO) build --release --locked --workspace
	$(VENV)/bin/python tests/bench/side_by_side.py

## Kills the daemon with SIGKILL at random instants, COUNT times, and counts told results that were lost.
kill-loop: build
	GOODWIRE_KILLS=$(COUNT) $(CARGO) test --release --locked --package goodwire-tests --test end_to_end \
		killed_at_random -- --nocapture

## Watches four simulated links for HOURS simulated hours and holds every gap against what was made.
soak: build
	GOODWIRE_SOAK_HOURS=$(HOURS) $(CARGO) test --release --locked --package goodwire-tests --test soak \
		-- --nocapture

build-needs:
	@.ci/install $(BUILD_PACKAGES)

test-needs:
	@.ci/install $(TEST_PACKAGES)

# What looks for barriers in the report. npm is no Debian package that is worth its size for this:
# where it is not installed, the test that needs the checker says SKIPPED.
$(AXE):
	@mkdir -p $@
	@if command -v npm >/dev/null; then cd $@ \
		&& npm pack --silent axe-core@$(AXE_VERSION) >/dev/null && tar -xzf axe-core-*.tgz; fi

# What the Node client stands on, as its lock file says. As above where there is no npm.
$(NODE): clients/node/package-lock.json
	@mkdir -p $@
	@if command -v npm >/dev/null; then cp clients/node/package*.json $@ \
		&& cd $@ && npm ci --silent --no-audit --no-fund; fi
	@touch $@

# `promtool`, which checks metrics and alert rules. The package is only unpacked: installed, it would
# start a server. Where it cannot be had, the tests that need it say SKIPPED.
$(PROMETHEUS):
	@mkdir -p $@
	@if command -v apt-get >/dev/null; then cd $@ \
		&& { apt-get download -qq prometheus >/dev/null 2>&1 && dpkg-deb -x prometheus_*.deb .; } || true; fi

$(VENV)/installed: tests/python/requirements.txt
	@echo "installing Python packages into $(VENV):" && grep -v '^#' $<
	python3 -m venv $(VENV)
	$(VENV)/bin/pip install --quiet --disable-pip-version-check --requirement $<
	@touch $@

# The client with what it is tested with.
$(CLIENT_VENV)/installed: tests/python_client/requirements.txt
	@echo "installing Python packages into $(CLIENT_VENV):" && grep -v '^#' $<
	python3 -m venv $(CLIENT_VENV)
	$(CLIENT_VENV)/bin/pip install --quiet --disable-pip-version-check --requirement $<
	@touch $@

# The source distribution, and the wheel that is built from it.
$(CLIENT_VENV)/built: $(CLIENT_VENV)/installed $(CLIENT_SOURCES)
	rm -rf $(WHEELS)
	$(CLIENT_VENV)/bin/python -m build --outdir $(WHEELS) clients/python >$(CLIENT_VENV)/build.log \
		|| { cat $(CLIENT_VENV)/build.log; exit 1; }
	rm -rf clients/python/src/goodwire.egg-info
	$(CLIENT_VENV)/bin/pip install --quiet --disable-pip-version-check --no-deps --force-reinstall $(WHEELS)/*.whl
	@touch $@

$(OLDEST_VENV)/installed: tests/python_client/oldest.txt $(CLIENT_VENV)/built
	@echo "installing Python packages into $(OLDEST_VENV):" && grep -v '^#' $<
	python3 -m venv $(OLDEST_VENV)
	$(OLDEST_VENV)/bin/pip install --quiet --disable-pip-version-check --requirement $<
	$(OLDEST_VENV)/bin/pip install --quiet --disable-pip-version-check --no-deps --force-reinstall $(WHEELS)/*.whl
	@touch $@
