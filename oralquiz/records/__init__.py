"""Pupils, classes, rounds and answers in one SQLite database."""
