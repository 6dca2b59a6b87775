"""Makes the speech corpus of the spoken-number model: one module for each source of voices."""
