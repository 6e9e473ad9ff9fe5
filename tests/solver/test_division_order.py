"""A division model is the same in every process: Python gives sets of names another order in each."""

from __future__ import annotations

import os
import subprocess
import sys

MODEL = """
from benchmarks.mixes import named
from trayopt import load_job
from trayopt.solver.bounds.division import Divider
from trayopt.solver.model.cp_sat import CpModel
model = CpModel()
Divider(load_job(named("mix-1201-018"))).post(model, alike=False)
print(model.proto)
"""


def model_text(seed: int) -> str:
    """Give the division model of a job of several trunks, made where Python mixes names up by this seed."""
    run = [sys.executable, "-c", MODEL]
    return subprocess.run(
        run, env={**os.environ, "PYTHONHASHSEED": str(seed)}, capture_output=True, text=True, check=True
    ).stdout


def test_the_order_of_names_in_memory_changes_no_model() -> None:
    """The rows of sets of trunks that are not joined to each other come in the order of the trunks."""
    assert model_text(1) == model_text(2)
