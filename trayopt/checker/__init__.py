"""F3: measures and judges a plan from plain data; never imports the solver."""

from trayopt.checker.bounds import Bound, bounds_words, claimed_bounds, judge_bounds, settled_bounds
from trayopt.checker.checking import check, check_assignment, check_laid, lay
from trayopt.checker.claims import assignment_of, assignment_of_claims
from trayopt.checker.former import parse_document, read_document
from trayopt.checker.measure import measure
from trayopt.checker.report import Difference, Report

__all__ = [
    "Bound",
    "Difference",
    "Report",
    "assignment_of",
    "assignment_of_claims",
    "bounds_words",
    "check",
    "check_assignment",
    "check_laid",
    "claimed_bounds",
    "judge_bounds",
    "lay",
    "measure",
    "parse_document",
    "read_document",
    "settled_bounds",
]
