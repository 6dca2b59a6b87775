"""Verdict, latency and slips."""
