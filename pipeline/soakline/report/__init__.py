"""A finished plan as a report to read: one HTML file that needs nothing else, and a PDF."""
