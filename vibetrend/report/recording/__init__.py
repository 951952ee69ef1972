"""The page of one recording, looked at by itself."""
