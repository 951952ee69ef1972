"""Early warning from a marine diesel's own vibration."""
