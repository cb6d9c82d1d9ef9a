"""Published figures and worked examples, a file per source.

Each docstring names document and table, and how sure the figure is: C confirmed against a stored
public text, M from memory, D recomputed here from the published formula.
"""
