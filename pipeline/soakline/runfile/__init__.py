"""The run file: TOML to checked, frozen values."""
