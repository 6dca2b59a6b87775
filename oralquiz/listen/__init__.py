"""Recognisers: a stream of sound in, numbers with their times out."""
