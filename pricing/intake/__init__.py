"""Outside files to records: readers, column mappings, duplicates."""
