"""Makes the speech corpus of the spoken-number model: one module a source of voices."""
