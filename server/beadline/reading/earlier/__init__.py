"""Spreadsheets of earlier results: values of many runs, a row each, without traces."""

from beadline.reading.earlier.plan import ROLES, UNITS, ColumnUse, SheetPlan
from beadline.reading.earlier.reader import read
from beadline.reading.earlier.rows import EarlierRow, EarlierSheet, Problem

__all__ = ["ROLES", "UNITS", "ColumnUse", "EarlierRow", "EarlierSheet", "Problem", "SheetPlan", "read"]
