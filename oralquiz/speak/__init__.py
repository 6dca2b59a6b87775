"""Number words, clips, and dictations with sample-exact onsets."""
