"""F3: measures and judges a plan from plain data; never imports the solver."""

from trayopt.check.checking import check, check_assignment, check_laid, lay
from trayopt.check.claims import assignment_of, assignment_of_claims
from trayopt.check.measure import measure
from trayopt.check.report import Difference, Report

__all__ = [
    "Difference",
    "Report",
    "assignment_of",
    "assignment_of_claims",
    "check",
    "check_assignment",
    "check_laid",
    "lay",
    "measure",
]
