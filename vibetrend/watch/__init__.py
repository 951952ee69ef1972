"""A folder that fills: what arrives is added by itself, and changes are told."""
