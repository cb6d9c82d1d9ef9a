"""Setting out: files for surveyors and machines, and drawings, from a finished plan."""
