"""Facts to charts to words."""
