"""What many answers say about a pupil: speed, change, weaknesses."""
