"""Nights of a large property: kills, full disks, clocks that jump, workers that come and go."""
