"""Sums for a step of the syllabus, counted and drawn; work sheets."""

from oralquiz.compose.request import Drill, Request, request_for
from oralquiz.compose.syllabus_file import load_syllabus

__all__ = ["Drill", "Request", "load_syllabus", "request_for"]
