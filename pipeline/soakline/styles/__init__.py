"""How open GIS draw the plan's layers: rules, and their Styled Layer Descriptors."""
