"""The JSON API: one noun a file, every route opens, calls and returns."""
