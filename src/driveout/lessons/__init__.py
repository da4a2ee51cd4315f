"""Estimate against actual: variance to the cent, personal bias, calibration."""

from driveout.lessons.bias import DAYS, HOURS, MEASURES, MONEY, PRIOR, Bias, Job, Prior, Ratio, fit
from driveout.lessons.calibration import LEAST_JOBS, Calibration, Coverage, calibration, crps_lognormal
from driveout.lessons.drift import Level, drift_share, local_level
from driveout.lessons.estimate import RESERVE, Estimate, EstimateLine, estimate_from
from driveout.lessons.lesson_file import LessonFile, lessons_yaml, read_lessons
from driveout.lessons.next_job import corrected, next_estimate
from driveout.lessons.reply import Says, what_was_learned
from driveout.lessons.shrinkage import between_groups, trust_in_own_average
from driveout.lessons.variance import Actual, Taught, Variance, VarianceLine, actuals, taught, variance

__all__ = [
    "DAYS",
    "HOURS",
    "LEAST_JOBS",
    "MEASURES",
    "MONEY",
    "PRIOR",
    "RESERVE",
    "Actual",
    "Bias",
    "Calibration",
    "Coverage",
    "Estimate",
    "EstimateLine",
    "Job",
    "LessonFile",
    "Level",
    "Prior",
    "Ratio",
    "Says",
    "Taught",
    "Variance",
    "VarianceLine",
    "actuals",
    "between_groups",
    "calibration",
    "corrected",
    "crps_lognormal",
    "drift_share",
    "estimate_from",
    "fit",
    "lessons_yaml",
    "local_level",
    "next_estimate",
    "read_lessons",
    "taught",
    "trust_in_own_average",
    "variance",
    "what_was_learned",
]
