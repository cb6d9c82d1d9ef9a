"""The flow of a plan, and what is told and kept along it."""
