"""What changed between two plans of one property: read, matched, compared, told."""
