# Re-runnable studies of the kinetic model, in the tool's environment (./start makes it).
PYTHON ?= .venv/bin/python

.PHONY: calibrate evaluate
calibrate: ## Refit and write src/mustwright/data/kinetics/calibrated.toml
	$(PYTHON) -m calibration.fit

evaluate: ## Judge the fit on what was left out; figures where matplotlib is installed
	$(PYTHON) -m calibration.evaluate
