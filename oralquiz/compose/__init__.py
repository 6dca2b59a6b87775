"""Sums for a step of the syllabus, counted and drawn; work sheets."""
