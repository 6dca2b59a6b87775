"""The languages that answers are heard in, one module each, named by its code: ``LANGUAGE``."""
